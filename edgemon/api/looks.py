"""The part of the API about stored captures: lists, waveforms, spectra."""

from collections.abc import Awaitable
from typing import Annotated, TypeVar

from fastapi import Depends, FastAPI, HTTPException, Query
from fastapi.responses import Response

from edgemon.api.port import Site
from edgemon.api.wire import Look, to_json
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.look import (
    CapturePage,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)

JSON = "application/json"
POINT = "/v1/machines/{machine}/points/{point}"
T = TypeVar("T", bound=Look)


def let_look(app: FastAPI, site: Site) -> None:
    """Add what everyone may see of captures."""

    @app.get(f"{POINT}/captures", response_model=CapturePage, tags=["see"])
    async def captures(
        machine: str,
        point: str,
        before: Instant | None = None,
        limit: Annotated[int, Query(description="1 to 50")] = 20,
        sim: bool | None = None,
    ) -> Response:
        """List a point's stored captures, newest first; `before` of the answer leads to the next page."""
        key = _key(machine, point)
        return await _answer(key, site.captures(key, sim, before, limit))

    @app.get(f"{POINT}/waveform", response_model=WaveformView, tags=["see"])
    async def waveform(
        machine: str, point: str, which: Annotated[Which, Depends()], wanted: Annotated[WaveformRequest, Depends()]
    ) -> Response:
        """Give a waveform as columns of a picture, each with its lowest and highest value."""
        key = _key(machine, point)
        return await _answer(key, site.waveform(key, which, wanted))

    @app.get(f"{POINT}/spectrum", response_model=SpectrumView, tags=["see"])
    async def spectrum(
        machine: str, point: str, which: Annotated[Which, Depends()], wanted: Annotated[SpectrumRequest, Depends()]
    ) -> Response:
        """Give a spectrum with its peaks, corrected between lines, and the frequencies to be expected of the machine."""
        key = _key(machine, point)
        return await _answer(key, site.spectrum(key, which, wanted))

    @app.get(f"{POINT}/envelope", response_model=SpectrumView, tags=["see"])
    async def envelope(
        machine: str, point: str, which: Annotated[Which, Depends()], wanted: Annotated[EnvelopeRequest, Depends()]
    ) -> Response:
        """Give the spectrum of the envelope of a band, likewise."""
        key = _key(machine, point)
        return await _answer(key, site.envelope(key, which, wanted))


def _key(machine: str, point: str) -> PointKey:
    return PointKey(MachineId(machine), PointId(point))


async def _answer(key: PointKey, question: Awaitable[T]) -> Response:
    """Answer; what is not there is 404, what cannot be done with what is there 422, a store that fails 503."""
    try:
        return Response(to_json(await question), media_type=JSON)
    except EdgemonError as error:
        status = 503 if not isinstance(error, ParameterError) else 404 if error.where == str(key) else 422
        raise HTTPException(status, str(error)) from error
