"""The part of the API about the past: journal and alarm performance."""

from typing import Annotated

from fastapi import FastAPI, HTTPException, Query
from fastapi.responses import Response

from edgemon.api.port import Site
from edgemon.api.wire import to_json
from edgemon.errors import ParameterError, StoreError
from edgemon.model.event import EVENT_OF
from edgemon.model.instant import Instant
from edgemon.model.performance import Performance
from edgemon.model.search import Search
from edgemon.model.snapshot import JournalView

JSON = "application/json"
_Word = Annotated[str | None, Query(max_length=200)]


def let_see_records(app: FastAPI, site: Site) -> None:
    """Add what everyone may see of the past."""

    @app.get("/v1/journal", response_model=list[JournalView], tags=["see"])
    async def journal(
        limit: Annotated[int, Query(ge=1, le=1000)] = 100,
        before: int | None = None,
        since: Annotated[Instant | None, Query(description="recorded at this time or later")] = None,
        until: Annotated[Instant | None, Query(description="recorded before this time")] = None,
        kind: Annotated[list[str] | None, Query(max_length=len(EVENT_OF))] = None,
        machine: _Word = None,
        person: _Word = None,
    ) -> Response:
        """Give journal entries, newest first; those that fulfil all that is asked."""
        unknown = [one for one in kind or () if one not in EVENT_OF]
        if unknown:
            raise HTTPException(422, f"no such kind: {unknown[0]!r}; known are {', '.join(EVENT_OF)}")
        search = Search(since, until, tuple(kind or ()), machine, person)
        return Response(to_json(await site.journal(limit, before, search)), media_type=JSON)

    @app.get("/v1/performance", response_model=Performance, tags=["see"])
    async def performance(
        since: Instant, until: Instant | None = None, sim: Annotated[bool | None, Query()] = None
    ) -> Response:
        """Give the figures of alarm performance, by default until now; of simulated data where the gateway plays only such."""
        try:
            found = await site.performance(since, until, sim)
        except ParameterError as error:
            raise HTTPException(422, str(error)) from error
        except StoreError as error:
            raise HTTPException(503, str(error)) from error
        return Response(to_json(found), media_type=JSON)
