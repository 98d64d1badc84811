"""Sensors whose clocks are wrong by years: all is kept, nothing old reads as fresh, and a clock set right is believed."""

import json

import pytest

from edgemon.daemon.work import Happened
from edgemon.model.gateway_event import ClockStepped
from tests.support.captures import capture
from tests.support.plants import DRIVE_END
from tests.support.rig import READING, START, Rig, running

YEAR = 365.25 * 86_400.0
BEHIND = [START - 20 * YEAR, START - 5 * YEAR, START - 1.5 * YEAR]
IMPOSSIBLE = [START - 30 * YEAR, 0.0]
"""Before the year 2000: no sensor measured that long ago."""
AHEAD = [START + 1.5 * YEAR, START + 13 * YEAR, 2.0**31 + 10.0, START + 70 * YEAR]


@pytest.mark.parametrize("wrong", AHEAD)
async def test_years_ahead_the_time_of_arrival_counts(wrong: float) -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(wrong, 5.0))
        assert (rig.published()["state"], rig.published()["quality"]) == ("alarm", "good")
        assert rig.published()["t"] == "2025-10-09T08:53:20.000Z"
        await rig.pass_time(10.0, every=5.0)
        await rig.send(capture(rig.clock.now(), 1.0))  # set right: the very next one counts
        assert (rig.published()["state"], rig.published()["quality"]) == ("normal", "good")
        assert rig.hub.gateway().late == 0
        assert rig.hub.gateway().captures == 2


@pytest.mark.parametrize("wrong", BEHIND)
async def test_years_behind_it_is_stored_and_never_reads_as_normal(wrong: float) -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(wrong, 1.0))
        assert rig.hub.gateway().captures == 1
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")
        await rig.pass_time(10.0, every=5.0)
        await rig.send(capture(rig.clock.now(), 1.0))
        assert (rig.published()["state"], rig.published()["quality"]) == ("normal", "good")


@pytest.mark.parametrize("wrong", BEHIND)
async def test_a_clock_that_falls_back_by_years_ends_the_watching_and_says_so(wrong: float) -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        for step in range(1, 8):
            await rig.pass_time(10.0, every=5.0)
            await rig.send(capture(wrong + 10.0 * step, 1.0))
        shown = rig.published()
        assert (shown["state"], shown["quality"]) == ("alarm", "stale"), "old data clears nothing"
        assert rig.hub.gateway().late >= 1
        assert rig.hub.gateway().captures == 8
        assert "monitoring" in {one["level"] for one in shown["alarms"]}
        trend = await rig.store.trend(DRIVE_END, "velocity_rms", -1.0, START + 1e3)
        assert len(trend) == 8


@pytest.mark.parametrize("wrong", IMPOSSIBLE)
async def test_an_impossible_time_is_rejected_kept_for_inspection_and_the_point_falls_silent(wrong: float) -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        for step in range(1, 8):
            await rig.pass_time(10.0, every=5.0)
            await rig.send(capture(wrong + 10.0 * step, 1.0))
        gateway = rig.hub.gateway()
        assert (gateway.captures, gateway.rejected) == (1, 7)
        assert len(await rig.store.quarantined(100)) == 7
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")


@pytest.mark.parametrize("by", [-3600.0, 3600.0, -1.0, 1.0])
async def test_the_gateways_clock_steps_while_an_alarm_forms_and_goes(by: float) -> None:
    """An hour as when somebody sets it, a second as at a leap second that is stepped: an alarm is raised once and goes once."""

    def said(velocity_m_s: float) -> bytes:
        return json.dumps([{"n": "x/velocity_rms", "u": "m/s", "v": velocity_m_s}]).encode()

    async with running(Rig()) as rig:
        for number, value in enumerate((0.0011, 0.0061, 0.0062, 0.0063, 0.0012, 0.0013)):
            await rig.pass_time(10.0, every=5.0)
            if number in (2, 4):
                rig.clock.step(by)
                await rig.path.put(Happened(ClockStepped(rig.clock.now(), by)))
                await rig.settle()
            await rig.send(said(value), READING)
        changes = [one["change"] for one in rig.journal() if one["kind"] == "alarm-changed" and one["level"] == "velocity_rms"]
        assert changes == ["RAISED", "CLEARED"]
        assert (rig.published()["state"], rig.hub.gateway().readings) == ("normal", 6)
