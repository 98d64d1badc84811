"""Stored captures looked at: listed, shown as waveform, as spectrum, as spectrum of the envelope; beside the path."""

import asyncio
import math
from collections.abc import Callable
from concurrent.futures import Executor
from typing import TypeVar

from edgemon.engine.look import Material, capture_view, look_at_waveform, of_capture
from edgemon.engine.look_received import look_at_received, received_view
from edgemon.engine.look_spectrum import look_at_envelope, look_at_spectrum
from edgemon.engine.memory import Setting
from edgemon.errors import ParameterError, StoreCorrupt, StoreError
from edgemon.model.ids import CaptureId, CaptureKey, PointKey
from edgemon.model.instant import EARLIEST, LATEST, format_instant
from edgemon.model.look import (
    CapturePage,
    CaptureView,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)
from edgemon.model.machine import Point
from edgemon.model.reading import Capture
from edgemon.model.sends import Sends
from edgemon.store.port import Reader

MOST_LISTED = 50
"""Captures of one page: each is read and judged for it."""
MOST_SEARCHED = 20_000
"""Captures among which a name is looked for, newest first."""
MOST_WAITING = 8
"""Questions that may wait; past it whoever asks is told to ask later."""

T = TypeVar("T")


class Looking:
    """One look at a time, in a worker thread of its own.

    Parameters
    ----------
    setting : callable
        Gives plant and rules.
    reader : Reader
        Gives the captures.
    executor : Executor
        Where the work is done.
    """

    def __init__(self, setting: Callable[[], Setting], reader: Reader, executor: Executor) -> None:
        self._setting = setting
        self._reader = reader
        self._executor = executor
        self._waiting = 0

    async def captures(self, key: PointKey, sim: bool, before: float | None, limit: int) -> CapturePage:
        """List stored captures, newest first.

        Raises
        ------
        ParameterError
            Unknown point, or a page too large.
        StoreError
            The store cannot be read, or too many questions wait.
        """
        point = self._point(key)
        if not 1 <= limit <= MOST_LISTED:
            raise ParameterError(f"{limit} captures", "limit", f"1 to {MOST_LISTED}")
        until = LATEST if before is None else math.nextafter(_instant(before, "before"), -math.inf)
        keys = await self._reader.captures(point.sensor, EARLIEST, until, sim, limit + 1, spectra=None)
        page = _whole(keys, limit)
        views = [await self._described(point, one) for one in page]
        return CapturePage(tuple(views), page[-1].taken_at if len(keys) > len(page) else None)

    async def waveform(self, key: PointKey, which: Which, sim: bool, request: WaveformRequest) -> WaveformView:
        """Show a waveform. Raises `ParameterError` for what is not there or cannot be, `StoreError`."""
        return await self._look(key, which, sim, None, lambda material: look_at_waveform(material, request))

    async def spectrum(self, key: PointKey, which: Which, sim: bool, request: SpectrumRequest) -> SpectrumView:
        """Take a spectrum; errors likewise."""
        point, setting = self._point(key), self._setting()
        both = (True, False) if point.sends is Sends.SPECTRUM else (False, True)
        capture = await self._capture(key, point, which, sim, both)
        if capture.form is not None:
            return await self._work(lambda: look_at_received(setting, key, capture, request))
        return await self._work(lambda: look_at_spectrum(of_capture(setting, key, capture, request.rpm), request))

    async def envelope(self, key: PointKey, which: Which, sim: bool, request: EnvelopeRequest) -> SpectrumView:
        """Take the spectrum of an envelope; errors likewise."""
        return await self._look(key, which, sim, request.rpm, lambda material: look_at_envelope(material, request))

    async def _look(self, key: PointKey, which: Which, sim: bool, rpm: float | None, look: Callable[[Material], T]) -> T:
        point, setting = self._point(key), self._setting()
        capture = await self._capture(key, point, which, sim)
        return await self._work(lambda: look(of_capture(setting, key, capture, rpm)))

    async def _described(self, point: Point, key: CaptureKey) -> CaptureView:
        setting = self._setting()
        try:
            capture = await self._reader.capture(key)
        except StoreCorrupt as error:
            return CaptureView(
                key.taken_at, str(key.id), str(key.sensor), point.axis, 0.0, 0, None, "bad", (), (error.what,), key.sim
            )
        if capture is None:
            raise StoreError(f"capture {key.id} is gone", str(key.sensor), "ask again")
        describe = capture_view if capture.form is None else received_view
        return await self._work(lambda: describe(setting, point, capture))

    async def _work(self, work: Callable[[], T]) -> T:
        if self._waiting >= MOST_WAITING:
            raise StoreError("too many looks at captures wait", "", "ask again in a moment")
        self._waiting += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._executor, work)
        finally:
            self._waiting -= 1

    def _point(self, key: PointKey) -> Point:
        point = self._setting().plant.points.get(key)
        if point is None:
            raise ParameterError("no such point", str(key))
        return point

    async def _capture(
        self, key: PointKey, point: Point, which: Which, sim: bool, kinds: tuple[bool, ...] = (False,)
    ) -> Capture:
        """Give the first capture that is meant: of `kinds`, waveforms (False) and spectra (True), in their order."""
        for spectra in kinds:
            wanted = await self._wanted(point, which, sim, spectra)
            capture = None if wanted is None else await self._reader.capture(wanted)
            if capture is not None:
                return capture
        if kinds == (False,) and await self._wanted(point, which, sim, spectra=True) is not None:
            why = "a spectrum holds no waveform, and no envelope"
            raise ParameterError(f"sensor {point.sensor} sent a spectrum", str(key), why)
        raise ParameterError(_nothing(which, sim), str(key), "list what is stored; a sensor may send levels only")

    async def _wanted(self, point: Point, which: Which, sim: bool, spectra: bool) -> CaptureKey | None:
        if which.capture is not None and which.at is not None:
            return CaptureKey(point.sensor, CaptureId(which.capture), which.at, sim, spectra)
        until = LATEST if which.at is None else _instant(which.at, "at")
        most = 1 if which.capture is None else MOST_SEARCHED
        keys = await self._reader.captures(point.sensor, EARLIEST, until, sim, most, spectra)
        return next((one for one in keys if which.capture in (None, one.id)), None)


def _instant(t: float, where: str) -> float:
    if not math.isfinite(t):
        raise ParameterError(f"{t} is no time", where, "seconds since 1970-01-01, UTC")
    return t


def _whole(keys: tuple[CaptureKey, ...], limit: int) -> tuple[CaptureKey, ...]:
    """Cut a page so that captures of one instant are not torn apart: the next page begins before that instant."""
    if len(keys) <= limit:
        return keys
    page = tuple(one for one in keys[:limit] if one.taken_at != keys[limit].taken_at)
    return page or keys[:limit]


def _nothing(which: Which, sim: bool) -> str:
    kind = "simulated capture" if sim else "capture"
    named = f" {which.capture[:64]!r}" if which.capture is not None else ""
    when = (
        ""
        if which.at is None
        else f" of {which.at:.6f} s"
        if not 0 <= which.at <= LATEST
        else f" up to {format_instant(which.at)}"
    )
    return f"no {kind}{named}{when} is stored for it"
