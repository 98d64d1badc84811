"""An order is answered in words, whatever it asks for; before anybody can take it, too."""

import pytest

from edgemon.daemon.collecting import FastDoor
from edgemon.daemon.outcomes import answered
from edgemon.daemon.proofdoor import ProofDoor
from edgemon.errors import ParameterError, StoreError
from edgemon.model.proof import Scope
from edgemon.model.snapshot import Outcome
from tests.support.rig import OPERATOR


async def test_what_cannot_be_is_an_outcome_and_a_store_that_fails_is_none() -> None:
    async def refused(fault: Exception) -> Outcome:
        raise fault

    assert await answered(refused(ParameterError("no such sensor", "s-0009"))) == Outcome(False, "s-0009: no such sensor")
    with pytest.raises(StoreError, match="disk full"):
        await answered(refused(StoreError("disk full")))


async def test_while_nobody_can_take_it_every_order_is_told_so() -> None:
    fast, proof = FastDoor(), ProofDoor()
    outcomes = (
        await fast.start_collection("s-0001", 60.0, 600.0, "rising", OPERATOR),
        await fast.stop_collection("s-0001", "enough", OPERATOR),
        await proof.start_proof(Scope(None, None, None), 600.0, "yearly", OPERATOR),
        await proof.stop_proof("done", OPERATOR),
    )
    assert set(outcomes) == {Outcome(False, "the gateway is still starting")}
