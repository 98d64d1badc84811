"""Every transition of an alarm record, as data.

Theory of operation
-------------------
An alarm record is one limit pair (alert, alarm) at one point, or the loss of monitoring of one point. It is in exactly one
of nine states. Six of them say two things at once: is the condition there, and has somebody noticed it.

    NORM    not there, nothing to notice            RTNUN   gone again before anybody acknowledged it
    UNACK   there, not acknowledged                 LATUN   gone, but latched, and not acknowledged
    ACKED   there, acknowledged                     LATAK   gone, acknowledged, waits for a reset

The other three hide the six: SHLVD (an operator, for a limited time), DSUPR (the plant's logic: here, the machine does not
run, or the gateway itself hears nothing) and OOSRV (maintenance). Hidden records go on being evaluated, so their severity
stays true, but nobody is called and no change of condition is journalled until they come out. Several causes of hiding may
hold at once: OOSRV hides DSUPR hides SHLVD. Coming out of the last of them, a condition that is there is announced as new,
although it may have been acknowledged before: whoever acknowledged it may be off shift.

A *stimulus* is one thing that happens to one record: its condition moved, time passed, the machine stopped, a person
commanded. The table says for each state and stimulus, and the first guard that holds, where the record goes, whether that is
an announcement (a new occurrence: flash and sound start, an acknowledgement of an older occurrence is void), what is
written in the journal, or why it is refused. A stimulus without a line changes nothing.

Signal loss is not a stimulus of a level's record: it freezes it, and moves the record of the loss of monitoring instead.
A machine that stops hides what nobody must look at any more: records that are normal, acknowledged or shelved. What is not
acknowledged, or latched, stays until a person has dealt with it, and is hidden then. While hidden because the machine does
not run, nothing is known of the condition, and the record starts afresh when the machine does. Where standstill is only
concluded from a low level (and not from a speed), it never hides a condition that is there.

A state change is journalled by exactly one event, whose from-state is the to-state of the event before it.

Source: the states and the transitions between them follow IEC 62682:2014 and ANSI/ISA-18.2-2016 as told in secondary texts
(the standards themselves were not at hand: modelled on, not compliant with); shelving, one-shot shelving and acknowledgement
by occurrence follow OPC 10000-9 (OPC UA Part 9) clauses 4.8 and 5.8.17; reappearance of an unacknowledged alarm NUREG-0700
Rev. 2, 4.2.3-6. What no text settles is marked "house rule" in the note of its line.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.alarm import AlarmState

NORM, UNACK, ACKED = AlarmState.NORM, AlarmState.UNACK, AlarmState.ACKED
RTNUN, LATUN, LATAK = AlarmState.RTNUN, AlarmState.LATUN, AlarmState.LATAK
SHLVD, DSUPR, OOSRV = AlarmState.SHLVD, AlarmState.DSUPR, AlarmState.OOSRV

VISIBLE = (NORM, UNACK, ACKED, RTNUN, LATUN, LATAK)
HIDDEN = (SHLVD, DSUPR, OOSRV)


class Stimulus(StrEnum):
    """What can happen to one record; the value is how people read it in the table."""

    RAISE = "condition becomes active"
    CLEAR = "condition clears"
    RISE = "severity rises"
    FALL = "severity falls, still active"
    REALARM = "re-alarm time passes"
    ACK = "acknowledge"
    RESET = "reset"
    SHELVE = "shelve"
    UNSHELVE = "shelf ends"
    SUPPRESS = "machine stops"
    UNSUPPRESS = "machine runs"
    REMOVE = "remove from service"
    RETURN = "return to service"


@dataclass(frozen=True, slots=True)
class Facts:
    """What the guards may ask about a record at the instant of the stimulus."""

    active: bool = False
    """The condition is there now."""
    latched: bool = False
    """The severity this occurrence reached is one that latches."""
    stopped: bool = False
    """The machine is known not to run, and that may hide this record."""
    shelved: bool = False
    """A shelf holds, seen or under another cause of hiding."""
    one_shot: bool = False
    """The shelf ends when the condition clears."""
    escalates: bool = False
    """The severity is above the one that was shelved."""
    needs_ack: bool = True
    """The severity is one that a person must acknowledge."""
    current: bool = True
    """The occurrence named by the command is the newest."""


GUARDS: dict[str, Callable[[Facts], bool]] = {
    "": lambda facts: True,
    "active": lambda facts: facts.active,
    "active, no acknowledgement needed": lambda facts: facts.active and not facts.needs_ack,
    "latched": lambda facts: facts.latched,
    "machine stopped": lambda facts: facts.stopped,
    "shelved": lambda facts: facts.shelved,
    "one-shot shelf": lambda facts: facts.one_shot,
    "above the severity shelved": lambda facts: facts.escalates,
    "no acknowledgement needed": lambda facts: not facts.needs_ack,
    "older occurrence": lambda facts: not facts.current,
}
"""Name of a guard, as people read it in the table, and its test."""


@dataclass(frozen=True, slots=True)
class Transition:
    """One line: from any of the sources, on the stimulus, if the guard holds."""

    sources: tuple[AlarmState, ...]
    stimulus: Stimulus
    guard: str
    target: AlarmState | None
    """None: the state stays."""
    announce: bool = False
    """A new occurrence: whoever is to be told is told."""
    change: str = ""
    """What the journal calls it; empty: not journalled."""
    refusal: str = ""
    """Why a command changes nothing; empty where it does."""
    note: str = ""


_S = Stimulus
_HOUSE = "house rule"
TABLE: tuple[Transition, ...] = (
    # the condition moves
    Transition((NORM,), _S.RAISE, "no acknowledgement needed", ACKED, False, "RAISED"),
    Transition((NORM, RTNUN, LATUN, LATAK), _S.RAISE, "", UNACK, True, "RAISED"),
    Transition((UNACK,), _S.CLEAR, "latched", LATUN, False, "CLEARED"),
    Transition((UNACK,), _S.CLEAR, "", RTNUN, False, "CLEARED"),
    Transition((ACKED,), _S.CLEAR, "latched", LATAK, False, "CLEARED"),
    Transition((ACKED,), _S.CLEAR, "", NORM, False, "CLEARED"),
    Transition((ACKED,), _S.RISE, "no acknowledgement needed", None, False, "LEVEL_UP"),
    Transition((ACKED, UNACK), _S.RISE, "", UNACK, True, "LEVEL_UP", note="from UNACK: " + _HOUSE),
    Transition((UNACK, ACKED), _S.FALL, "", None, False, "LEVEL_DOWN", note=_HOUSE),
    Transition((ACKED,), _S.REALARM, "active", UNACK, True, "REALARM", note="OPC 10000-9 ReAlarmTime"),
    # the condition moves while shelved
    Transition((SHLVD,), _S.RAISE, "above the severity shelved", UNACK, True, "UNSHELVED", note=_HOUSE),
    Transition((SHLVD,), _S.RISE, "above the severity shelved", UNACK, True, "UNSHELVED", note=_HOUSE),
    Transition((SHLVD,), _S.CLEAR, "one-shot shelf", NORM, False, "UNSHELVED", note="OPC 10000-9, 5.8.17"),
    # a person acknowledges or resets
    Transition((NORM, ACKED, LATAK), _S.ACK, "", None, refusal="nothing to acknowledge", note=_HOUSE),
    Transition(HIDDEN, _S.ACK, "", None, refusal="hidden: nothing to acknowledge", note=_HOUSE),
    Transition((UNACK, RTNUN, LATUN), _S.ACK, "older occurrence", None, refusal="the alarm was announced again since"),
    Transition((UNACK, RTNUN), _S.ACK, "machine stopped", DSUPR, False, "ACK", note=_HOUSE),
    Transition((UNACK,), _S.ACK, "", ACKED, False, "ACK"),
    Transition((RTNUN,), _S.ACK, "", NORM, False, "ACK"),
    Transition((LATUN,), _S.ACK, "", LATAK, False, "ACK"),
    Transition((LATUN,), _S.RESET, "", None, refusal="acknowledge it first", note=_HOUSE),
    Transition((LATAK,), _S.RESET, "machine stopped", DSUPR, False, "RESET", note=_HOUSE),
    Transition((LATAK,), _S.RESET, "", NORM, False, "RESET"),
    Transition((UNACK, ACKED), _S.RESET, "", None, refusal="the condition is still there"),
    Transition((NORM, RTNUN, *HIDDEN), _S.RESET, "", None, refusal="nothing is latched"),
    # a person hides it for a while
    Transition((*VISIBLE, SHLVD), _S.SHELVE, "", SHLVD, False, "SHELVED"),
    Transition((DSUPR,), _S.SHELVE, "", None, refusal="suppressed by design", note=_HOUSE),
    Transition((OOSRV,), _S.SHELVE, "", None, refusal="out of service"),
    Transition((SHLVD,), _S.UNSHELVE, "active, no acknowledgement needed", ACKED, False, "UNSHELVED"),
    Transition((SHLVD,), _S.UNSHELVE, "active", UNACK, True, "UNSHELVED"),
    Transition((SHLVD,), _S.UNSHELVE, "", NORM, False, "UNSHELVED"),
    Transition((DSUPR,), _S.UNSHELVE, "shelved", None, False, "UNSHELVED", note="stays hidden: " + _HOUSE),
    Transition((*VISIBLE, DSUPR, OOSRV), _S.UNSHELVE, "", None, refusal="not shelved"),
    # the machine stops and runs
    Transition((NORM, ACKED, SHLVD), _S.SUPPRESS, "machine stopped", DSUPR, False, "SUPPRESSED"),
    Transition((DSUPR,), _S.UNSUPPRESS, "shelved", SHLVD, False, "UNSUPPRESSED"),
    Transition((DSUPR,), _S.UNSUPPRESS, "active, no acknowledgement needed", ACKED, False, "UNSUPPRESSED"),
    Transition((DSUPR,), _S.UNSUPPRESS, "active", UNACK, True, "UNSUPPRESSED"),
    Transition((DSUPR,), _S.UNSUPPRESS, "", NORM, False, "UNSUPPRESSED"),
    # maintenance takes it out of service and back; a shelf ends with it
    Transition((*VISIBLE, SHLVD, DSUPR), _S.REMOVE, "", OOSRV, False, "OOS"),
    Transition((OOSRV,), _S.REMOVE, "", None, refusal="out of service already"),
    Transition((OOSRV,), _S.RETURN, "machine stopped", DSUPR, False, "RTS"),
    Transition((OOSRV,), _S.RETURN, "active, no acknowledgement needed", ACKED, False, "RTS"),
    Transition((OOSRV,), _S.RETURN, "active", UNACK, True, "RTS"),
    Transition((OOSRV,), _S.RETURN, "", NORM, False, "RTS"),
    Transition((*VISIBLE, SHLVD, DSUPR), _S.RETURN, "", None, refusal="not out of service"),
)
"""All there is; for one state and stimulus the first line whose guard holds counts."""


def _index() -> dict[tuple[AlarmState, Stimulus], tuple[Transition, ...]]:
    lines: dict[tuple[AlarmState, Stimulus], list[Transition]] = {}
    for line in TABLE:
        for source in line.sources:
            lines.setdefault((source, line.stimulus), []).append(line)
    return {place: tuple(found) for place, found in lines.items()}


_INDEX = _index()


def find(state: AlarmState, stimulus: Stimulus, facts: Facts) -> Transition | None:
    """Give the line that counts; None where the stimulus changes nothing."""
    for line in _INDEX.get((state, stimulus), ()):
        if GUARDS[line.guard](facts):
            return line
    return None


def as_markdown() -> str:
    """Write the table for the documentation, one line a transition, in the order in which guards are asked."""
    rows = ["| from | what happens | if | to | announced | journal | note |", "|---|---|---|---|---|---|---|"]
    for line in TABLE:
        target = "stays" if line.target is None else line.target.value
        told = "yes" if line.announce else "no"
        journal = f"refused: {line.refusal}" if line.refusal else line.change
        sources = ", ".join(state.value for state in line.sources)
        rows.append(f"| {sources} | {line.stimulus.value} | {line.guard} | {target} | {told} | {journal} | {line.note} |")
    return "\n".join(rows) + "\n"
