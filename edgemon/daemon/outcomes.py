"""What a person is told of a command."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.api.view import words
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted
from edgemon.model.event import AlarmChanged, AlarmsSilenced, CommandRefused, Event
from edgemon.model.proof import ProofEnded, ProofStarted
from edgemon.model.snapshot import Outcome

IN_MEMORY = "kept in memory only until the store works again: a restart before that forgets it"


def outcome_of(events: Iterable[Event], nothing: str) -> Outcome:
    """Say what came of a command; `nothing` where no event tells."""
    for event in events:
        if isinstance(event, CommandRefused):
            return Outcome(False, event.why)
        if isinstance(event, ProofStarted | ProofEnded | FastCollectionStarted | FastCollectionEnded):
            return Outcome(True, words(event))
        if isinstance(event, AlarmChanged):
            return Outcome(True)
        if isinstance(event, AlarmsSilenced):
            return Outcome(True, f"{len(event.alarms)} silenced, still to be acknowledged")
        if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
            return Outcome(True, words(event))
    return Outcome(False, nothing)


def doubted(outcome: Outcome) -> Outcome:
    """Say, beside the outcome, that it may be forgotten."""
    return replace(outcome, why=f"{outcome.why}; {IN_MEMORY}" if outcome.why else IN_MEMORY) if outcome.done else outcome
