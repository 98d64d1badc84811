"""The part of the API about fast collection: everyone sees it in the snapshot, an engineer begins and ends it."""

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException

from edgemon.api.port import Site
from edgemon.api.roles import may
from edgemon.api.wire import CollectionOrder, CollectionStop, OutcomeDocument
from edgemon.errors import EdgemonError
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import Outcome


def let_collect(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the way to have a sensor measure more often for a while."""

    def engineer(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, Role.ENGINEER):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; a fast collection takes an engineer")
        return person

    @app.post("/v1/collection/start", tags=["command"])
    async def start(order: CollectionOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Have a sensor measure more often; it goes back to its routine by itself."""
        return await _said(site.start_collection(order.target, order.interval_s, order.duration_s, order.reason, person))

    @app.post("/v1/collection/stop", tags=["command"])
    async def stop(order: CollectionStop, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take a fast collection back: the routine schedule is in force again."""
        return await _said(site.stop_collection(order.target, order.reason, person))


async def _said(order: Awaitable[Outcome]) -> OutcomeDocument:
    try:
        outcome = await order
    except EdgemonError as error:
        raise HTTPException(503, str(error)) from error
    return OutcomeDocument(done=outcome.done, why=outcome.why)
