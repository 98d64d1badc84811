"""The part of the API about sign-offs: everyone sees them in the commissioning state, an engineer gives and withdraws them."""

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException

from edgemon.api.port import Site
from edgemon.api.roles import may
from edgemon.api.wire import OutcomeDocument, SignOrder, WithdrawOrder
from edgemon.errors import EdgemonError
from edgemon.model.command import Person, Role
from edgemon.model.machine import point_key
from edgemon.model.snapshot import Outcome


def let_sign_off(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the way to sign a point off, and to take that back."""

    def engineer(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, Role.ENGINEER):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; a sign-off takes an engineer")
        return person

    @app.post("/v1/commissioning/sign-off", tags=["command"])
    async def sign_off(order: SignOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Sign a point off: it is as the plant file says, and what is open may be."""
        return await _said(site.sign_off(point_key(order.machine, order.point), order.remark, order.left_open, person))

    @app.post("/v1/commissioning/withdraw", tags=["command"])
    async def withdraw(order: WithdrawOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take the sign-off of a point back."""
        return await _said(site.withdraw_sign_off(point_key(order.machine, order.point), order.reason, person))


async def _said(order: Awaitable[Outcome]) -> OutcomeDocument:
    try:
        outcome = await order
    except EdgemonError as error:
        raise HTTPException(503, str(error)) from error
    return OutcomeDocument(done=outcome.done, why=outcome.why)
