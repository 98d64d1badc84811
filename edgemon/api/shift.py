"""The part of the API about the shift log and the handover."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException
from fastapi.responses import Response

from edgemon.api.port import Site
from edgemon.api.roles import may
from edgemon.api.wire import LogOrder, OutcomeDocument, TakeOverOrder, to_json
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.command import Person, Role
from edgemon.model.ids import MachineId
from edgemon.model.shift import HandoverView


def let_hand_over(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the page everyone may see, and what operators may write and take over."""

    def operator(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, Role.OPERATOR):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; the shift log takes an operator")
        return person

    @app.get("/v1/handover", response_model=HandoverView, tags=["see"])
    async def page() -> Response:
        """Give the handover page: what changed since the last takeover, what stands, what is hidden, what nobody sees."""
        try:
            return Response(to_json(await site.handover()), media_type="application/json")
        except EdgemonError as error:
            raise _refusal(error) from error

    @app.post("/v1/log", tags=["command"])
    async def write(order: LogOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Write into the shift log; what is written stays, a correction names the entry it is about."""
        machine = MachineId(order.machine) if order.machine else None
        try:
            outcome = await site.write_log(person, order.text, order.sort, machine, order.corrects)
        except EdgemonError as error:
            raise _refusal(error) from error
        return OutcomeDocument(done=outcome.done, why=outcome.why)

    @app.post("/v1/handover", tags=["command"])
    async def take(order: TakeOverOrder, person: Annotated[Person, Depends(operator)]) -> OutcomeDocument:
        """Take over, having read the page of this digest; it is kept as it was read."""
        try:
            outcome = await site.take_over(person, order.digest, order.note)
        except EdgemonError as error:
            raise _refusal(error) from error
        return OutcomeDocument(done=outcome.done, why=outcome.why)


def _refusal(error: EdgemonError) -> HTTPException:
    return HTTPException(404 if isinstance(error, ParameterError) else 503, str(error))
