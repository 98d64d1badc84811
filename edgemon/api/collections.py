"""The part of the API about fast collection: everyone sees it in the snapshot, an engineer begins and ends it."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI

from edgemon.api.answers import at_least, said
from edgemon.api.port import Site
from edgemon.api.wire import CollectionOrder, CollectionStop, OutcomeDocument
from edgemon.model.command import Person, Role


def let_collect(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add the way to have a sensor measure more often for a while."""
    engineer = at_least(Role.ENGINEER, caller, "a fast collection takes an engineer")

    @app.post("/v1/collection/start", tags=["command"])
    async def start(order: CollectionOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Have a sensor measure more often; it goes back to its routine by itself."""
        return await said(site.start_collection(order.target, order.interval_s, order.duration_s, order.reason, person))

    @app.post("/v1/collection/stop", tags=["command"])
    async def stop(order: CollectionStop, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take a fast collection back: the routine schedule is in force again."""
        return await said(site.stop_collection(order.target, order.reason, person))
