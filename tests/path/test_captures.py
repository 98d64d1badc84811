"""Captures through the whole path: levels, limits, states, storage, acknowledgement, publication.

Velocity of the tones is set by a closed form (support/captures.py); limits are ISO 20816-3 group 2 rigid, 2.8 and 4.5 mm/s.
"""

import itertools

import pytest

from edgemon.model.command import Acknowledge
from edgemon.model.ids import AlarmKey, CaptureKey
from edgemon.model.quality import Flaw
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture, parts, tone_counts
from tests.support.plants import DRIVE_END, SENSOR, gateway, plant
from tests.support.rig import START, Rig, running

VELOCITY = AlarmKey(DRIVE_END.machine, DRIVE_END.point, "velocity_rms")


async def test_a_capture_becomes_a_level_a_state_and_a_retained_document() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 2.0, capture_id="c-7"))
        document = rig.published()
        assert document["state"] == "normal"
        assert document["quality"] == "good"
        assert document["reasons"] == []
        assert document["t"] == "2025-10-09T08:53:20.000Z"
        assert document["capture"] == "c-7"
        assert document["sim"] is False
        level = document["levels"]["velocity_rms"]
        assert level["value"] == pytest.approx(2.0, rel=0.01)
        assert (level["unit"], level["state"], level["alert"], level["alarm"]) == ("mm/s", "normal", 2.8, 4.5)
        machine = rig.published("machine/hp-pump-1")
        assert machine["worst"]["point"] == "pump-de-h"
        assert machine["worst"]["ratio"] == pytest.approx(2.0 / 4.5, rel=0.01)


async def test_alert_then_alarm_then_acknowledged_then_normal() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 2.0))
        await rig.send(capture(START + 20, 3.5))
        assert rig.published()["state"] == "alert"
        assert [alarm["severity"] for alarm in rig.published()["alarms"]] == ["alert"]
        await rig.send(capture(START + 40, 5.0))
        (alarm,) = rig.published()["alarms"]
        assert (alarm["id"], alarm["severity"], alarm["alarm_state"]) == (
            "hp-pump-1/pump-de-h/velocity_rms",
            "alarm",
            "UNACK",
        )
        assert rig.machine().unacknowledged
        occurrence = rig.point().alarms[0].occurrence
        assert (await rig.command(Acknowledge(VELOCITY, occurrence))).done
        await rig.settle()
        assert rig.published()["alarms"][0]["alarm_state"] == "ACKED"
        assert not rig.machine().unacknowledged
        await rig.send(capture(START + 60, 1.0))
        assert rig.published()["state"] == "normal"
        assert rig.published()["alarms"] == []
        changes = [entry["change"] for entry in rig.journal() if entry["kind"] == "alarm-changed"]
        assert changes == ["RAISED", "LEVEL_UP", "ACK", "CLEARED"]


async def test_acknowledging_an_old_occurrence_is_refused_and_journalled() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        outcome = await rig.command(Acknowledge(VELOCITY, 99))
        await rig.settle()
        assert not outcome.done
        assert outcome.why
        assert rig.published()["alarms"][0]["alarm_state"] == "UNACK"
        assert "command-refused" in rig.kinds()


async def test_a_repeat_changes_nothing_and_is_counted() -> None:
    async with running(Rig(plant(readings=2))) as rig:
        message = capture(START, 5.0)
        for _ in range(3):
            await rig.send(message)
        assert rig.published()["state"] == "normal"  # a second reading beyond the limit would have raised it
        assert rig.hub.gateway().captures == 1
        assert rig.hub.gateway().repeats == 2
        assert rig.link.broker.unacknowledged("memory") == []


async def test_repeats_in_one_batch_change_nothing() -> None:
    async with running(Rig(plant(readings=2))) as rig:
        message = capture(START, 5.0)
        for _ in range(5):
            rig.link.inject("edgemon/v1/sensor/s-0001/capture", message)
        await rig.work()
        assert rig.published()["state"] == "normal"
        assert (rig.hub.gateway().captures, rig.hub.gateway().repeats) == (1, 4)


async def test_same_id_with_another_time_is_a_new_capture() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0, capture_id="1"))
        await rig.send(capture(START + 20, 3.5, capture_id="1"))
        assert rig.hub.gateway().captures == 2
        assert rig.published()["state"] == "alert"


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
async def test_parts_in_any_order_with_repeats_make_the_capture_they_are_part_of(order: tuple[int, ...]) -> None:
    pieces = parts(START, 3.5, 3)
    async with running(Rig()) as rig:
        for index in (*order[:-1], order[0], order[-1], order[0]):
            await rig.send(pieces[index])
        assert rig.hub.gateway().captures == 1
        assert rig.hub.gateway().repeats == 2
        level = rig.published()["levels"]["velocity_rms"]
        assert level["value"] == pytest.approx(3.5, rel=0.01)
        stored = await rig.store.capture(CaptureKey(SENSOR, rig.store.commits[-2].captures[0].id, START))
        assert stored is not None
        assert stored.axes["x"].tolist() == tone_counts(3.5).tolist()


async def test_parts_survive_a_crash_in_between() -> None:
    pieces = parts(START, 3.5, 4)
    first = Rig()
    async with running(first):
        await first.send(pieces[2])
        await first.send(pieces[0])
        assert first.link.broker.unacknowledged("memory") == []
    second = Rig(store=MemoryStore(before=first.store), broker=first.link.broker, now=START + 5)
    async with running(second):
        await second.send(pieces[3])
        await second.send(pieces[1])
        assert second.published()["levels"]["velocity_rms"]["value"] == pytest.approx(3.5, rel=0.01)


async def test_parts_that_never_come_close_the_capture_as_bad() -> None:
    async with running(Rig(plant(stale_after_s=10_000.0))) as rig:
        await rig.send(capture(START - 20, 1.0))
        for piece in parts(START, 9.0, 4)[:3]:
            await rig.send(piece)
        await rig.pass_time(700.0, every=100.0)
        document = rig.published()
        assert document["state"] == "normal"
        assert document["quality"] == "bad"
        assert Flaw.MISSING_SAMPLES.value in document["reasons"]
        assert "capture-incomplete" in rig.kinds()
        assert rig.hub.gateway().captures == 2


async def test_a_late_capture_is_stored_and_does_not_move_the_state_back() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        await rig.send(capture(START - 30, 1.0))
        assert rig.published()["state"] == "alarm"
        assert rig.published()["t"] == "2025-10-09T08:53:20.000Z"
        assert rig.hub.gateway().captures == 2
        assert rig.hub.gateway().late > 0
        assert "measurement-late" in rig.kinds()
        trend = await rig.store.trend(DRIVE_END, "velocity_rms", START - 60, START + 60)
        assert [round(one.value * 1e3, 1) for one in trend] == [1.0, 5.0]


async def test_a_clipped_capture_neither_raises_nor_clears() -> None:
    clipped = tone_counts(40.0).clip(-500, 500)
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await rig.send(capture(START + 20, counts=clipped))
        assert rig.published()["state"] == "normal"
        assert rig.published()["quality"] == "bad"
        assert Flaw.CLIPPED.value in rig.published()["reasons"]
        await rig.send(capture(START + 40, 5.0))
        assert rig.published()["quality"] == "good"
        assert rig.published()["state"] == "alarm"
        await rig.send(capture(START + 60, counts=(tone_counts(1.0) * 0)))
        assert rig.published()["state"] == "alarm"
        assert Flaw.FLAT_LINE.value in rig.published()["reasons"]
        trend = await rig.store.trend(DRIVE_END, "velocity_rms", START - 1, START + 61)
        assert [one.fit for one in trend] == [True, False, True, False]


async def test_the_same_samples_under_another_name_come_from_a_stuck_sensor() -> None:
    async with running(Rig()) as rig:
        counts = tone_counts(1.0)
        await rig.send(capture(START, counts=counts, axial_mm_s=0.5))
        await rig.send(capture(START + 35, counts=counts, axial_mm_s=0.5))
        assert rig.published()["reasons"] == [Flaw.REPEATED.value]


async def test_simulated_data_is_marked_and_never_touches_the_plants_own() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        await rig.send(capture(START + 20, 1.0, sim=True))
        assert rig.published()["state"] == "alarm"
        assert rig.published()["sim"] is False
        trend = await rig.store.trend(DRIVE_END, "velocity_rms", START - 1, START + 60)
        assert len(trend) == 1
    async with running(Rig(of_gateway=gateway(simulated=True))) as rig:
        await rig.send(capture(START, 5.0, sim=True))
        assert rig.published()["state"] == "alarm"
        assert rig.published()["sim"] is True
        assert rig.published()["alarms"][0]["id"].endswith("/sim")


async def test_a_capture_and_its_simulated_twin_are_two() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 3.0, capture_id="twin", sim=True))
        await rig.send(capture(START, 3.0, capture_id="twin"))
        await rig.send(capture(START, 3.0, capture_id="twin"))
        assert (rig.hub.gateway().captures, rig.hub.gateway().repeats) == (2, 1)
        assert rig.published()["state"] == "alert"
        assert rig.published()["quality"] == "good"
        keys = await rig.store.captures(None, START - 1, START + 1)
        assert sorted(key.sim for key in keys) == [False, True]
