"""The file of recorded traffic: JSON lines, a header first, then one message a line with its payload in base64."""

import base64
import binascii
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgemon.errors import SettingsError
from edgemon.model.instant import Instant, format_instant, parse_instant
from edgemon.model.text import clean
from edgemon.mqtt.port import Delivery

FORMAT = "edgemon-traffic"
VERSION = 1
LONGEST_LINE = 512 * 1024 * 1024
"""Bytes: the largest MQTT message in base64, and some more."""


SAID = ("reading", "capture", "spectrum")
"""Last part of the topics on which sensors say something."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """One message as it was received."""

    received_at: Instant
    topic: str
    qos: int
    retained: bool
    payload: bytes


@dataclass(frozen=True, slots=True)
class Damaged:
    """A line that cannot be read."""

    line: int
    why: str


@dataclass(frozen=True, slots=True)
class Header:
    """What the first line says."""

    root: str
    started_at: Instant


def levels_of(topic: str, root: str) -> tuple[str, ...]:
    """Give the levels of a topic below its root where a sensor says something there; else nothing."""
    levels = tuple(topic.removeprefix(f"{root}/").split("/"))
    return levels if len(levels) == 3 and levels[0] == "sensor" and levels[2] in SAID else ()


def header_line(header: Header) -> bytes:
    """Write the first line."""
    fields = {"format": FORMAT, "version": VERSION, "root": header.root, "started_at": format_instant(header.started_at)}
    return _line(fields)


def message_line(delivery: Delivery) -> bytes:
    """Write one message."""
    message = delivery.message
    return _line(
        {
            "received_at": format_instant(message.received_at),
            "topic": message.topic,
            "qos": delivery.qos,
            "retained": message.retained,
            "payload": base64.b64encode(message.payload).decode("ascii"),
        }
    )


def _line(fields: dict[str, Any]) -> bytes:
    return json.dumps(fields, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"


def read_header(path: Path) -> Header:
    """Read the first line.

    Raises
    ------
    SettingsError
        The file cannot be read, is no recorded traffic, or of a newer version.
    """
    hint = "a file that `edgemon record` wrote"
    try:
        with path.open("rb") as file:
            first = file.readline(65_536)
    except OSError as error:
        raise SettingsError(f"cannot be read: {error.strerror}", str(path), hint) from error
    try:
        fields = json.loads(first)
        known, version = fields["format"], fields["version"]
        header = Header(str(fields["root"]), parse_instant(fields["started_at"]))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise SettingsError("is not recorded traffic: its first line is no header", f"{path}:1", hint) from error
    if known != FORMAT:
        raise SettingsError(f"is not recorded traffic but {clean(str(known))!r}", f"{path}:1", hint)
    if version != VERSION:
        raise SettingsError(
            f"has version {clean(str(version))}; version {VERSION} is understood", f"{path}:1", "a newer edgemon"
        )
    return header


def read_messages(path: Path) -> Iterator[Recorded | Damaged]:
    """Give every message after the header, in the order recorded; what cannot be read is given as damage."""
    with path.open("rb") as file:
        file.readline(65_536)
        for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE), b""), start=2):
            yield _read(line, number)


def _read(line: bytes, number: int) -> Recorded | Damaged:
    if not line.endswith(b"\n"):
        return Damaged(number, "the line ends early")
    try:
        return _recorded(line)
    except KeyError as error:
        return Damaged(number, f"{error.args[0]} is missing")
    except binascii.Error:
        return Damaged(number, "the payload is not base64")
    except json.JSONDecodeError as error:
        return Damaged(number, f"not JSON: {error.msg}")
    except (ValueError, TypeError, AttributeError, RecursionError) as error:
        return Damaged(number, clean(str(error), 120))


def _recorded(line: bytes) -> Recorded:
    fields = json.loads(line)
    topic, qos, retained = fields["topic"], fields["qos"], fields["retained"]
    if not isinstance(topic, str) or not isinstance(retained, bool) or qos not in (0, 1, 2):
        raise ValueError("topic must be text, qos 0 to 2, retained true or false")
    payload = base64.b64decode(fields["payload"], validate=True)
    return Recorded(parse_instant(fields["received_at"]), topic, int(qos), retained, payload)
