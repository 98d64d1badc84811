"""Sensors that send spectra, or no more than levels, through the whole path: the same limits, states and promises.

Velocity of the sines is written into their lines (support/spectra.py); limits are ISO 20816-3 group 2 rigid, 2.8 and 4.5 mm/s.
"""

from dataclasses import replace

import pytest

from edgemon.analysis.received import UNKNOWABLE
from edgemon.daemon.looking import Looking
from edgemon.errors import ParameterError
from edgemon.model.ids import SensorId
from edgemon.model.look import EnvelopeRequest, SpectrumRequest, WaveformRequest, Which
from edgemon.model.machine import Plant
from edgemon.model.sends import Sends
from edgemon.store.memory import MemoryStore
from tests.path.test_diagnostics import diagnosing, settled
from tests.support.captures import capture
from tests.support.plants import SENSOR, gateway, plant
from tests.support.rig import READING, START, Inline, Rig, running
from tests.support.spectra import pack, parts, spectrum

SPECTRUM = "edgemon/v1/sensor/s-0001/spectrum"


def sending(what: Sends) -> Plant:
    whole = plant()
    (machine,) = whole.machines
    points = tuple(replace(point, sends=what) for point in machine.points)
    sensors = {SENSOR: replace(whole.sensors[SENSOR], sends=what)}
    return replace(whole, machines=(replace(machine, points=points),), sensors=sensors)


async def test_a_spectrum_becomes_a_level_a_state_and_a_retained_document() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        await rig.send(spectrum(START, 2.0, id="p-7", temp=41.5, battery=71), SPECTRUM)
        document = rig.published()
        assert (document["state"], document["quality"], document["capture"]) == ("normal", "good", "p-7")
        level = document["levels"]["velocity_rms"]
        assert level["value"] == pytest.approx(2.0, rel=0.01)
        assert (level["unit"], level["alert"], level["alarm"]) == ("mm/s", 2.8, 4.5)
        assert document["levels"]["temperature"]["value"] == 41.5
        assert document["sends"] == "spectrum"
        assert set(document["left_out"]) == set(UNKNOWABLE)
        assert not set(document["levels"]) & set(UNKNOWABLE)
        axial = rig.published("machine/hp-pump-1/pump-de-a")
        assert axial["levels"]["velocity_rms"]["value"] == pytest.approx(1.0, rel=0.01)
        assert rig.hub.snapshot().sensors[0].battery_pct == 71
        (stored,) = await rig.store.captures(SENSOR, 0.0, 4e9, spectra=True)
        assert await rig.store.captures(SENSOR, 0.0, 4e9) == ()
        assert (await rig.store.capture(stored)) is not None
        assert rig.link.broker.unacknowledged("memory") == []


async def test_alert_alarm_and_back_then_silence() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        states = []
        for index, velocity in enumerate((2.0, 3.5, 5.0, 1.0)):
            await rig.clock.advance(20.0)
            await rig.send(spectrum(START + 20 * index, velocity), SPECTRUM)
            states.append(rig.published()["state"])
        assert states == ["normal", "alert", "alarm", "normal"]
        await rig.pass_time(100.0, every=10.0)
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")


async def test_parts_in_any_order_repeats_and_a_restart_between() -> None:
    one, two, three, four = parts(START, 5.0, 4)
    first = Rig()
    async with running(first):
        for payload in (three, one, one):
            await first.send(payload, SPECTRUM)
        assert first.published()["state"] == "unknown"
    second = Rig(store=MemoryStore(before=first.store), now=START + 5)
    async with running(second):
        for payload in (four, two, two, spectrum(START, 5.0, id=f"p-{START:.3f}")):
            await second.send(payload, SPECTRUM)
        assert second.published()["levels"]["velocity_rms"]["value"] == pytest.approx(5.0, rel=0.01)
        assert len(await second.store.captures(SENSOR, 0.0, 4e9, spectra=True)) == 1
        assert second.hub.snapshot().sensors[0].captures == 1
        assert second.hub.gateway().rejected == 0


async def test_parts_that_contradict_each_other_are_refused_by_field() -> None:
    async with running(Rig()) as rig:
        whole = parts(START, 2.0, 2)
        await rig.send(whole[0], SPECTRUM)
        await rig.send(spectrum(START, 2.0, part=[2, 2], df=2.5), SPECTRUM)
        (kept,) = await rig.store.quarantined(10)
        assert kept.detail.startswith("df:")
        await rig.send(whole[1], SPECTRUM)
        assert rig.published()["quality"] == "good"


async def test_a_waveform_and_a_spectrum_of_one_name_and_time_are_two() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 2.0, capture_id="c-1"))
        await rig.send(spectrum(START, 2.0, id="c-1"), SPECTRUM)
        assert len(await rig.store.captures(SENSOR, 0.0, 4e9, spectra=None)) == 2
        assert rig.hub.snapshot().sensors[0].repeats == 0


async def test_a_spectrum_that_ends_below_the_band_is_told_and_clears_nothing() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        await rig.send(spectrum(START, 5.0), SPECTRUM)
        await rig.send(spectrum(START + 20, 0.5, count=400), SPECTRUM)
        document = rig.published()
        assert (document["state"], document["quality"], document["reasons"]) == ("alarm", "bad", ["band-not-covered"])
        assert document["levels"]["velocity_rms"]["value"] == pytest.approx(5.0, rel=0.01)
        await rig.send(spectrum(START + 40, 1.0), SPECTRUM)
        assert (rig.published()["state"], rig.published()["quality"]) == ("normal", "good")


async def test_a_peak_sent_as_a_reading_beside_the_spectrum_is_no_longer_left_out() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        await rig.send(spectrum(START, 2.0), SPECTRUM)
        await rig.send(pack(START + 1, velocity_peak=(4.2, "mm/s")), READING)
        document = rig.published()
        assert document["levels"]["velocity_peak"]["value"] == pytest.approx(4.2)
        assert set(document["left_out"]) == set(UNKNOWABLE) - {"velocity_peak"}


RUBBISH = [
    b"",
    b"{",
    b"\xff" * 40,
    spectrum(START, 1.0, u="V"),
    spectrum(START, 1.0, df=0),
    spectrum(START, 1.0, axes={}),
    spectrum(START, 1.0, scale=1e9),
    spectrum(START, 1.0, detector="\x1b[31mred"),
]


async def test_rubbish_is_kept_told_acknowledged_and_moves_nothing() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        await rig.send(spectrum(START, 5.0), SPECTRUM)
        before = rig.published()
        for payload in RUBBISH:
            await rig.send(payload, SPECTRUM)
        assert rig.published() == before
        kept = await rig.store.quarantined(100)
        assert len(kept) == len(RUBBISH)
        assert not any("\x1b" in one.detail for one in kept)
        assert rig.link.broker.unacknowledged("memory") == []


async def test_simulated_spectra_stand_apart() -> None:
    async with running(Rig(of_gateway=gateway())) as rig:
        await rig.send(spectrum(START, 2.0), SPECTRUM)
        await rig.send(spectrum(START + 1, 2.2, sim=True), SPECTRUM)
        assert rig.published()["sim"] is False
        assert [key.sim for key in await rig.store.captures(SensorId("s-0001"), 0.0, 4e9, spectra=True)] == [True, False]


async def test_a_stuck_sensor_sends_the_same_lines_again() -> None:
    async with running(Rig()) as rig:
        axes = {"x": b"\x01\x00" * 800, "z": b"\x02\x00" * 800}
        await rig.send(spectrum(START, axes=axes), SPECTRUM)
        await rig.send(spectrum(START + 20, axes=axes), SPECTRUM)
        assert rig.published()["reasons"] == ["repeated"]


async def test_an_alarm_on_a_spectrum_is_diagnosed_and_what_cannot_be_told_is_said() -> None:
    rig = Rig(sending(Sends.SPECTRUM))
    async with diagnosing(rig):
        await rig.send(spectrum(START, 6.0, 0.4, rpm=3000.0), SPECTRUM)
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert any("envelope" in remark for remark in shown.remarks)
        assert shown.findings[0].fault == "unbalance"
        assert not {finding.fault for finding in shown.findings} & {
            "bearing-outer-race",
            "bearing-inner-race",
            "gear",
            "sensor",
        }


async def test_a_sensor_of_levels_only_has_limits_states_and_silence_and_says_that_no_cause_can_be_told() -> None:
    rig = Rig(sending(Sends.LEVELS))
    async with diagnosing(rig) as diagnostics:
        states = []
        for index, velocity in enumerate((2.0, 3.5, 5.0)):
            await rig.clock.advance(20.0)
            await rig.send(pack(START + 20 * index, velocity_rms=(velocity, "mm/s")), READING)
            states.append(rig.published()["state"])
        assert states == ["normal", "alert", "alarm"]
        document = rig.published()
        assert document["sends"] == "levels"
        assert "left_out" not in document
        assert list(document["levels"]) == ["velocity_rms"]
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert (shown.verdict, shown.findings) == ("cannot-tell", ())
        assert "levels only" in shown.remarks[0]
        assert (await diagnostics.diagnose(rig.setting.plant.machines[0].points[0].key, False, "analyst")).done
        await rig.pass_time(100.0, every=10.0)
        assert (rig.published()["state"], rig.published()["quality"]) == ("alarm", "stale")


async def test_a_stored_spectrum_is_listed_and_shown_and_what_it_cannot_tell_is_said() -> None:
    async with running(Rig(sending(Sends.SPECTRUM))) as rig:
        looking = Looking(lambda: rig.setting, rig.store, Inline())
        await rig.send(spectrum(START, 2.0, id="p-7"), SPECTRUM)
        key = rig.setting.plant.machines[0].points[0].key
        (listed,) = (await looking.captures(key, False, None, 10)).captures
        assert (listed.id, listed.lines, listed.samples) == ("p-7", 800, 0)
        for which in (Which(), Which("p-7"), Which("p-7", START)):
            view = await looking.spectrum(key, which, False, SpectrumRequest())
            assert view.source.capture == "p-7"
            assert view.peaks[0].hz == pytest.approx(50.0, abs=0.01)
            assert view.peaks[0].amplitude == pytest.approx(2.0, rel=0.01)
        with pytest.raises(ParameterError, match="no envelope"):
            await looking.envelope(key, Which(), False, EnvelopeRequest())
        with pytest.raises(ParameterError, match="no waveform"):
            await looking.waveform(key, Which(), False, WaveformRequest())
