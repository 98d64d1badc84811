"""The stream that things go into: found and looked at, or made."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from edgemon.errors import LinkDown
from edgemon.model.instant import Duration
from edgemon.upstream.jetstream_wire import error_words

if TYPE_CHECKING:
    from edgemon.upstream.nats_client import Line

DUPLICATES_S: Duration = 600.0
"""How long a stream made here knows ids; it keeps them in memory, some 200 bytes each. House choice."""
SHORTEST_DUPLICATES_S: Duration = 30.0
"""A message may be under way for longer than a shorter window: it could be kept twice. House choice."""
CLUSTER = 3
"""Replicas where there are as many servers: one may be lost. Source: NATS documentation, replication factor."""
ATOMIC_SINCE = (2, 12)
"""Version of the server that takes batches as one (architecture decision record 50 of the NATS project)."""

_API = "$JS.API.STREAM"
_NO_STREAM, _NAME_IN_USE = 10059, 10058


@dataclass(frozen=True, slots=True)
class Stream:
    """What must be known of the stream to send to it."""

    name: str
    atomic: bool
    """It takes batches that are kept as a whole or not at all."""
    largest: int
    """Bytes of headers and payload together that it takes."""


async def ready(line: "Line", name: str, urls: Sequence[str]) -> Stream:
    """Find the stream, or make it; `LinkDown` if it cannot be used, saying what is to be done."""
    config = await _find(line, name) or await _make(line, name, urls) or await _find(line, name)
    if config is None:
        raise LinkDown("was made and is gone again", _where(name))
    if trouble := trouble_of(name, config):
        raise LinkDown(trouble, _where(name))
    limit = config.get("max_msg_size", -1)
    largest = min(line.max_payload, limit) if isinstance(limit, int) and limit > 0 else line.max_payload
    return Stream(name, config.get("allow_atomic") is True, largest)


def trouble_of(name: str, config: Mapping[str, Any]) -> str:
    """Say why a stream cannot be used; empty if it can."""
    if config.get("mirror"):
        return "is a mirror of another stream: send to that one"
    if config.get("sealed") or config.get("no_ack"):
        return (
            "is sealed: it takes nothing"
            if config.get("sealed")
            else "confirms nothing (no_ack): nothing could be known to be kept"
        )
    if config.get("subject_transform"):
        return "renames its subjects: what is there could not be found again"
    subjects = [str(one) for one in config.get("subjects") or ()]
    if not any(_meets(subject, name) for subject in subjects):
        return f"takes {', '.join(subjects) or 'no subjects'}: it must take {name}.>"
    window = int(config.get("duplicate_window") or 0) / 1e9
    if window < SHORTEST_DUPLICATES_S:
        return f"forgets ids after {window:g} s: set its duplicate window to {SHORTEST_DUPLICATES_S:g} s or more"
    return ""


def config_of(name: str, replicas: int, atomic: bool) -> dict[str, Any]:
    """Say what a stream made here is like; limits are for its owner to set."""
    config: dict[str, Any] = {
        "name": name,
        "subjects": [f"{name}.>"],
        "retention": "limits",
        "storage": "file",
        "discard": "old",
        "num_replicas": replicas,
        "duplicate_window": int(DUPLICATES_S * 1e9),
        **dict.fromkeys(("max_consumers", "max_msgs", "max_bytes", "max_msgs_per_subject", "max_msg_size"), -1),
        "max_age": 0,
    }
    return {**config, "allow_atomic": True} if atomic else config


async def _find(line: "Line", name: str) -> Mapping[str, Any] | None:
    document = await _call(line, f"{_API}.INFO.{name}", b"", name)
    if _is(document, _NO_STREAM):
        return None
    return _config(document, name)


async def _make(line: "Line", name: str, urls: Sequence[str]) -> Mapping[str, Any] | None:
    replicas = CLUSTER if max(line.servers, len(urls)) >= CLUSTER else 1
    config = config_of(name, replicas, line.version >= ATOMIC_SINCE)
    document = await _call(line, f"{_API}.CREATE.{name}", json.dumps(config).encode(), name)
    if _is(document, _NAME_IN_USE):  # another gateway was quicker
        return None
    return _config(document, name, f"it could not be made with {replicas} replicas; make it by hand, with subjects {name}.>")


async def _call(line: "Line", subject: str, payload: bytes, name: str) -> Mapping[str, Any]:
    answer = await line.answer_to(subject, payload)
    if answer.nobody:
        raise LinkDown("the server has no JetStream, or its cluster has no leader now", _where(name))
    return answer.document


def _config(document: Mapping[str, Any], name: str, hint: str = "") -> Mapping[str, Any]:
    config = document.get("config")
    if document.get("error") or not isinstance(config, Mapping):
        raise LinkDown(error_words(document), _where(name), hint)
    return config


def _is(document: Mapping[str, Any], code: int) -> bool:
    error = document.get("error")
    return isinstance(error, Mapping) and error.get("err_code") == code


def _meets(subject: str, into: str) -> bool:
    """Say whether a pattern takes any of our subjects: they begin with `into` and have three more tokens at least."""
    first, *more = subject.split(".")
    if first == ">":
        return True
    return first in {"*", into} and (len(more) >= 3 or ">" in more)


def _where(name: str) -> str:
    return f"stream {name}"
