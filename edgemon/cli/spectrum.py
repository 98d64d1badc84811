"""`edgemon spectrum`: waveforms, spectra and envelope spectra of recordings, or of captures that a daemon has stored."""

import argparse
import asyncio
import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from edgemon.cli.options import add_attach, daemon_of
from edgemon.cli.spectrum_words import captures_text, documented, table, told
from edgemon.errors import ParameterError, SettingsError
from edgemon.model.ids import is_identifier
from edgemon.model.instant import Instant, parse_instant
from edgemon.model.look import (
    SEPARATIONS,
    CapturePage,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)
from edgemon.units import Quantity, quantity_of, units_of

if TYPE_CHECKING:
    from edgemon.api.client import Daemon

Request: TypeAlias = WaveformRequest | SpectrumRequest
View: TypeAlias = WaveformView | SpectrumView
UNITS = "m/s2, g, mm/s, in/s, um, mil"
QUANTITIES = (Quantity.ACCELERATION, Quantity.VELOCITY, Quantity.DISPLACEMENT)
_OPTION = {
    "fmax_hz": "--fmax",
    "low_hz": "--low",
    "band": "--band",
    "start_s": "--stretch",
    "rpm": "--speed",
    "unit": "--unit",
    "record": "the record",
    "samples_unit": "--samples-unit",
}
"""Options whose names differ from the fields they fill."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    from edgemon.cli.diagnose import add_facts

    parser = commands.add_parser(
        "spectrum",
        help="waveforms, spectra and envelope spectra of recordings and stored captures",
        description=__doc__,
        epilog="Peaks are corrected to the frequency and amplitude of the sine between the lines. "
        "Exit code: 0 fine, 1 a file or the daemon failed, 2 bad usage.",
    )
    parser.add_argument("file", metavar="FILE", type=Path, nargs="*", help="recording: .npz, .wav, .csv, .uff")
    parser.add_argument("--point", metavar="MACHINE/POINT", help="instead of files: a measurement point of the running daemon")
    _add_wanted(parser)
    _add_output(parser)
    stored = parser.add_argument_group("captures of a daemon")
    stored.add_argument("--captures", action="store_true", help="list what is stored instead")
    stored.add_argument("--capture", metavar="ID", help="this one; default the newest")
    stored.add_argument("--at", metavar="TIME", help="the newest at or before this time, as 2026-11-25T06:00:00Z")
    stored.add_argument("--before", metavar="TIME", help="with --captures: those before this time")
    stored.add_argument("--sim", action=argparse.BooleanOptionalAction, help="simulated or real; default: what the point shows")
    add_attach(parser)
    files = parser.add_argument_group("recordings")
    files.add_argument("--samples-unit", metavar="UNIT", dest="samples_unit", help="unit of the samples in the file")
    add_facts(files)
    parser.set_defaults(run=run)


def _add_wanted(parser: argparse.ArgumentParser) -> None:
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--waveform", action="store_true", help="the waveform")
    kind.add_argument("--envelope", action="store_true", help="the spectrum of the envelope of a band")
    wanted = parser.add_argument_group("what is wanted")
    wanted.add_argument(
        "--quantity", choices=("acceleration", "velocity", "displacement"), help="default: that of --unit, else velocity"
    )
    wanted.add_argument("--unit", metavar="UNIT", dest="shown_unit", help=f"{UNITS}; default m/s2, mm/s, um")
    wanted.add_argument("--detector", choices=("rms", "peak", "peak-to-peak"), default="rms", help="of each line, as of a sine")
    wanted.add_argument("--fmax", metavar="HZ", type=float, help="highest frequency; default: sample rate / 2.56")
    wanted.add_argument("--lines", metavar="N", type=int, help="lines up to it; default: what the record allows, up to 6400")
    wanted.add_argument("--window", choices=("rectangular", "hann", "flat-top"), default="hann")
    wanted.add_argument("--overlap", metavar="SHARE", type=float, default=0.5, help="of two windows, 0 to 0.9; default 0.5")
    wanted.add_argument("--averages", metavar="N", type=int, help="windows averaged; default: all that the record holds")
    wanted.add_argument("--hold", action="store_true", help="keep the highest of each line instead of the mean")
    wanted.add_argument("--low", metavar="HZ", type=float, help="leave out lines below; default 2 Hz where integrated")
    wanted.add_argument("--axis", choices=("Hz", "CPM", "orders"), default="Hz")
    wanted.add_argument(
        "--orders", action="store_true", help="over even steps of shaft angle, in orders: a changing speed smears nothing"
    )
    wanted.add_argument("--zoom", metavar="LOW-HIGH", help="this stretch only, Hz, from the whole record")
    wanted.add_argument("--band", metavar="LOW-HIGH", help="Hz: demodulated, or of an integrated waveform")
    wanted.add_argument("--squared", action="store_true", help="spectrum of the squared envelope")
    wanted.add_argument("--whitened", action="store_true", help="pre-whiten before the envelope: tones vanish, impacts stay")
    wanted.add_argument(
        "--separation", choices=SEPARATIONS, help="take out what repeats before the envelope; default: as the plant file says"
    )
    wanted.add_argument("--stretch", metavar="START-END", help="seconds of the record, for --waveform")
    wanted.add_argument("--peaks", metavar="N", type=int, default=12, help="peaks listed at most; default 12")


def _add_output(parser: argparse.ArgumentParser) -> None:
    out = parser.add_mutually_exclusive_group()
    out.add_argument("--json", action="store_true", help="one JSON object a line and channel, everything in it")
    out.add_argument("--csv", action="store_true", help="a row a line (or column of the waveform)")
    parser.add_argument("--plot", metavar="FILE", type=Path, help="also draw to FILE.png or FILE.svg")


def run(options: argparse.Namespace) -> int:
    """Look at files, or at a point; give the exit code."""
    if bool(options.file) == (options.point is not None):
        raise SettingsError("files, or a point of the daemon", "edgemon spectrum", "FILE... or --point MACHINE/POINT, not both")
    request = request_of(options)
    if options.plot is not None:
        from edgemon.cli.spectrum_plot import check

        check(options.plot)
    if options.point is not None:
        return asyncio.run(_stored(options, request))
    return _files(options, request)


def request_of(options: argparse.Namespace) -> Request:
    """Read what is wanted. Raises `SettingsError` naming the option."""
    band = _pair(options.band, "--band")
    _check_unit(options)
    if options.waveform:
        start, end = _pair(options.stretch, "--stretch")
        return WaveformRequest(
            options.quantity or "acceleration",
            options.shown_unit,
            low_hz=band[0],
            high_hz=band[1],
            start_s=start or 0.0,
            length_s=None if start is None or end is None else end - start,
        )
    common = {
        "unit": options.shown_unit,
        "detector": options.detector,
        "fmax_hz": options.fmax,
        "lines": options.lines,
        "window": options.window,
        "overlap": options.overlap,
        "averages": options.averages,
        "hold": options.hold,
        "low_hz": options.low,
        "axis": "orders" if options.orders else options.axis,
        "over_angle": options.orders,
        "rpm": options.speed,
        "peaks": options.peaks,
        **dict(zip(("zoom_low_hz", "zoom_high_hz"), _pair(options.zoom, "--zoom"), strict=True)),
    }
    if options.envelope:
        return EnvelopeRequest(
            **common,
            quantity=options.quantity or "acceleration",
            band_low_hz=band[0],
            band_high_hz=band[1],
            squared=options.squared,
            whitened=options.whitened,
            separation=options.separation,
        )
    if options.band or options.squared or options.whitened or options.separation:
        raise SettingsError("it belongs to an envelope", "--band, --squared, --whitened, --separation", "add --envelope")
    return SpectrumRequest(**common, quantity=options.quantity or "velocity")


def _check_unit(options: argparse.Namespace) -> None:
    """Let a unit that stands alone say which quantity is wanted."""
    if options.shown_unit is None:
        return
    try:
        said = quantity_of(options.shown_unit)
    except KeyError:
        said = None
    if options.quantity is None and said in QUANTITIES and (said is Quantity.ACCELERATION or not options.envelope):
        options.quantity = said.value
    usual = "acceleration" if options.envelope or options.waveform else "velocity"
    quantity = Quantity(options.quantity or usual)
    if said is not quantity:
        raise SettingsError(
            f"{options.shown_unit!r} is no unit of {quantity}", "--unit", f"one of {', '.join(units_of(quantity))}"
        )


def _pair(text: str | None, option: str) -> tuple[float, float] | tuple[None, None]:
    if text is None:
        return None, None
    low, _, high = text.partition("-")
    try:
        pair = float(low), float(high)
    except ValueError as error:
        raise SettingsError(f"{text!r}", option, "two numbers, as 10-1000") from error
    if not 0.0 <= pair[0] < pair[1] < math.inf:
        raise SettingsError(f"{text!r}", option, "the lower one first, as 10-1000")
    return pair


def _instant(text: str | None, option: str) -> Instant | None:
    if text is None:
        return None
    try:
        return parse_instant(text)
    except ValueError as error:
        raise SettingsError(f"not a time: {text!r}", option, "as 2026-11-25T06:00:00Z") from error


def _files(options: argparse.Namespace, request: Request) -> int:
    from edgemon.cli.waveform_files import RecordingError

    code = 0
    for path in options.file:
        try:
            for view in _views(path, options, request):
                put(view, options, len(options.file) > 1)
        except RecordingError as error:
            print(f"edgemon: {error}", file=sys.stderr)
            code = 1
    return code


def _views(path: Path, options: argparse.Namespace, request: Request) -> Iterator[View]:
    from edgemon.cli.diagnose import given_of
    from edgemon.cli.recordings import read_recording
    from edgemon.cli.waveform_files import RecordingError
    from edgemon.engine.look import look_at_waveform, of_record
    from edgemon.engine.look_spectrum import look_at_envelope, look_at_spectrum

    options.unit = options.samples_unit
    record, facts = read_recording(path, given_of(options))
    for channel, one in enumerate(record.channels):
        if options.quantity is None and (options.waveform or not one.calibrated):
            request = replace(request, quantity=record.quantity.value)  # as it was measured
        try:
            material = of_record(record, channel, facts, path.name, options.speed)
            match request:
                case WaveformRequest():
                    view: View = look_at_waveform(material, request)
                case EnvelopeRequest():
                    view = look_at_envelope(material, request)
                case _:
                    view = look_at_spectrum(material, request)
        except ParameterError as error:
            where = f"{path}: {one.name}: {_OPTION.get(error.where, f'--{error.where}')}"
            raise RecordingError(error.what, where, error.hint) from error
        yield view


async def _stored(options: argparse.Namespace, request: Request) -> int:
    machine, slash, point = options.point.partition("/")
    if not (slash and is_identifier(machine) and is_identifier(point)):
        raise SettingsError(f"{options.point!r}", "--point", "MACHINE/POINT, by their ids in plant.toml")
    which = Which(options.capture, _instant(options.at, "--at"), options.sim)
    before = _instant(options.before, "--before")
    daemon = daemon_of(options)
    try:
        if options.captures:
            _list(await daemon.captures(machine, point, before, sim=options.sim), options)
        else:
            put(await _ask(daemon, machine, point, which, request), options, False)
    finally:
        await daemon.close()
    return 0


async def _ask(daemon: "Daemon", machine: str, point: str, which: Which, request: Request) -> View:
    if isinstance(request, WaveformRequest):
        return await daemon.waveform(machine, point, which, request)
    return await daemon.spectrum(machine, point, which, request)


def _list(page: CapturePage, options: argparse.Namespace) -> None:
    print(documented(page) if options.json else captures_text(page))


def put(view: View, options: argparse.Namespace, several: bool) -> None:
    """Print one view as wanted, and draw it."""
    if options.json:
        print(documented(view), flush=True)
    elif options.csv:
        print("\n".join(table(view)), flush=True)
    else:
        print("\n".join(told(view)), flush=True)
    if options.plot is not None:
        from edgemon.cli.spectrum_plot import draw

        where = draw(view, options.plot, several or ":" in view.source.name)
        print(where, file=sys.stderr)
