"""What becomes of an order, and of a question: the status tells what is not there from what cannot be answered now."""

from pathlib import Path

import pytest
from fastapi import HTTPException

from edgemon.api.answers import said, shown
from edgemon.errors import EdgemonError, ParameterError, StoreError
from edgemon.model.command import Person
from edgemon.model.snapshot import Outcome, TrendBins
from tests.api.test_service import served
from tests.support.fake_site import FakeSite

FAULTS = [(ParameterError("no such machine", "fan-9"), 404), (StoreError("the disk is full"), 503)]


@pytest.mark.parametrize(("fault", "status"), FAULTS)
async def test_a_fault_is_answered_with_its_status_and_its_words(fault: EdgemonError, status: int) -> None:
    async def order() -> Outcome:
        raise fault

    async def question() -> TrendBins:
        raise fault

    for answer in (said(order()), shown(question())):
        with pytest.raises(HTTPException) as refused:
            await answer
        assert (refused.value.status_code, refused.value.detail) == (status, str(fault))


class FailingSite(FakeSite):
    """Nothing can be journalled."""

    async def silence(self, person: Person) -> Outcome:
        raise StoreError("the disk is full")

    async def lamp_test(self, person: Person) -> Outcome:
        raise StoreError("the disk is full")


async def test_who_silences_while_the_store_fails_is_told_why_that_was_not_done(tmp_path: Path) -> None:
    async with served(tmp_path, FailingSite()) as daemon:
        for outcome in (await daemon.silence(), await daemon.lamp_test()):
            assert (outcome.done, outcome.why) == (False, "the disk is full")
