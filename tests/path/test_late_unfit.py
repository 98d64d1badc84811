"""An older capture that is unfit, and new only in a level without a limit, must not spoil the quality of what is newer."""

import cbor2

from tests.support.captures import capture, capture_part, tone_counts
from tests.support.rig import START, Rig, running


def short(t: float) -> bytes:
    """Too few samples for anything, and a temperature, which the point had not heard before."""
    counts = tone_counts(5.0, samples=64)
    whole = cbor2.loads(capture_part(t, "short", counts, counts, 1, 1))
    return cbor2.dumps({**whole, "temp": 41.5})


async def test_an_old_unfit_capture_is_late_even_where_it_brings_a_level_nobody_had() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        before = rig.published()
        await rig.send(short(START - 3600.0))
        assert rig.published() == before
        assert before["quality"] == "good"
        assert rig.kinds().count("measurement-late") >= 1


async def test_a_new_unfit_capture_spoils_it() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        await rig.send(short(START + 60.0))
        assert (rig.published()["state"], rig.published()["quality"]) == ("alarm", "bad")
