"""The part of the API about the shift log and the handover."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI
from fastapi.responses import Response

from edgemon.api.answers import at_least, said, shown
from edgemon.api.port import Site
from edgemon.api.wire import LogOrder, OutcomeDocument, TakeOverOrder
from edgemon.model.command import Person, Role
from edgemon.model.ids import MachineId
from edgemon.model.shift import HandoverView


def let_hand_over(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the page everyone may see, and what operators may write and take over."""
    operator = at_least(Role.OPERATOR, caller, "the shift log takes an operator")

    @app.get("/v1/handover", response_model=HandoverView, tags=["see"])
    async def page() -> Response:
        """Give the handover page: what changed since the last takeover, what stands, what is hidden, what nobody sees."""
        return await shown(site.handover())

    @app.post("/v1/log", tags=["command"])
    async def write(order: LogOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Write into the shift log; what is written stays, a correction names the entry it is about."""
        machine = MachineId(order.machine) if order.machine else None
        return await said(site.write_log(person, order.text, order.sort, machine, order.corrects))

    @app.post("/v1/handover", tags=["command"])
    async def take(order: TakeOverOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Take over, having read the page of this digest; it is kept as it was read."""
        return await said(site.take_over(person, order.digest, order.note))
