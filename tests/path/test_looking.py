"""Looks at captures beside the path: bounded, and a damaged capture is a row of the list, not its end."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from threading import Event

import pytest

from edgemon.daemon.looking import MOST_WAITING, Looking
from edgemon.engine.memory import setting_of
from edgemon.errors import StoreCorrupt, StoreError
from edgemon.model.ids import CaptureKey
from edgemon.model.look import SpectrumRequest, Which
from edgemon.model.reading import Capture
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture as sent
from tests.support.plants import DRIVE_END, gateway, plant
from tests.support.rig import START, Inline, Rig, running
from tests.support.stored import BEGIN, capture, stored

SETTING = setting_of(plant(), gateway())


async def test_what_a_sensor_sends_is_what_is_looked_at() -> None:
    """A sine of 3 mm/s r.m.s. at 50 Hz."""
    rig = Rig()
    rig.hub.looking = Looking(lambda: rig.path.setting, rig.store, Inline())
    async with running(rig):
        await rig.send(sent(START, 3.0, rpm=3000.0))
        view = await rig.hub.spectrum(DRIVE_END, Which(), SpectrumRequest())
        page = await rig.hub.captures(DRIVE_END, None, None, 10)
    assert view.peaks[0].amplitude == pytest.approx(3.0, rel=5e-3)
    assert [one.t for one in page.captures] == [START]


async def test_a_capture_of_a_machine_that_stands_is_shown_without_a_speed() -> None:
    rig = Rig()
    rig.hub.looking = Looking(lambda: rig.path.setting, rig.store, Inline())
    async with running(rig):
        await rig.send(sent(START, 3.0, rpm=0.0))
        view = await rig.hub.spectrum(DRIVE_END, Which(), SpectrumRequest())
    assert view.peaks[0].hz == pytest.approx(50.0, abs=0.1)
    assert view.source.rpm is None
    assert view.markers == ()


async def test_more_than_so_many_do_not_wait() -> None:
    store = await stored(capture(BEGIN, 100.0))
    held = Event()
    with ThreadPoolExecutor(1) as executor:
        looking = Looking(lambda: SETTING, store, executor)
        executor.submit(held.wait)
        asked = [looking.spectrum(DRIVE_END, Which(), False, SpectrumRequest()) for _ in range(MOST_WAITING + 3)]
        tasks = [asyncio.create_task(one) for one in asked]
        refused, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED, timeout=10)
        held.set()
        found = await asyncio.gather(*tasks, return_exceptions=True)
    assert refused
    assert sum(isinstance(one, StoreError) for one in found) == 3
    assert (await looking_inline(store).spectrum(DRIVE_END, Which(), False, SpectrumRequest())).peaks


def looking_inline(store: MemoryStore) -> Looking:
    return Looking(lambda: SETTING, store, Inline())


class Damaged(MemoryStore):
    async def capture(self, key: CaptureKey) -> Capture | None:
        if key.taken_at == BEGIN:
            raise StoreCorrupt("the checksum of the samples is wrong", "1.seg")
        return await super().capture(key)


async def test_a_damaged_capture_is_a_bad_row() -> None:
    store = Damaged(before=await stored(capture(BEGIN, 100.0), capture(BEGIN + 1.0, 100.0)))
    page = await looking_inline(store).captures(DRIVE_END, False, None, 10)
    assert [(one.quality, one.samples) for one in page.captures] == [("good", 16384), ("bad", 0)]
    assert page.captures[1].remarks == ("the checksum of the samples is wrong",)
    with pytest.raises(StoreCorrupt):
        await looking_inline(store).spectrum(DRIVE_END, Which(at=BEGIN), False, SpectrumRequest())
