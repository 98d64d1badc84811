"""What a person is told of a command."""

from collections.abc import Awaitable, Iterable
from dataclasses import replace

from edgemon.api.view import words
from edgemon.errors import ParameterError
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted
from edgemon.model.event import AlarmChanged, AlarmsSilenced, CommandRefused, Event
from edgemon.model.proof import ProofEnded, ProofStarted
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.model.snapshot import Outcome

STARTING = Outcome(False, "the gateway is still starting")
IN_MEMORY = "kept in memory only until the store works again: a restart before that forgets it"


async def answered(order: Awaitable[Outcome]) -> Outcome:
    """Say what came of an order; where what it asks for cannot be, that is its outcome."""
    try:
        return await order
    except ParameterError as error:
        return Outcome(False, str(error))


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
        if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired | PointSignedOff | SignOffWithdrawn):
            return Outcome(True, words(event))
    return Outcome(False, nothing)


def doubted(outcome: Outcome) -> Outcome:
    """Say, beside the outcome, that it may be forgotten."""
    return replace(outcome, why=f"{outcome.why}; {IN_MEMORY}" if outcome.why else IN_MEMORY) if outcome.done else outcome
