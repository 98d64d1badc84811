"""The part of the API about commissioning and proofs of alarms: everyone sees, an engineer begins and ends proofs."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI
from fastapi.responses import Response

from edgemon.api.answers import at_least, said, shown
from edgemon.api.port import Site
from edgemon.api.wire import OutcomeDocument, ProofOrder, ReasonOrder
from edgemon.model.command import Person, Role
from edgemon.model.commission import CommissionView
from edgemon.model.ids import AreaId, MachineId, PointId
from edgemon.model.proof import ProofReport, Scope


def let_prove(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add what is proven, and the way to begin and to end a proof."""
    engineer = at_least(Role.ENGINEER, caller, "a proof takes an engineer")

    @app.get("/v1/proof", response_model=ProofReport, tags=["see"])
    async def report() -> Response:
        """Say whether a proof is on, and what each point has proven, as the journal has it."""
        return await shown(site.proof_report())

    @app.get("/v1/commissioning", response_model=CommissionView, tags=["see"])
    async def commissioning() -> Response:
        """Say of each point what stands between it and being trusted, what is missing first."""
        return await shown(site.commissioning())

    @app.post("/v1/proof/start", tags=["command"])
    async def start(order: ProofOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Announce a proof: seconds later, and for a limited time, simulated alarms of its points call, as a test."""
        named = AreaId(order.area) if order.area else None, MachineId(order.machine) if order.machine else None
        scope = Scope(*named, PointId(order.point) if order.point else None)
        return await said(site.start_proof(scope, order.duration_s, order.reason, person))

    @app.post("/v1/proof/stop", tags=["command"])
    async def stop(order: ReasonOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """End the proof that is on, and with it what simulated data raised."""
        return await said(site.stop_proof(order.reason, person))
