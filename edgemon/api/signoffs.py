"""The part of the API about sign-offs: everyone sees them in the commissioning state, an engineer gives and withdraws them."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI

from edgemon.api.answers import at_least, said
from edgemon.api.port import Site
from edgemon.api.wire import OutcomeDocument, SignOrder, WithdrawOrder
from edgemon.model.command import Person, Role
from edgemon.model.machine import point_key


def let_sign_off(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the way to sign a point off, and to take that back."""
    engineer = at_least(Role.ENGINEER, caller, "a sign-off takes an engineer")

    @app.post("/v1/commissioning/sign-off", tags=["command"])
    async def sign_off(order: SignOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Sign a point off: it is as the plant file says, and what is open may be."""
        return await said(site.sign_off(point_key(order.machine, order.point), order.remark, order.left_open, person))

    @app.post("/v1/commissioning/withdraw", tags=["command"])
    async def withdraw(order: WithdrawOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take the sign-off of a point back."""
        return await said(site.withdraw_sign_off(point_key(order.machine, order.point), order.reason, person))
