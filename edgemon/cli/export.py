"""`edgemon export`: readings, captures, spectra that sensors sent or the journal, for spreadsheets and programs."""

import argparse
import csv
import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from edgemon.analysis.received import amplitudes
from edgemon.api.view import journal_view
from edgemon.cli.capture_files import write_capture
from edgemon.cli.journal import search_of, store_of
from edgemon.cli.options import add_config
from edgemon.cli.progress import Progress
from edgemon.cli.report import TIMES_WORDS
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.event import kind_of
from edgemon.model.ids import MachineId, PointId, PointKey, SensorId
from edgemon.model.instant import format_instant
from edgemon.model.level import LEVEL_KINDS, Detector
from edgemon.model.machine import Plant
from edgemon.model.reading import Capture
from edgemon.model.search import Search
from edgemon.settings.load import load_all
from edgemon.store.stream import Series, Stream
from edgemon.store.wire import journal_document, place_of
from edgemon.units import SI_UNIT, from_si

CAPTURES = (
    *("sensor", "id", "t", "fs", "time", "received", "unit", "scale", "si_per_count", "rpm"),
    *("temperature_c", "battery_pct", "rssi_dbm", "missing_parts", "sim", "file"),
)
SPECTRA = (
    *("sensor", "id", "t", "axis", "hz", "value", "unit", "detector"),
    *("window", "averages", "noise_bandwidth_lines", "rpm", "missing_parts", "sim"),
)
READINGS = ("point", "level", "t", "value", "unit", "machine", "sensor", "time", "fit", "sim")
JOURNAL = ("seq", "t", "kind", "time", "recorded", "machine", "point", "person", "text", "sim", "hash", "document")
PLANNED = ("parquet", "wav", "uff")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_EACH = 1000


@dataclass(frozen=True, slots=True)
class Request:
    """What is to be exported."""

    plant: Plant
    search: Search
    point: str | None
    sensor: str | None
    sim: bool
    samples: Path | None

    @property
    def since(self) -> float:
        """Begin of the period."""
        return 0.0 if self.search.since is None else self.search.since

    @property
    def until(self) -> float:
        """End of the period, which does not belong to it."""
        return math.inf if self.search.until is None else self.search.until


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "export",
        help="readings, captures, spectra or the journal as CSV",
        description=__doc__,
        epilog="Reads the store only, whether the daemon runs or not. Column t is seconds since 1970-01-01 UTC, exact; time is "
        "the same for people. Levels at points have their point, what a sensor says has its sensor, under its own name. Text "
        "that a spreadsheet would take for a formula stands behind an apostrophe.",
    )
    parser.add_argument("what", choices=sorted(_TABLES), metavar="WHAT", help="captures, spectra, readings or journal")
    add_config(parser)
    parser.add_argument("--file", metavar="FILE", type=Path, help="another store than gateway.toml names")
    parser.add_argument("--format", metavar="FORMAT", default="csv", help=f"csv; {', '.join(PLANNED)}: not there yet")
    parser.add_argument("--out", metavar="FILE", type=Path, help="default: standard output")
    parser.add_argument("--since", metavar="TIME", help=f"taken (journal: recorded) at this time or later: {TIMES_WORDS}")
    parser.add_argument("--until", metavar="TIME", help="taken (journal: recorded) before, likewise")
    parser.add_argument("--machine", metavar="ID", help="one machine only")
    parser.add_argument("--point", metavar="ID", help="points of this id; MACHINE/POINT means one")
    parser.add_argument("--sensor", metavar="ID", help="one sensor only, at whatever points it is")
    parser.add_argument("--sim", action="store_true", help="simulated readings and captures; otherwise they are left out")
    parser.add_argument(
        "--samples", metavar="DIR", type=Path, help="captures only: also write each waveform, as .npz for edgemon diagnose"
    )
    parser.set_defaults(run=run, kind=None, person=None)


def run(options: argparse.Namespace) -> int:
    """Write the table."""
    _check_format(options)
    request = _request(options)
    columns, rows_of = _TABLES[options.what]
    with Stream(store_of(options)) as stream, Progress("rows") as progress, _opened(options.out) as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(columns)
        for count, row in enumerate(rows_of(stream, request), 1):
            table.writerow(row)
            if count % _EACH == 0:
                progress.at(count)
        left_out = stream.counts().get(options.what, 0)
        out.flush()  # a reader that has gone is noticed here
    if left_out and not request.sim:
        print("edgemon: simulated data is left out; --sim exports it, and nothing else", file=sys.stderr)
    return 0


def _check_format(options: argparse.Namespace) -> None:
    if options.format in PLANNED:
        raise SettingsError(f"{options.format} is not there yet", "--format", "csv is; --samples writes waveforms as .npz")
    if options.format != "csv":
        raise SettingsError(f"no such format: {options.format!r}", "--format", "csv")
    if options.samples is not None and options.what != "captures":
        raise SettingsError(f"{options.what} have no samples", "--samples", "edgemon export captures --samples DIR")


def _request(options: argparse.Namespace) -> Request:
    plant, _ = load_all(options.config)
    machine, point = options.machine, options.point
    if point is not None and "/" in point:
        of, _, point = point.partition("/")
        if machine not in (None, of):
            raise SettingsError(f"{options.point} is no point of {machine}", "--point")
        machine = of
    search = search_of(argparse.Namespace(**{**vars(options), "machine": machine}))
    request = Request(plant, search, point, options.sensor, options.sim, options.samples)
    if machine is not None and machine not in plant.machine_of:
        raise SettingsError(f"the plant file has no machine {machine!r}", "--machine", f"one of {', '.join(plant.machine_of)}")
    if point is not None and not _points(request):
        raise SettingsError(f"the plant file has no such point: {options.point!r}", "--point")
    if options.sensor is not None and options.sensor not in plant.sensors:
        raise SettingsError(f"the plant file has no sensor {options.sensor!r}", "--sensor")
    return request


@contextmanager
def _opened(path: Path | None) -> Iterator[TextIO]:
    """Open what is written to; a file is there only once it is whole."""
    if path is None:
        yield sys.stdout
        return
    partial = path.with_name(path.name + ".part")
    try:
        with partial.open("w", encoding="utf-8", newline="") as file:
            yield file
        partial.replace(path)
    except OSError as error:
        raise EdgemonError(f"cannot be written: {error.strerror or error}", str(path)) from error
    finally:
        partial.unlink(missing_ok=True)


def _points(request: Request) -> set[PointKey]:
    """Give the points that are meant."""
    return {
        key
        for key, point in request.plant.points.items()
        if request.search.machine in (None, key.machine)
        and request.point in (None, key.point)
        and request.sensor in (None, point.sensor)
    }


def _sensors(request: Request) -> set[str] | None:
    """Give the sensors that are meant; None for all, those that the plant file no longer has among them."""
    if request.search.machine is request.point is None:
        return None if request.sensor is None else {request.sensor}
    return {str(request.plant.points[key].sensor) for key in _points(request)}


def captures(stream: Stream, request: Request) -> Iterator[Sequence[object]]:
    """Give a row a capture, and write its samples where that is asked for."""
    wanted = _sensors(request)
    for sensor in (None,) if wanted is None else sorted(wanted):
        one = None if sensor is None else SensorId(sensor)
        with_samples = request.samples is not None
        for capture in stream.captures(one, request.since, request.until, request.sim, with_samples):
            yield _capture(capture, "" if request.samples is None else str(write_capture(request.samples, capture)))


def _capture(one: Capture, file: str) -> Sequence[object]:
    return (
        *(one.sensor, text(one.id), one.taken_at, one.fs_hz),
        *(format_instant(one.taken_at), one.received_at, one.unit, one.scale, one.si_per_count),
        *(one.rpm, one.temperature_c, one.battery_pct, one.rssi_dbm),
        *(" ".join(map(str, one.missing_parts)), int(one.sim), text(file)),
    )


def spectra(stream: Stream, request: Request) -> Iterator[Sequence[object]]:
    """Give a row a line of every spectrum that a sensor sent; amplitudes r.m.s., in the house's unit of their quantity."""
    wanted = _sensors(request)
    for sensor in (None,) if wanted is None else sorted(wanted):
        one = None if sensor is None else SensorId(sensor)
        for capture in stream.captures(one, request.since, request.until, request.sim, with_samples=True, spectra=True):
            yield from _lines(capture)


def _lines(one: Capture) -> Iterator[Sequence[object]]:
    form = one.form
    if form is None:
        return
    shared = (text(form.window), form.averages, form.noise_bandwidth_lines, one.rpm)
    rest = (" ".join(map(str, one.missing_parts)), int(one.sim))
    for axis, words in sorted(one.axes.items()):
        for number, value in enumerate(amplitudes(words, form, one.si_per_count)):
            hz = round(form.first_hz + number * form.line_hz, 9)
            told = (text(axis), hz, float(value), SI_UNIT[form.quantity], Detector.RMS.value)
            yield (one.sensor, text(one.id), one.taken_at, *told, *shared, *rest)


def readings(stream: Stream, request: Request) -> Iterator[Sequence[object]]:
    """Give a row a value, trend by trend."""
    sensors, points = _sensors(request), _points(request)
    is_all = request.search.machine is request.point is request.sensor is None
    for series in stream.series(request.sim):
        key = PointKey(MachineId(series.machine), PointId(series.point))
        is_meant = key in points if series.machine else request.point is None and (sensors is None or series.sensor in sensors)
        if not (is_all or is_meant):
            continue
        unit = unit_of(request.plant, series)
        for one in stream.values(series, request.since, request.until):
            value = one.value if unit == SI_UNIT[series.quantity] else from_si(one.value, unit)
            shared = (series.machine, series.sensor, format_instant(one.t), int(one.fit), int(series.sim))
            yield (series.point, text(series.name), one.t, value, unit, *shared)


def unit_of(plant: Plant, series: Series) -> str:
    """Give the unit in which people see a trend: that of its limit, else the usual one of its level, else the house's."""
    name = series.name.rpartition("/")[2]
    if name == "rpm":
        return "r/min"
    point = plant.points.get(PointKey(MachineId(series.machine), PointId(series.point)))
    limit = None if point is None else point.limit_of(series.name)
    kind = LEVEL_KINDS.get(name) if point is None else point.kind_of(series.name)
    if limit is not None:
        return limit.unit
    return kind.unit if kind is not None and kind.quantity is series.quantity else SI_UNIT[series.quantity]


def journal(stream: Stream, request: Request) -> Iterator[Sequence[object]]:
    """Give a row an entry, real and simulated."""
    for entry in stream.journal(request.search):
        event = entry.event
        machine, point, sim = place_of(event)
        if request.point not in (None, point) or request.sensor not in (None, getattr(event, "sensor", None)):
            continue
        document = json.dumps(journal_document(entry), ensure_ascii=False)
        said = (machine, point, text(getattr(event, "by", "")), text(journal_view(entry, request.plant.points).text))
        times = (format_instant(event.at), entry.recorded_at)
        yield (entry.seq, event.at, kind_of(event), *times, *said, int(sim), entry.hash, document)


def text(said: str) -> str:
    """Give text that no spreadsheet takes for a formula. Source: OWASP, CSV Injection."""
    return f"'{said}" if said.startswith(_FORMULA) else said


Rows = Callable[[Stream, Request], Iterable[Sequence[object]]]
_TABLES: dict[str, tuple[tuple[str, ...], Rows]] = {
    "captures": (CAPTURES, captures),
    "spectra": (SPECTRA, spectra),
    "readings": (READINGS, readings),
    "journal": (JOURNAL, journal),
}
