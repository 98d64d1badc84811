"""`edgemon replay`: recorded traffic back onto a broker, in the rhythm recorded, marked as simulated and moved to now."""

import argparse
import asyncio
import json
import sys
from dataclasses import dataclass
from pathlib import Path

from edgemon.cli.linking import add_broker, broker_of, guest, linked, until_up
from edgemon.cli.simulate import broker_options, run_simulators
from edgemon.cli.traffic import Damaged, Recorded, levels_of, read_header, read_messages
from edgemon.clock import SystemClock
from edgemon.decode.remark import Shift, remark_capture, remark_reading
from edgemon.errors import DecodeError, LinkDown, LinkRefused, ParameterError, SettingsError, UnknownFormat
from edgemon.model.gateway import Broker
from edgemon.model.instant import Instant
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.paho_client import PahoLink

_REMARK = {"capture": remark_capture, "spectrum": remark_capture, "reading": remark_reading}
_TELL_EVERY = 50


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "replay",
        help="publish recorded traffic, or a folder of recordings",
        description=__doc__,
        epilog="Exit code: 0 all played, 1 something could not be (the rest is), 2 a file or option that cannot be used.",
    )
    parser.add_argument(
        "file",
        type=Path,
        metavar="FILE|FOLDER",
        help="file that `edgemon record` wrote; or recordings: a folder with manifest.json, or one .npz of it",
    )
    add_broker(parser)
    parser.add_argument(
        "--speed", type=_speed, metavar="N", help="how many times as fast; 0: as fast as acknowledged (default 1)"
    )
    parser.add_argument(
        "--as-live", action="store_true", help="do not mark messages as simulated: they enter the plant's history"
    )
    parser.add_argument("--keep-times", action="store_true", help="leave the times of measurements as they were")
    parser.set_defaults(run=run)


def _speed(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(f"must be 0 or a number above it, not {text!r}")
    return value


def run(options: argparse.Namespace) -> int:
    """Play a file, or hand recordings to the simulators."""
    path: Path = options.file
    if path.is_dir() or path.suffix == ".npz":
        if options.speed is not None or options.as_live or options.keep_times:
            raise SettingsError("--speed, --as-live and --keep-times are for recorded traffic only", str(path))
        return run_simulators(["recordings", *_recordings(path), *broker_options(options)])
    broker, root = broker_of(options)
    header = read_header(path)
    how = How(root, header.root, 1.0 if options.speed is None else options.speed, not options.as_live, not options.keep_times)
    return asyncio.run(_replay(path, guest(broker, "replay"), how))


def _recordings(path: Path) -> list[str]:
    """Give a folder of recordings, and which of them, as the simulators read it."""
    if path.is_dir():
        return [str(path)]
    try:
        records = json.loads((path.parent / "manifest.json").read_text("utf-8"))["records"]
        named = [str(one["id"]) for one in records if one.get("file", f"{one['id']}.npz") == path.name]
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise SettingsError(
            "no manifest.json beside it that could be read", str(path), "recordings come as a folder"
        ) from error
    if not named:
        raise SettingsError("is not in the manifest beside it", str(path))
    return [str(path.parent), f"--only={named[0]}"]


@dataclass(frozen=True, slots=True)
class How:
    """How to play."""

    root: str
    recorded_root: str
    speed: float
    mark: bool
    shift: bool


@dataclass(slots=True)
class _Tally:
    played: int = 0
    left_out: int = 0


def shift_of(how: How, first: Instant, last: Instant, start: Instant) -> Shift:
    """Give the map from recorded times to now: the first message comes now; at speed 0 the last one does.

    Ages of measurements shrink with the time between messages, so that their order and their spacing stay in step.
    """
    if how.speed == 0.0:
        return lambda instant: instant + (start - last)
    return lambda instant: start + (instant - first) / how.speed


async def _replay(path: Path, broker: Broker, how: How) -> int:
    clock, tally = SystemClock(), _Tally()
    span = _span(path)
    async with linked(broker, ()) as link:
        shift = shift_of(how, *span, clock.now())
        began = clock.elapsed()
        for line, one in enumerate(read_messages(path), start=2):
            try:
                outgoing = _outgoing(one, how, shift)
                if outgoing is None:
                    continue
                if how.speed > 0.0 and isinstance(one, Recorded):
                    await clock.sleep(max(0.0, began + (one.received_at - span[0]) / how.speed - clock.elapsed()))
                await _publish(link, outgoing)
                tally.played += 1
            except (DecodeError, LinkRefused, ParameterError) as error:
                tally.left_out += 1
                print(f"{path}:{line}: left out: {error}", file=sys.stderr)
            _progress(tally)
    if sys.stderr.isatty():
        print(f"\r{tally.played} messages played, {tally.left_out} left out", file=sys.stderr)
    return 1 if tally.left_out else 0


def _span(path: Path) -> tuple[Instant, Instant]:
    """Give when the first and the last message were received."""
    times = [one.received_at for one in read_messages(path) if isinstance(one, Recorded)]
    return (min(times), max(times)) if times else (0.0, 0.0)


def _outgoing(one: Recorded | Damaged, how: How, shift: Shift) -> Outgoing | None:
    """Give what to publish; None for what does not come from sensors. Raises `DecodeError` for what cannot be played."""
    if isinstance(one, Damaged):
        raise UnknownFormat(one.why)
    levels = levels_of(one.topic, how.recorded_root)
    if not levels:
        return None
    payload = one.payload
    if how.mark or how.shift:
        payload = _REMARK[levels[2]](payload, how.mark, shift if how.shift else None)
    return Outgoing(f"{how.root}/{'/'.join(levels)}", payload, retain=False)


async def _publish(link: PahoLink, outgoing: Outgoing) -> None:
    """Publish until the broker has it; a repeat changes nothing."""
    while True:
        try:
            await link.publish(outgoing)
        except LinkDown:
            await until_up(link)
        else:
            return


def _progress(tally: _Tally) -> None:
    if sys.stderr.isatty() and tally.played % _TELL_EVERY == 0:
        print(f"\r{tally.played} messages played", end="", file=sys.stderr, flush=True)
