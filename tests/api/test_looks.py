"""Stored captures over a real Unix socket: listed page by page, and looked at in one round trip each."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.errors import LinkRefused
from edgemon.model.look import CaptureView, EnvelopeRequest, SpectrumRequest, WaveformRequest, Which
from edgemon.model.reading import Capture
from tests.api.test_service import served
from tests.support.fake_site import FakeSite
from tests.support.stored import BEGIN, SAMPLES, capture, counts, looking, stored

POINT = ("hp-pump-1", "pump-de-h")
NEWEST = Which()


async def site(*captures: Capture) -> FakeSite:
    made = captures or tuple(capture(BEGIN + 10.0 * k, 100.0 + k) for k in range(7))
    fake = FakeSite()
    fake.looking = looking(await stored(*made))
    return fake


async def test_captures_are_listed_newest_first_page_by_page_and_none_twice(tmp_path: Path) -> None:
    twins = (capture(BEGIN + 30.0, 90.0, "twin"), *(capture(BEGIN + 10.0 * k, 100.0 + k) for k in range(7)))
    async with served(tmp_path, await site(*twins)) as daemon:
        seen: list[CaptureView] = []
        before: float | None = None
        while True:
            page = await daemon.captures(*POINT, before=before, limit=4)
            seen += page.captures
            before = page.before
            if before is None:
                break
    assert [one.t for one in seen] == sorted((one.t for one in seen), reverse=True)
    assert sorted(one.id for one in seen) == sorted(["twin", *(f"c-{BEGIN + 10.0 * k:.0f}" for k in range(7))])
    first = seen[0]
    assert (first.sensor, first.axis, first.fs_hz, first.samples, first.rpm) == ("s-0001", "x", 6400.0, SAMPLES, 2980.0)
    assert (first.quality, first.flaws, first.sim) == ("good", (), False)


async def test_an_unfit_capture_says_why(tmp_path: Path) -> None:
    clipped = counts(400.0, 60.0).clip(-10000, 10000)
    made = (capture(BEGIN, 100.0, x=clipped), capture(BEGIN + 1.0, 100.0, z=counts(100.0)))
    async with served(tmp_path, await site(*made)) as daemon:
        bare, bad = (await daemon.captures(*POINT)).captures
        view = await daemon.spectrum(*POINT, Which(at=BEGIN), SpectrumRequest())
        with pytest.raises(LinkRefused, match="nothing on axis x"):
            await daemon.spectrum(*POINT, NEWEST, SpectrumRequest())
    assert (bad.quality, bad.flaws) == ("bad", ("clipped",))
    assert (bare.quality, bare.samples) == ("bad", 0)
    assert (view.source.quality, view.source.flaws) == ("bad", ("clipped",))
    assert "flat tops" in view.source.remarks[0]


async def test_newest_by_time_and_by_name(tmp_path: Path) -> None:
    """The sine of capture k lies at 100 + k Hz."""
    async with served(tmp_path, await site()) as daemon:
        asked = {
            106.0: NEWEST,
            103.0: Which(at=BEGIN + 39.0),
            102.0: Which(capture=f"c-{BEGIN + 20.0:.0f}"),
            101.0: Which(f"c-{BEGIN + 10.0:.0f}", BEGIN + 10.0),
        }
        for hz, which in asked.items():
            view = await daemon.spectrum(*POINT, which, SpectrumRequest("acceleration"))
            assert view.peaks[0].hz == pytest.approx(hz, abs=0.01)
            assert view.peaks[0].amplitude == pytest.approx(20.0, rel=2e-3)
        for which in (Which("nobody"), Which(at=BEGIN - 1.0), Which(sim=True), Which("c", math.pi)):
            with pytest.raises(LinkRefused, match="is stored for it"):
                await daemon.spectrum(*POINT, which, SpectrumRequest())


async def test_simulated_captures_are_apart_and_marked(tmp_path: Path) -> None:
    made = (capture(BEGIN, 100.0), capture(BEGIN + 5.0, 200.0, sim=True))
    async with served(tmp_path, await site(*made)) as daemon:
        assert [one.sim for one in (await daemon.captures(*POINT, sim=True)).captures] == [True]
        view = await daemon.spectrum(*POINT, Which(sim=True), SpectrumRequest("acceleration"))
        assert (view.source.sim, round(view.peaks[0].hz)) == (True, 200)
        real = await daemon.waveform(*POINT, Which(sim=False), WaveformRequest())
        assert real.source.sim is False


async def test_every_kind_of_look_comes_through_with_what_it_is(tmp_path: Path) -> None:
    async with served(tmp_path, await site()) as daemon:
        velocity = await daemon.spectrum(
            *POINT, NEWEST, SpectrumRequest(detector="peak", unit="in/s", window="flat-top", lines=1600, fmax_hz=1000.0)
        )
        wave = await daemon.waveform(*POINT, NEWEST, WaveformRequest("displacement", "mil", columns=500))
        envelope = await daemon.spectrum(
            *POINT, NEWEST, EnvelopeRequest(squared=True, band_low_hz=50.0, band_high_hz=1000.0, fmax_hz=500.0)
        )
    omega = 2.0 * math.pi * 106.0
    assert velocity.peaks[0].amplitude == pytest.approx(20.0 * math.sqrt(2.0) / omega / 0.0254, rel=3e-3)
    assert (velocity.unit, velocity.detector, velocity.window) == ("in/s", "peak", "flat-top")
    assert (velocity.source.name, velocity.source.rpm) == ("hp-pump-1/pump-de-h", 2980.0)
    assert "told by the sensor" in velocity.source.speed_basis
    assert velocity.source.speed_origin == "measured"
    assert [one.name for one in velocity.markers] == ["1x"]
    assert wave.peak_to_peak == pytest.approx(20.0 * 2.0 * math.sqrt(2.0) / omega**2 / 2.54e-5, rel=5e-3)
    assert (envelope.kind, envelope.unit) == ("squared envelope", "(m/s2)2")


async def test_orders_over_angle_and_separation_come_through(tmp_path: Path) -> None:
    async with served(tmp_path, await site()) as daemon:
        over = await daemon.spectrum(*POINT, NEWEST, SpectrumRequest("acceleration", axis="orders", over_angle=True))
        band = EnvelopeRequest(band_low_hz=50.0, band_high_hz=1000.0, fmax_hz=500.0, separation="prediction")
        apart = await daemon.spectrum(*POINT, NEWEST, band)
        with pytest.raises(LinkRefused, match="none, synchronous, prediction"):
            await daemon.spectrum(*POINT, NEWEST, replace(band, separation="magic"))
    assert over.peaks[0].x == pytest.approx(106.0 * 60.0 / 2980.0, rel=1e-3)
    assert "even shaft angle" in over.source.speed_basis
    assert "taken out by prediction" in apart.kind


async def test_what_is_not_there_and_what_cannot_be_are_told_apart(tmp_path: Path) -> None:
    async with served(tmp_path, await site()) as daemon:
        with pytest.raises(LinkRefused, match="no such point"):
            await daemon.captures("nobody", "x")
        with pytest.raises(LinkRefused, match="1 to 50"):
            await daemon.captures(*POINT, limit=100_000)
        with pytest.raises(LinkRefused, match="at most 6400 lines"):
            await daemon.spectrum(*POINT, NEWEST, SpectrumRequest(lines=25_600))
        with pytest.raises(LinkRefused, match="4000"):
            await daemon.waveform(*POINT, NEWEST, WaveformRequest(columns=10**9))
        path = "/v1/machines/hp-pump-1/points/pump-de-h"
        status = {
            query: (await daemon._client.get(f"{path}/{query}")).status_code
            for query in ("spectrum?lines=10", "spectrum?lines=ten", "spectrum?capture=x", "captures?before=nan", "waveform")
        }
        assert (await daemon._client.get("/v1/machines/a/points/b/spectrum")).status_code == 404
    assert status == {
        "spectrum?lines=10": 422,
        "spectrum?lines=ten": 422,
        "spectrum?capture=x": 404,
        "captures?before=nan": 422,
        "waveform": 200,
    }


async def test_a_gateway_that_starts_says_so(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        with pytest.raises(LinkRefused, match="still starting"):
            await daemon.captures(*POINT)
