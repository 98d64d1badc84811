"""`python -m simulators`: plays a scene or recordings to a broker, or writes the files with which a gateway receives them."""

import argparse
import os
import re
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path

from edgemon.model.instant import format_instant
from simulators.errors import SimulatorError
from simulators.payloads import encode_capture
from simulators.plantfile import gateway_toml, plant_toml, write_files
from simulators.play import Stage, play
from simulators.publish import Broker, Publisher, parse_broker, publish_timed
from simulators.recordings import captures, read_recordings
from simulators.scene import find_scene, load_scene

_UNITS = {"": 1.0, "s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}


def duration(text: str) -> float:
    """Read `30`, `30s`, `3m` or `1h` as seconds."""
    match = re.fullmatch(r"(\d+(?:\.\d+)?)(s|m|min|h)?", text.strip())
    if match is None or float(match[1]) <= 0.0:
        raise argparse.ArgumentTypeError(f"a duration looks like 30s, 3m or 1h, not {text!r}")
    return float(match[1]) * _UNITS[match[2] or ""]


def positive(text: str) -> float:
    """Read a number above 0."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"must be a number above 0, not {text!r}")
    return value


def samples(text: str) -> int:
    """Read a number of samples: 0, or at least 16."""
    if not text.isdecimal() or 0 < int(text) < 16:
        raise argparse.ArgumentTypeError(f"must be 0 for whole records, or at least 16, not {text!r}")
    return int(text)


def parts(text: str) -> int:
    """Read a number of parts: at least 1."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number of at least 1, not {text!r}")
    return int(text)


def topic_root(text: str) -> str:
    """Read a topic root: levels without wildcards."""
    if not text or any(char in text for char in "+#\0") or text.startswith("/") or text.endswith("/"):
        raise argparse.ArgumentTypeError(f"a topic root looks like edgemon/v1, not {text!r}")
    return text


def _parser() -> argparse.ArgumentParser:
    """Make the command line."""
    parser = argparse.ArgumentParser(prog="python -m simulators", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)

    link = argparse.ArgumentParser(add_help=False)
    link.add_argument("--broker", default="mqtt://127.0.0.1:1883", metavar="URL", help="mqtt://host:port (default %(default)s)")
    link.add_argument("--root", type=topic_root, default="edgemon/v1", help="topic root (default %(default)s)")
    link.add_argument("--username", help="user at the broker")
    link.add_argument("--password-file", type=Path, help="file whose first line is the password")
    link.add_argument("--ca-file", type=Path, help="certificate authority of the broker, for mqtts://")
    link.add_argument("--certificate-file", type=Path, help="own certificate, for mqtts://")
    link.add_argument("--key-file", type=Path, help="key of the own certificate")
    link.add_argument("--patience", type=duration, default=30.0, help="how long to wait for the broker (default 30s)")
    link.add_argument("--quiet", action="store_true", help="say nothing but errors")

    scene = commands.add_parser("scene", parents=[link], help="play a scene: machines, faults, sensors and their traffic")
    scene.add_argument(
        "scene", nargs="?", default="saltmarsh", help="file, or name of one that comes along (default %(default)s)"
    )
    scene.add_argument("--seed", type=int, default=1, help="the same seed plays the same messages (default %(default)s)")
    scene.add_argument("--speed", type=positive, default=1.0, help="seconds of the story in a real one (default %(default)s)")
    scene.add_argument("--for", dest="how_long", type=duration, default=float("inf"), help="stop after 30s, 3m, ...")

    played = commands.add_parser("recordings", parents=[link], help="publish the waveforms of a folder of recordings")
    played.add_argument("folder", type=Path, help="folder with manifest.json and .npz files")
    played.add_argument("--samples", type=samples, default=16_384, help="of a capture at most, 0 for all (default %(default)s)")
    played.add_argument("--parts", type=parts, default=1, help="send each capture in so many parts (default %(default)s)")
    played.add_argument("--json", action="store_true", help="JSON instead of CBOR")
    played.add_argument("--only", action="append", default=[], metavar="RECORD", help="only this record; may be repeated")

    plant = commands.add_parser("plant-file", parents=[link], help="write the files with which a gateway receives recordings")
    plant.add_argument("folder", type=Path, help="folder with manifest.json and .npz files")
    plant.add_argument("--out", type=Path, default=Path(), help="folder to write into (default: here)")
    plant.add_argument("--severity-class", default="", metavar="CLASS", help="as in plant.toml (default: no limits)")
    plant.add_argument("--force", action="store_true", help="write over files that are there")
    plant.add_argument("--only", action="append", default=[], metavar="RECORD", help="only this record; may be repeated")
    return parser


def _broker(args: argparse.Namespace) -> Broker:
    """Give the broker that the command line describes."""
    broker = parse_broker(args.broker)
    password = None
    if args.password_file is not None:
        try:
            password = args.password_file.read_text(encoding="utf-8").partition("\n")[0].rstrip("\r")
        except (OSError, UnicodeDecodeError) as error:
            raise SimulatorError(f"cannot be read: {error}", str(args.password_file)) from error
    if (args.ca_file or args.certificate_file) and not broker.tls:
        raise SimulatorError("certificates need an address that starts with mqtts://", args.broker)
    return replace(
        broker,
        username=args.username or broker.username,
        password=password,
        ca_file=args.ca_file,
        certificate_file=args.certificate_file,
        key_file=args.key_file,
    )


def _scene(args: argparse.Namespace) -> None:
    """Play a scene."""
    scene = load_scene(find_scene(args.scene))
    say = _sayer(args)
    with Publisher(_broker(args), args.patience, say) as publisher:
        stage = Stage(scene, time.time(), args.root, args.seed, args.speed)
        say(f"playing {scene.title!r} from {format_instant(stage.epoch)}; every message is marked as simulated")
        count = publish_timed(publisher, play(stage, args.how_long), time.monotonic())
    say(f"{count} messages published, {publisher.accepted} taken by the broker")


def _recordings(args: argparse.Namespace) -> None:
    """Publish recordings."""
    say = _sayer(args)
    records, left_out = read_recordings(args.folder, tuple(args.only))
    for reason in left_out:
        say(f"left out {reason}")
    with Publisher(_broker(args), args.patience, say) as publisher:
        for number, record in enumerate(records, 1):
            start = time.time() - record.samples.shape[1] / record.fs_hz
            for wave in captures(record, start, args.samples):
                length = min(samples.size for samples in wave.axes.values())
                for payload in encode_capture(wave, max(1, min(args.parts, length)), args.json):
                    publisher.publish(f"{args.root}/sensor/{record.sensor}/capture", payload)
            if sys.stderr.isatty():
                say(f"{number} of {len(records)}: {record.id}")
    say(f"{len(records)} recordings published, {publisher.accepted} messages taken by the broker")


def _plant_file(args: argparse.Namespace) -> None:
    """Write the files for a gateway that receives recordings."""
    records, left_out = read_recordings(args.folder, tuple(args.only))
    say = _sayer(args)
    for reason in left_out:
        say(f"left out {reason}")
    plant, gateway = plant_toml(records, args.severity_class), gateway_toml(_broker(args), args.root)
    for path in write_files(args.out, plant, gateway, args.force):
        say(f"wrote {path}")


def _sayer(args: argparse.Namespace) -> "Say":
    """Give the voice: standard error, or none."""
    return Say(quiet=bool(args.quiet))


class Say:
    """Tells a person what happens, on standard error."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet

    def __call__(self, text: str) -> None:
        """Say one line."""
        if not self._quiet:
            print(text, file=sys.stderr, flush=True)


def _stop(_signal: int, _frame: object) -> None:
    """End in order when told to."""
    raise KeyboardInterrupt


def main(argv: list[str] | None = None) -> int:
    """Run one command; gives the exit code: 0 done, 1 failed at run time, 2 bad usage or files."""
    args = _parser().parse_args(argv)
    try:
        {"scene": _scene, "recordings": _recordings, "plant-file": _plant_file}[args.command](args)
    except SimulatorError as error:
        print(f"simulators: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return 0
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
        return 1
    return 0


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, _stop)
    sys.exit(main())
