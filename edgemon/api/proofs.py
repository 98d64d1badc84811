"""The part of the API about commissioning and proofs of alarms: everyone sees, an engineer begins and ends proofs."""

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException
from fastapi.responses import Response

from edgemon.api.port import Site
from edgemon.api.roles import may
from edgemon.api.wire import OutcomeDocument, ProofOrder, ReasonOrder, to_json
from edgemon.errors import EdgemonError
from edgemon.model.command import Person, Role
from edgemon.model.commission import CommissionView
from edgemon.model.ids import AreaId, MachineId, PointId
from edgemon.model.proof import ProofReport, Scope


def let_prove(app: FastAPI, site: Site, caller: Callable[..., Person]) -> None:
    """Add what is proven, and the way to begin and to end a proof."""

    def engineer(person: Annotated[Person, Depends(caller)]) -> Person:
        if not may(person, Role.ENGINEER):
            raise HTTPException(403, f"{person.name} is a {person.role.value} here; a proof takes an engineer")
        return person

    @app.get("/v1/proof", response_model=ProofReport, tags=["see"])
    async def report() -> Response:
        """Say whether a proof is on, and what each point has proven, as the journal has it."""
        try:
            return Response(to_json(await site.proof_report()), media_type="application/json")
        except EdgemonError as error:
            raise HTTPException(503, str(error)) from error

    @app.get("/v1/commissioning", response_model=CommissionView, tags=["see"])
    async def commissioning() -> Response:
        """Say of each point what stands between it and being trusted, what is missing first."""
        try:
            return Response(to_json(await site.commissioning()), media_type="application/json")
        except EdgemonError as error:
            raise HTTPException(503, str(error)) from error

    @app.post("/v1/proof/start", tags=["command"])
    async def start(order: ProofOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """Announce a proof: seconds later, and for a limited time, simulated alarms of its points call, as a test."""
        named = AreaId(order.area) if order.area else None, MachineId(order.machine) if order.machine else None
        scope = Scope(*named, PointId(order.point) if order.point else None)
        try:
            outcome = await site.start_proof(scope, order.duration_s, order.reason, person)
        except EdgemonError as error:
            raise HTTPException(503, str(error)) from error
        return OutcomeDocument(done=outcome.done, why=outcome.why)

    @app.post("/v1/proof/stop", tags=["command"])
    async def stop(order: ReasonOrder, person: Annotated[Person, Depends(engineer)]) -> OutcomeDocument:
        """End the proof that is on, and with it what simulated data raised."""
        try:
            outcome = await site.stop_proof(order.reason, person)
        except EdgemonError as error:
            raise HTTPException(503, str(error)) from error
        return OutcomeDocument(done=outcome.done, why=outcome.why)
