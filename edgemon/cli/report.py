"""`edgemon report`: the analyst's report on one machine, for a reader who is not a vibration specialist."""

import argparse
import asyncio
import re
import sys
import tempfile
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path

from edgemon.cli.material import Request, collect
from edgemon.cli.options import add_config
from edgemon.clock import SystemClock
from edgemon.engine.memory import Setting, setting_of
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.instant import Instant, format_instant, parse_instant
from edgemon.model.machine import Machine, Plant
from edgemon.report.analyst import parse
from edgemon.report.port import Analyst, Material
from edgemon.report.service import Format, write
from edgemon.settings.load import fingerprint, load_all
from edgemon.store.reader import SqliteReader

_BACK = re.compile(r"(\d{1,9}(?:\.\d+)?)\s*(s|min|m|h|d|w)")
_SECONDS = {"s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86_400.0, "w": 604_800.0}
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
TIMES_WORDS = "a time as 2026-11-25T06:00:00Z, a day as 2026-11-25 (UTC), or how far back: 36h, 7d, 2w"


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "report",
        help="write the analyst's report on a machine",
        description=__doc__,
        epilog="Reads the store only, whether the daemon runs or not. The analyst's own text is DIR/reports/MACHINE.txt: "
        "'# Verdict', '# Recommendation', '# By when' stand first in the report, '# Sign-off' last, other headings between.",
    )
    add_config(parser)
    parser.add_argument("--machine", metavar="ID", required=True, help="the machine, by its id in plant.toml")
    parser.add_argument("--since", metavar="TIME", default="7d", help=f"begin of the period: {TIMES_WORDS}")
    parser.add_argument("--until", metavar="TIME", help="end of the period, likewise; default now")
    parser.add_argument("--format", choices=[one.value for one in Format], help="default: by the ending of --out, else html")
    parser.add_argument("--out", metavar="FILE", type=Path, help="default: report-MACHINE-DAY.html here; - for standard output")
    parser.add_argument(
        "--text", metavar="FILE", type=Path, help="the analyst's text; default DIR/reports/MACHINE.txt, if there"
    )
    parser.add_argument(
        "--store", metavar="FILE", type=Path, help="another store than gateway.toml names, as `demo --keep` leaves one"
    )
    parser.add_argument("--sim", action="store_true", help="report on simulated data, marked as such; otherwise it is left out")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the report and say where it is."""
    clock = SystemClock()
    plant, gateway = load_all(options.config)
    machine = _machine(plant, options.machine)
    request = _request(options, machine, clock.now())
    analyst = _analyst(options, machine)
    kind = _format(options)
    store = options.store if options.store is not None else gateway.store
    settings = fingerprint(plant, gateway)
    material = asyncio.run(_collect(store, setting_of(plant, gateway), request, clock.now(), settings))
    content = write(replace(material, analyst=analyst), kind)
    _put(content, options.out or Path(f"report-{machine.id}-{format_instant(request.until)[:10]}.{kind.value}"))
    return 0


async def _collect(store: Path, filed: Setting, request: Request, now: Instant, settings: str) -> Material:
    reader = await SqliteReader.open(store)
    try:
        return await collect(reader, filed, request, now, settings)
    finally:
        await reader.close()


def _machine(plant: Plant, name: str) -> Machine:
    found = next((machine for machine in plant.machines if machine.id == name), None)
    if found is not None:
        return found
    known = [str(machine.id) for machine in plant.machines]
    close = get_close_matches(name, known, n=3) or known
    listed = ", ".join(close[:8]) + (", ..." if len(close) > 8 else "")
    raise SettingsError(f"the plant file has no machine {name!r}", "--machine", f"one of {listed}")


def _request(options: argparse.Namespace, machine: Machine, now: Instant) -> Request:
    until = now if options.until is None else read_time(options.until, now, "--until")
    since = read_time(options.since, until, "--since")
    if since >= until:
        raise SettingsError(
            f"the period begins at {format_instant(since)} and ends at {format_instant(until)}", "--since", "an earlier begin"
        )
    return Request(machine, since, until, options.sim)


def read_time(text: str, end: Instant, option: str) -> Instant:
    """Read a time, a day, or how long before `end`.

    Raises
    ------
    SettingsError
        None of these.
    """
    if (match := _BACK.fullmatch(text.strip())) is not None:
        return max(0.0, end - float(match[1]) * _SECONDS[match[2]])
    try:
        return parse_instant(f"{text.strip()}T00:00:00Z" if _DATE.fullmatch(text.strip()) else text)
    except ValueError as error:
        raise SettingsError(f"not a time: {text!r}", option, TIMES_WORDS) from error


def _format(options: argparse.Namespace) -> Format:
    if options.format is not None:
        return Format(options.format)
    ending = options.out.suffix.lower().removeprefix(".") if options.out is not None else ""
    return {"pdf": Format.PDF, "txt": Format.TEXT}.get(ending, Format.HTML)


def _analyst(options: argparse.Namespace, machine: Machine) -> Analyst:
    path = options.text if options.text is not None else options.config / "reports" / f"{machine.id}.txt"
    if options.text is None and not path.exists():
        return Analyst(str(path))
    try:
        return parse(path.read_bytes(), str(path))
    except OSError as error:
        raise SettingsError(f"cannot be read: {error.strerror}", str(path), "the analyst's text, plain UTF-8") from error


def _put(content: bytes, out: Path) -> None:
    """Write the file in one go, so that nobody ever reads half a report."""
    if str(out) == "-":
        sys.stdout.buffer.write(content)
        return
    temporary: str | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=out.parent, prefix=f".{out.name}-", delete=False) as file:
            temporary = file.name
            file.write(content)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(out)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise EdgemonError(f"the report cannot be written: {error.strerror}", str(out), "choose another --out") from error
    print(out)
