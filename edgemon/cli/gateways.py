"""The gateways of a site from the command line: asked together, each under its name; an order goes to the one it concerns."""

import argparse
import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from edgemon.api.client import Daemon
from edgemon.board.several import Several
from edgemon.cli.options import daemons_of
from edgemon.clock import SystemClock
from edgemon.errors import SettingsError
from edgemon.model.machine import GATEWAY
from edgemon.model.snapshot import Outcome, Snapshot

T = TypeVar("T")


@dataclass(frozen=True)
class Gateways:
    """Several gateways, heard once."""

    daemons: Sequence[Daemon]
    several: Several
    snapshot: Snapshot
    """All that answered, as one site."""

    @property
    def missing(self) -> tuple[str, ...]:
        """Say of each gateway that does not answer which it is, and why."""
        named = zip(self.several.names, self.several.parts, strict=True)
        return tuple(f"NO ANSWER: {name}: {part.lost}" for name, part in named if part.lost is not None)

    def name_of(self, about: str) -> str:
        """Name the gateway of a machine or an alarm as the snapshot shows it."""
        found = self.several.known.own(about)
        return "" if found is None else self.several.names[found[0]]

    def own(self, about: str) -> tuple[int, str]:
        """Give the place of the gateway of a machine or an alarm, and what it is called there.

        Raises
        ------
        SettingsError
            No gateway has it, or several have, and it is not said which.
        """
        machine, slash, rest = about.partition("/")
        plain, at, gateway = machine.rpartition("@")
        names = self.several.names
        if at and gateway in names and self._has(names.index(gateway), plain):
            return names.index(gateway), f"{plain}{slash}{rest}"
        found = self.several.known.own(about)
        if found is not None:
            return found
        holders = [name for place, name in enumerate(names) if self._has(place, machine)]
        if holders:
            hint = f"say which: {machine}@{holders[0]}{slash}{rest}"
            raise SettingsError(f"more than one gateway has {machine}: {', '.join(holders)}", about, hint)
        known = f"asked: {', '.join(name for name, part in zip(names, self.several.parts, strict=True) if part.lost is None)}"
        raise SettingsError(f"no gateway that answers has {machine}", about, "; ".join((known, *self.missing)))

    def _has(self, place: int, machine: str) -> bool:
        part = self.several.parts[place]
        return part.gateway is not None and (machine in part.machines or machine == GATEWAY.machine)

    async def order(self, about: str, order: Callable[[Daemon, str], Awaitable[Outcome]]) -> Outcome:
        """Give an order to the gateway of a machine or an alarm; what came of it names the gateway."""
        place, own = self.own(about)
        outcome = await order(self.daemons[place], own)
        return Outcome(outcome.done, f"{self.several.names[place]}: {outcome.why or 'done'}")


def asked_of_all(
    options: argparse.Namespace, one: Callable[[Daemon], Awaitable[T]], more: Callable[[Gateways], Awaitable[T]]
) -> T:
    """Ask the daemon that the options of `add_several` mean by itself; or several together, and stop asking."""

    async def whole() -> T:
        daemons = daemons_of(options)
        if len(daemons) == 1:
            try:
                return await one(daemons[0])
            finally:
                await daemons[0].close()
        several = Several([(daemon.where, daemon) for daemon in daemons], SystemClock())
        try:
            return await more(Gateways(daemons, several, await several.hear()))
        finally:
            await several.close()

    return asyncio.run(whole())
