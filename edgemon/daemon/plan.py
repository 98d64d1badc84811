"""What an output is to show, whether it has to be told again, and in which words a command is told."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from edgemon.model.annunciation import Annunciation
from edgemon.model.instant import Instant, format_instant

TEST_S = 10.0
"""How long a test lasts: long enough to look at every board of a room. House choice."""
_PASSED_ON = ("PATH", "LANG", "LC_ALL", "TZ")
"""What a command gets to know of the daemon's own environment; the rest may hold secrets."""


def wanted(calling: Annunciation, test_until: Instant | None, now: Instant) -> Annunciation:
    """Give what is to be shown: what calls, and everything at once while there is a test."""
    if test_until is None or now >= test_until:
        return calling
    return replace(calling, horn=True, beacon="alarm", test=True)


def is_same(one: Annunciation, other: Annunciation) -> bool:
    """Say whether two look alike at an output; when something was silenced does not show there."""
    return replace(one, silenced_at=None) == replace(other, silenced_at=None)


def environment(shown: Annunciation, known: Mapping[str, str]) -> dict[str, str]:
    """Give the environment of a command.

    Parameters
    ----------
    shown : Annunciation
        What it is to show; the alarm's variables are empty where nothing calls.
    known : mapping of str to str
        The daemon's own environment, of which only what programs need to run is passed on.
    """
    call = shown.call
    return {name: known[name] for name in _PASSED_ON if name in known} | {
        "EDGEMON_HORN": _flag(shown.horn),
        "EDGEMON_BEACON": shown.beacon,
        "EDGEMON_RINGBACK": _flag(shown.ringback),
        "EDGEMON_TEST": _flag(shown.test),
        "EDGEMON_ALARM": call.id if call else "",
        "EDGEMON_SEVERITY": call.severity if call else "",
        "EDGEMON_PRIORITY": call.priority if call else "",
        "EDGEMON_TEXT": call.text if call else "",
        "EDGEMON_SIM": _flag(call is not None and call.sim),
        "EDGEMON_PROOF": shown.proof,
    }


def document(shown: Annunciation, now: Instant) -> dict[str, Any]:
    """Give the retained document of an output on MQTT."""
    call = shown.call
    return {
        "t": format_instant(now),
        "horn": shown.horn,
        "beacon": shown.beacon,
        "ringback": shown.ringback,
        "test": shown.test,
        "alarm": call.id if call else None,
        "severity": call.severity if call else None,
        "priority": call.priority if call else None,
        "text": call.text if call else None,
        "sim": call is not None and call.sim,
        "proof": shown.proof or None,
    }


def _flag(is_on: bool) -> str:
    return "1" if is_on else "0"
