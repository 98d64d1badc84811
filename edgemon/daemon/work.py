"""What waits in the inbox of the path, besides deliveries."""

import asyncio
from dataclasses import dataclass
from typing import TypeAlias

from edgemon.model.collection import FastCommand
from edgemon.model.command import BaselineCommand, Command, Person, Silence
from edgemon.model.event import Event
from edgemon.model.proof import ProofCommand
from edgemon.model.signoff import SignCommand
from edgemon.model.snapshot import Outcome
from edgemon.mqtt.port import Delivery

AnyCommand: TypeAlias = Command | BaselineCommand | Silence | ProofCommand | FastCommand | SignCommand


@dataclass(frozen=True, slots=True)
class Tick:
    """A second went by."""


@dataclass(frozen=True, slots=True)
class Happened:
    """Something outside the path happened that belongs in the journal."""

    event: Event
    stored: asyncio.Future[None] | None = None
    """Done once the journal has it; None where nobody waits."""


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """A person commands, and waits for the outcome."""

    command: AnyCommand
    person: Person
    outcome: asyncio.Future[Outcome]


@dataclass(frozen=True, slots=True, eq=False)
class End:
    """The last thing: what came before it is worked off, nothing comes after it."""

    event: Event


Work: TypeAlias = list[Delivery] | Tick | Happened | Order | End
