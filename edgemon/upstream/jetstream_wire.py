"""What goes over the wire to a JetStream: subjects, ids, parts of what is large, and what answers mean; pure."""

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

from edgemon.errors import LinkDown
from edgemon.model.text import clean
from edgemon.model.upstream import Item

ID = "Nats-Msg-Id"
STREAM = "Nats-Expected-Stream"
AFTER = "Nats-Expected-Last-Subject-Sequence"
BATCH, BATCH_NUMBER, BATCH_END = "Nats-Batch-Id", "Nats-Batch-Sequence", "Nats-Batch-Commit"
"""Headers of JetStream (NATS documentation; batches: architecture decision record 50 of the NATS project)."""
PART = "Edgemon-Part"
"""`2/5`: second of five pieces of one body, to be put together in order."""
RUN = "Edgemon-Run"
"""Checksum of the ids of a subject that were sent in one go, up to this one: what came before it can be told from it."""
LATE = "%late"
"""No name becomes this token: behind a % of `token` stand two hexadecimal digits."""
LONGEST_SUBJECT = 2048
"""Bytes. A server closes the connection at a line of more than 4096 by default, which holds the inbox, too."""
HEADERS_BYTES = 768
"""Room for everything in the headers but the id."""
SMALLEST_PART = 1024

_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")
_NO_MESSAGE, _WRONG_LAST = 10037, 10071
"""Error codes of the JetStream API (nats-server, `errors.json`)."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message: an item, or a piece of one."""

    subject: str
    id: str
    payload: bytes
    item: Item
    part: str = ""
    run: str = ""

    def headers(self, stream: str, after: int | None) -> dict[str, str]:
        """Give its headers; `after` is the sequence that must be the last of the subject, where that is to be checked."""
        found = {ID: self.id, STREAM: stream, RUN: self.run}
        if after is not None:
            found[AFTER] = str(after)
        if self.part:
            found[PART] = self.part
        return found


@dataclass(frozen=True, slots=True)
class Last:
    """What the last message of a subject is; sequence 0: there is none."""

    sequence: int
    id: str = ""
    run: str = ""


class Fate(Enum):
    """What became of a message."""

    TAKEN = "taken"
    REPEATED = "repeated"
    """The stream knows its id."""
    OVERTAKEN = "overtaken"
    """Another message than expected is the last of the subject."""
    UNKNOWN = "unknown"
    """It is not taken now."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What an answer to a message says."""

    fate: Fate
    sequence: int = 0
    why: str = ""


def token(text: str) -> str:
    """Make one token of a subject: UTF-8 bytes other than letters, digits, - and _ become %XX; nothing becomes %."""
    if not text:
        return "%"
    return "".join(char if char in _PLAIN else "".join(f"%{byte:02X}" for byte in char.encode()) for char in text)


def subject_of(into: str, item: Item) -> str:
    """Make `<into>.<site>.<gateway>.<what>.<machine>.<point>`, or `.<sensor>`, or nothing more for the journal.

    What newer ones overtook has a subject of its own, with `.%late` behind, so that in each of both the last message tells.
    """
    site, gateway = item.key.split("/")[:2]
    about = [] if item.subject == item.source else item.subject.split("/")
    return ".".join([into, *(token(part) for part in (site, gateway, item.source, *about)), *([LATE] if item.late else [])])


def id_of(key: str) -> str:
    """Make a key fit for a header: printable ASCII but % stays as it is."""
    if key.isascii() and key.isprintable() and not set(key) & {"%", " "}:
        return key
    return "".join(f"%{byte:02X}" if byte <= 0x20 or byte >= 0x7F or byte == 0x25 else chr(byte) for byte in key.encode())


def messages_of(into: str, item: Item, largest: int) -> tuple[Message, ...]:
    """Make the messages of an item; none if there can never be any: its subject is too long.

    Parameters
    ----------
    into : str
        First token of every subject.
    item : Item
        What is to be sent.
    largest : int
        Bytes of headers and payload together that are taken.

    Raises
    ------
    LinkDown
        They are too few even for pieces of it.
    """
    subject, name = subject_of(into, item), id_of(item.key)
    room = largest - HEADERS_BYTES - len(name)
    if len(subject) > LONGEST_SUBJECT:
        return ()
    if len(item.body) <= room:
        return (Message(subject, name, item.body, item),)
    if room < SMALLEST_PART:
        raise LinkDown(f"takes messages of {largest} bytes at most", f"stream {into}", "raise max_msg_size or max_payload")
    count = -(-len(item.body) // room)
    cut = (item.body[at * room : (at + 1) * room] for at in range(count))
    return tuple(Message(subject, f"{name}/{n}of{count}", piece, item, f"{n}/{count}") for n, piece in enumerate(cut, 1))


def last_question(subject: str) -> bytes:
    """Make the question for the last message of a subject."""
    return json.dumps({"last_by_subj": subject}).encode()


def last_of(document: Mapping[str, Any]) -> Last | str:
    """Read the answer; or say what went wrong."""
    if error := document.get("error"):
        return Last(0) if _code(error) == _NO_MESSAGE else error_words(document)
    try:
        message = document["message"]
        text = base64.b64decode(message.get("hdrs", ""), validate=True).decode(errors="replace")
        headers = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in text.split("\r\n"))}
        return Last(int(message["seq"]), headers.get(ID.lower(), ""), headers.get(RUN.lower(), ""))
    except (KeyError, TypeError, ValueError, AttributeError):
        return "the server's answer cannot be read"


def in_runs(messages: Sequence[Message]) -> tuple[Message, ...]:
    """Mark the messages of one subject, in the order in which they are sent, with what comes before each."""
    ids, marked = hashlib.sha256(), []
    for message in messages:
        ids.update(message.id.encode() + b"\n")
        marked.append(replace(message, run=ids.hexdigest()[:16]))
    return tuple(marked)


def unsent(waiting: Sequence[Message], last: Last) -> tuple[Message, ...]:
    """Give what is not there yet of the messages of one subject.

    The stream has none without those sent before it in the same go; where the last one came in another (from a gateway
    whose disk is gone), only that one is known to be there, and the others' ids must tell.
    """
    at = next((at for at, message in enumerate(waiting) if message.id == last.id), None)
    if at is None:
        return tuple(waiting)
    same = waiting[at].run == last.run
    return tuple(message for n, message in enumerate(waiting) if n > at or (n < at and not same))


def verdict(document: Mapping[str, Any]) -> Verdict:
    """Say what an answer means. No error says "never": a full stream has room again, one whose limits changed is read anew."""
    if error := document.get("error"):
        return Verdict(Fate.OVERTAKEN if _code(error) == _WRONG_LAST else Fate.UNKNOWN, why=error_words(document))
    sequence = document.get("seq")
    if not isinstance(sequence, int) or sequence <= 0:
        return Verdict(Fate.UNKNOWN, why="the server's answer cannot be read")
    return Verdict(Fate.REPEATED if document.get("duplicate") is True else Fate.TAKEN, sequence)


def error_words(document: Mapping[str, Any]) -> str:
    """Say what an error in an answer says."""
    error = document.get("error")
    described = error.get("description", "") if isinstance(error, dict) else error
    return f"the stream says: {clean(str(described), 200)} ({_code(error)})"


def _code(error: object) -> int:
    code = error.get("err_code") if isinstance(error, dict) else None
    return code if isinstance(code, int) else 0
