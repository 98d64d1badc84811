"""The part of the API by which people command alarms; the role is asked here, the alarm's own rules answer for the rest."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException

from edgemon.api.answers import at_least, said
from edgemon.api.port import Site
from edgemon.api.wire import AcknowledgeOrder, AlarmOrder, OutcomeDocument, ReasonedOrder, ShelveOrder, alarm_key
from edgemon.model.command import (
    Acknowledge,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Role,
    Shelve,
    Unshelve,
)
from edgemon.model.ids import AlarmKey


def let_command_alarms(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add what operators and engineers may do about alarms."""
    engineer = at_least(Role.ENGINEER, caller, "taking alarms out of service and back takes an engineer")
    _let_operators(app, site, at_least(Role.OPERATOR, caller, "this takes an operator"))

    @app.post("/v1/alarms/remove-from-service", tags=["command"])
    async def remove(order: ReasonedOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take an alarm out of service, as for maintenance; nothing but `return-to-service` ends that."""
        return await said(site.command(RemoveFromService(_key(order.alarm), order.reason), person))

    @app.post("/v1/alarms/return-to-service", tags=["command"])
    async def give_back(order: AlarmOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Put an alarm back into service; it calls anew if its condition is there."""
        return await said(site.command(ReturnToService(_key(order.alarm)), person))


def _let_operators(app: FastAPI, site: Site, operator: Callable[..., Person]) -> None:
    @app.post("/v1/alarms/acknowledge", tags=["command"])
    async def acknowledge(order: AcknowledgeOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Say that one occurrence of an alarm was noticed."""
        return await said(site.command(Acknowledge(_key(order.alarm), order.occurrence), person))

    @app.post("/v1/silence", tags=["command"])
    async def silence(person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Silence whatever calls now, on the whole site; all of it still waits for its acknowledgement, a new call sounds."""
        return await said(site.silence(person))

    @app.post("/v1/lamp-test", tags=["command"])
    async def lamp_test(person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Have horn, beacon and board show all they can for some seconds; marked as a test, and journalled."""
        return await said(site.lamp_test(person))

    @app.post("/v1/alarms/reset", tags=["command"])
    async def reset(order: AlarmOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """End a latched alarm whose condition is gone and which was acknowledged."""
        return await said(site.command(Reset(_key(order.alarm)), person))

    @app.post("/v1/alarms/shelve", tags=["command"])
    async def shelve(order: ShelveOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Hide an alarm for a while, with a reason; it comes back by itself, and calls anew if its condition is there."""
        return await said(site.command(Shelve(_key(order.alarm), order.duration_s, order.reason, order.one_shot), person))

    @app.post("/v1/alarms/unshelve", tags=["command"])
    async def unshelve(order: AlarmOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """End a shelf early."""
        return await said(site.command(Unshelve(_key(order.alarm)), person))


def _key(text: str) -> AlarmKey:
    key = alarm_key(text)
    if key is None:
        raise HTTPException(404, f"no such alarm: {text!r}")
    return key
