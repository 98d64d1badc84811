"""The part of the API about baselines, trends and forecasts."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException, Query
from fastapi.responses import Response

from edgemon.api.port import Site
from edgemon.api.roles import may
from edgemon.api.wire import BaselineOrder, OutcomeDocument, to_json
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.command import Person, Role
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import EARLIEST, LATEST, Instant
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.snapshot import Outcome, TrendBins

JSON = "application/json"
MOST_COLUMNS = 2000
"""Stretches of one answer; no screen is wider."""


def let_see_trends(app: FastAPI, site: Site) -> None:
    """Add what everyone may see of baselines and forecasts."""

    @app.get("/v1/baselines", response_model=list[BaselineView], tags=["see"])
    async def baselines() -> Response:
        """Give every baseline with the limits that follow from it, and how far the learning of the others is."""
        return Response(to_json(site.baselines()), media_type=JSON)

    @app.get("/v1/machines/{machine}/points/{point}/levels/{level}/bins", response_model=TrendBins, tags=["see"])
    async def bins(
        machine: str,
        point: str,
        level: str,
        until: Annotated[Instant, Query(ge=EARLIEST, le=LATEST)],
        since: Annotated[Instant | None, Query(ge=EARLIEST, le=LATEST)] = None,
        columns: Annotated[int, Query(ge=1, le=MOST_COLUMNS)] = 200,
        sim: bool = False,
    ) -> Response:
        """Give the past of a level as lowest, mean and highest value of stretches of like length; all of it without `since`."""
        try:
            found = await site.trend_bins(PointKey(MachineId(machine), PointId(point)), level, since, until, columns, sim)
        except EdgemonError as error:
            raise _refusal(error) from error
        return Response(to_json(found), media_type=JSON)

    @app.get("/v1/machines/{machine}/points/{point}/levels/{level}/forecast", response_model=OutlookView, tags=["see"])
    async def forecast(machine: str, point: str, level: str) -> Response:
        """Give slope, change and forecast of a level, from its values in like conditions; computed now."""
        try:
            found = await site.outlook(PointKey(MachineId(machine), PointId(point)), level)
        except EdgemonError as error:
            raise _refusal(error) from error
        return Response(to_json(found), media_type=JSON)

    @app.get("/v1/machines/{machine}/forecasts", response_model=list[OutlookView], tags=["see"])
    async def forecasts(machine: str) -> Response:
        """Give slope, change and forecast of every level with a limit, at all points of a machine; computed now."""
        try:
            found = await site.outlooks(machine)
        except EdgemonError as error:
            raise _refusal(error) from error
        return Response(to_json(found), media_type=JSON)


def let_command_baselines(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add what an engineer may do about baselines."""

    def engineer(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, Role.ENGINEER):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; baselines take an engineer")
        return person

    @app.post("/v1/baselines/propose", tags=["command"])
    async def propose(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Learn a baseline from what there is and propose it; nothing rests on it before it is approved."""
        try:
            return _document(await site.propose_baseline(_point(order), order.level, person, order.reason))
        except EdgemonError as error:
            raise _refusal(error) from error

    @app.post("/v1/baselines/approve", tags=["command"])
    async def approve(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Make a proposed baseline the measure; the alert limit that follows from it is in force at once."""
        try:
            outcome = await site.approve_baseline(_point(order), order.level, person, order.reason, order.proposed_at)
        except EdgemonError as error:
            raise _refusal(error) from error
        return _document(outcome)

    @app.post("/v1/baselines/retire", tags=["command"])
    async def retire(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take a baseline out of use, as after a repair, or turn a proposal down; the plant file's limits hold again."""
        try:
            return _document(await site.retire_baseline(_point(order), order.level, person, order.reason))
        except EdgemonError as error:
            raise _refusal(error) from error


def _point(order: BaselineOrder) -> PointKey:
    return PointKey(MachineId(order.machine), PointId(order.point))


def _document(outcome: Outcome) -> OutcomeDocument:
    return OutcomeDocument(done=outcome.done, why=outcome.why)


def _refusal(error: EdgemonError) -> HTTPException:
    return HTTPException(404 if isinstance(error, ParameterError) else 503, str(error))
