"""The part of the API about baselines, trends and forecasts."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI, Query
from fastapi.responses import Response

from edgemon.api.answers import at_least, said, shown
from edgemon.api.port import Site
from edgemon.api.wire import BaselineOrder, OutcomeDocument, to_json
from edgemon.model.command import Person, Role
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import EARLIEST, LATEST, Instant
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.snapshot import TrendBins

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
        return await shown(site.trend_bins(PointKey(MachineId(machine), PointId(point)), level, since, until, columns, sim))

    @app.get("/v1/machines/{machine}/points/{point}/levels/{level}/forecast", response_model=OutlookView, tags=["see"])
    async def forecast(machine: str, point: str, level: str) -> Response:
        """Give slope, change and forecast of a level, from its values in like conditions; computed now."""
        return await shown(site.outlook(PointKey(MachineId(machine), PointId(point)), level))

    @app.get("/v1/machines/{machine}/forecasts", response_model=list[OutlookView], tags=["see"])
    async def forecasts(machine: str) -> Response:
        """Give slope, change and forecast of every level with a limit, at all points of a machine; computed now."""
        return await shown(site.outlooks(machine))


def let_command_baselines(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add what an engineer may do about baselines."""
    engineer = at_least(Role.ENGINEER, caller, "baselines take an engineer")

    @app.post("/v1/baselines/propose", tags=["command"])
    async def propose(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Learn a baseline from what there is and propose it; nothing rests on it before it is approved."""
        return await said(site.propose_baseline(_point(order), order.level, person, order.reason))

    @app.post("/v1/baselines/approve", tags=["command"])
    async def approve(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Make a proposed baseline the measure; the alert limit that follows from it is in force at once."""
        return await said(site.approve_baseline(_point(order), order.level, person, order.reason, order.proposed_at))

    @app.post("/v1/baselines/retire", tags=["command"])
    async def retire(order: BaselineOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Take a baseline out of use, as after a repair, or turn a proposal down; the plant file's limits hold again."""
        return await said(site.retire_baseline(_point(order), order.level, person, order.reason))


def _point(order: BaselineOrder) -> PointKey:
    return PointKey(MachineId(order.machine), PointId(order.point))
