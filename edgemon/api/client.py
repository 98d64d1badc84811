"""A gateway, seen from board and commands: over its local socket, or over HTTP."""

from collections.abc import AsyncIterator, Hashable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar, cast

import httpx

from edgemon.api.wire import adapter
from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.commission import CommissionView
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
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import ProofReport, Scope
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import Change, JournalView, Lost, Outcome, Snapshot, TrendBins, TrendPoint, Update

T = TypeVar("T")

SILENCE_S = 4.0
"""A daemon that says nothing for so long is lost: it speaks every second."""

RETRY_S = 1.0
_UNKNOWN = "whether it was done is not known"


class Daemon:
    """One daemon. Reconnects by itself where it streams; single questions raise `LinkDown`."""

    def __init__(self, where: Path | str, clock: Clock) -> None:
        if isinstance(where, Path):
            transport = httpx.AsyncHTTPTransport(uds=str(where))
            self._client = httpx.AsyncClient(transport=transport, base_url="http://gateway", timeout=10.0)
        else:
            self._client = httpx.AsyncClient(base_url=where, timeout=10.0)
        self.where = str(where)
        self._clock = clock
        self._sim: dict[tuple[str, str], bool] = {}

    async def snapshot(self) -> Snapshot:
        """Ask for everything, now. Raises `LinkDown`."""
        response = await self._get("/v1/snapshot")
        return self._read(Snapshot, response)

    async def updates(self) -> AsyncIterator[Update]:
        """Give a snapshot, then changes; `Lost` whenever the daemon does not answer, and a snapshot again after it."""
        while True:
            try:
                async for update in self._stream():
                    self._remember(update)
                    yield update
                why = "the daemon ended the connection"
            except (httpx.HTTPError, OSError, ValueError) as error:
                why = self._words(error)
            yield Lost(why)
            await self._clock.sleep(RETRY_S)

    async def _stream(self) -> AsyncIterator[Update]:
        timeout = httpx.Timeout(10.0, read=SILENCE_S)
        async with self._client.stream("GET", "/v1/changes", timeout=timeout) as response:
            response.raise_for_status()
            kind = ""
            async for line in response.aiter_lines():
                if line.startswith("event:"):
                    kind = line[6:].strip()
                elif line.startswith("data:"):
                    update: Update = adapter(Snapshot if kind == "snapshot" else Change).validate_json(line[5:].strip())
                    yield update

    async def whoami(self) -> Person:
        """Say who the daemon takes us for. Raises `LinkDown`."""
        response = await self._get("/v1/me")
        try:
            document = response.json()
            return Person(document["name"], Role(document["role"]), document["station"])
        except (ValueError, TypeError, KeyError) as error:
            raise self._strange(error) from error

    async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        """Say that one occurrence of an alarm was noticed."""
        return await self._order("acknowledge", alarm, occurrence=occurrence)

    async def reset(self, alarm: str) -> Outcome:
        """End a latched alarm whose condition is gone."""
        return await self._order("reset", alarm)

    async def shelve(self, alarm: str, duration_s: float, reason: str, one_shot: bool = False) -> Outcome:
        """Hide an alarm for a while."""
        return await self._order("shelve", alarm, duration_s=duration_s, reason=reason, one_shot=one_shot)

    async def unshelve(self, alarm: str) -> Outcome:
        """End a shelf early."""
        return await self._order("unshelve", alarm)

    async def remove_from_service(self, alarm: str, reason: str) -> Outcome:
        """Take an alarm out of service."""
        return await self._order("remove-from-service", alarm, reason=reason)

    async def return_to_service(self, alarm: str) -> Outcome:
        """Put an alarm back into service."""
        return await self._order("return-to-service", alarm)

    async def silence(self) -> Outcome:
        """Silence whatever calls now, on the whole site."""
        return await self._post("/v1/silence", {})

    async def lamp_test(self) -> Outcome:
        """Have horn, beacon and board show all they can for some seconds."""
        return await self._post("/v1/lamp-test", {})

    async def start_proof(self, scope: Scope, duration_s: float, reason: str) -> Outcome:
        """Announce a proof of a point, a machine, an area or the whole plant."""
        named = {"area": scope.area or "", "machine": scope.machine or "", "point": scope.point or ""}
        return await self._post("/v1/proof/start", {**named, "duration_s": duration_s, "reason": reason})

    async def stop_proof(self, reason: str) -> Outcome:
        """End the proof that is on."""
        return await self._post("/v1/proof/stop", {"reason": reason})

    async def start_collection(self, target: str, interval_s: float, duration_s: float, reason: str) -> Outcome:
        """Have a sensor (named itself, or as `machine/point`) measure more often for a while."""
        order = {"target": target, "interval_s": interval_s, "duration_s": duration_s, "reason": reason}
        return await self._post("/v1/collection/start", order)

    async def stop_collection(self, target: str, reason: str) -> Outcome:
        """Take a fast collection back."""
        return await self._post("/v1/collection/stop", {"target": target, "reason": reason})

    async def proof(self) -> ProofReport:
        """Say whether a proof is on, and what each point has proven. Raises `LinkDown`, `LinkRefused`."""
        return self._read(ProofReport, await self._get("/v1/proof", timeout_s=60.0))

    async def commissioning(self) -> CommissionView:
        """Say how far each point is from being trusted. Raises `LinkDown`, `LinkRefused`."""
        return self._read(CommissionView, await self._get("/v1/commissioning", timeout_s=60.0))

    async def sign_off(self, machine: str, point: str, remark: str, left_open: Sequence[str]) -> Outcome:
        """Sign a point off; `left_open` are the checks that were read to be open."""
        order = {"machine": machine, "point": point, "remark": remark, "left_open": list(left_open)}
        return await self._ordered("/v1/commissioning/sign-off", json=order, timeout=60.0)

    async def withdraw_sign_off(self, machine: str, point: str, reason: str) -> Outcome:
        """Take the sign-off of a point back."""
        return await self._post("/v1/commissioning/withdraw", {"machine": machine, "point": point, "reason": reason})

    async def _order(self, what: str, alarm: str, **more: object) -> Outcome:
        return await self._post(f"/v1/alarms/{what}", {"alarm": alarm, **more})

    async def _post(self, path: str, document: dict[str, object]) -> Outcome:
        return await self._ordered(path, json=document)

    async def _ordered(self, path: str, **more: Any) -> Outcome:
        """Send an order. Raises `LinkDown` or `LinkRefused` where it is not known what became of it."""
        try:
            response = await self._client.post(path, **more)
        except httpx.ConnectError as error:
            return Outcome(False, self._words(error))
        except (httpx.HTTPError, OSError) as error:
            raise LinkDown(f"{_UNKNOWN}: {self._words(error)}", self.where, "look before you order it again") from error
        if response.status_code != httpx.codes.OK:
            return Outcome(False, _detail(response))
        try:
            document = response.json()
            return Outcome(bool(document["done"]), str(document["why"]))
        except (ValueError, KeyError, TypeError) as error:
            raise LinkRefused(f"{_UNKNOWN}: what answers is not understood", self.where, "another version?") from error

    async def diagnose(self, machine: str, point: str) -> Outcome:
        """Have the newest capture of a point diagnosed; simulated where the point shows simulated data."""
        sim = self._sim.get((machine, point), False)
        path = f"/v1/machines/{machine}/points/{point}/diagnose"
        return await self._ordered(path, params={"sim": str(sim).lower()}, timeout=60.0)

    async def trend(self, machine: str, point: str, level: str, since: Instant, until: Instant) -> tuple[TrendPoint, ...]:
        """Give the past of a level, in the unit it is shown in; simulated where the point shows simulated data."""
        sim = self._sim.get((machine, point), False)
        response = await self._get(
            f"/v1/machines/{machine}/points/{point}/levels/{level}",
            {"since": since, "until": until, "sim": str(sim).lower()},
        )
        return self._read(tuple[TrendPoint, ...], response)

    async def trend_bins(
        self, machine: str, point: str, level: str, since: Instant | None, until: Instant, columns: int
    ) -> TrendBins:
        """Give the past of a level cut into stretches; `since` None: all of it. Raises `LinkDown`, `LinkRefused`."""
        sim = self._sim.get((machine, point), False)
        query = _query({"since": since, "until": until, "columns": columns, "sim": sim})
        response = await self._get(f"/v1/machines/{machine}/points/{point}/levels/{level}/bins", query, timeout_s=60.0)
        return self._read(TrendBins, response)

    async def baselines(self) -> tuple[BaselineView, ...]:
        """Give every baseline, and how far the learning of the others is. Raises `LinkDown`, `LinkRefused`."""
        response = await self._get("/v1/baselines")
        return self._read(tuple[BaselineView, ...], response)

    async def order_baseline(
        self, what: str, machine: str, point: str, level: str, reason: str, proposed_at: Instant | None = None
    ) -> Outcome:
        """Propose, approve or retire a baseline; `what` says which."""
        order = {"machine": machine, "point": point, "level": level, "reason": reason, "proposed_at": proposed_at}
        return await self._ordered(f"/v1/baselines/{what}", json=order, timeout=60.0)

    async def forecast(self, machine: str, point: str, level: str) -> OutlookView:
        """Say where a level is heading. Raises `LinkDown`, `LinkRefused`."""
        response = await self._get(f"/v1/machines/{machine}/points/{point}/levels/{level}/forecast", timeout_s=60.0)
        return self._read(OutlookView, response)

    async def forecasts(self, machine: str) -> tuple[OutlookView, ...]:
        """Say where every level with a limit is heading, at all points of a machine. Raises `LinkDown`, `LinkRefused`."""
        response = await self._get(f"/v1/machines/{machine}/forecasts", timeout_s=60.0)
        return self._read(tuple[OutlookView, ...], response)

    async def handover(self) -> HandoverView:
        """Give the handover page as things are now. Raises `LinkDown`, `LinkRefused`."""
        return self._read(HandoverView, await self._get("/v1/handover"))

    async def write_log(
        self, text: str, sort: LogKind = LogKind.OBSERVATION, machine: str = "", corrects: int | None = None
    ) -> Outcome:
        """Write into the shift log."""
        return await self._post("/v1/log", {"text": text, "sort": sort, "machine": machine, "corrects": corrects})

    async def take_over(self, digest: str, note: str = "") -> Outcome:
        """Take the shift over, having read the page of this digest."""
        return await self._post("/v1/handover", {"digest": digest, "note": note})

    async def captures(
        self, machine: str, point: str, before: Instant | None = None, limit: int = 20, sim: bool | None = None
    ) -> CapturePage:
        """List a point's stored captures, newest first. Raises `LinkDown`, `LinkRefused`, as the next three do."""
        query = _query({"before": before, "limit": limit, "sim": sim})
        response = await self._get(f"/v1/machines/{machine}/points/{point}/captures", query, timeout_s=60.0)
        return self._read(CapturePage, response)

    async def waveform(self, machine: str, point: str, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Give a waveform as columns of a picture."""
        query = _query(asdict(which) | asdict(wanted))
        response = await self._get(f"/v1/machines/{machine}/points/{point}/waveform", query, timeout_s=60.0)
        return self._read(WaveformView, response)

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Give a spectrum; with an `EnvelopeRequest` that of the envelope."""
        what = "envelope" if isinstance(wanted, EnvelopeRequest) else "spectrum"
        query = _query(asdict(which) | asdict(wanted))
        response = await self._get(f"/v1/machines/{machine}/points/{point}/{what}", query, timeout_s=60.0)
        return self._read(SpectrumView, response)

    async def journal(self, limit: int, before: int | None = None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Give the newest journal entries that fulfil a search, before a number. Raises `LinkDown`, `LinkRefused`."""
        asked: dict[str, Any] = {
            "limit": limit,
            "before": before,
            "since": search.since,
            "until": search.until,
            "kind": list(search.kinds),
        }
        asked |= {"machine": search.machine, "person": search.person}
        response = await self._get("/v1/journal", {name: value for name, value in asked.items() if value is not None})
        return self._read(tuple[JournalView, ...], response)

    async def performance(self, since: Instant, until: Instant | None = None, sim: bool | None = None) -> Performance:
        """Give the figures of alarm performance, until now by default. Raises `LinkDown`, `LinkRefused`."""
        asked: dict[str, Any] = {"since": since, "until": until, "sim": None if sim is None else str(sim).lower()}
        given = {name: value for name, value in asked.items() if value is not None}
        response = await self._get("/v1/performance", given, timeout_s=60.0)
        return self._read(Performance, response)

    async def close(self) -> None:
        """Stop asking."""
        await self._client.aclose()

    async def _get(self, path: str, query: Mapping[str, Any] | None = None, timeout_s: float = 10.0) -> httpx.Response:
        try:
            response = await self._client.get(path, params=query, timeout=timeout_s)
        except (httpx.HTTPError, OSError) as error:
            raise LinkDown(self._words(error), self.where, "is the daemon running? `edgemon run --config DIR`") from error
        if response.status_code != httpx.codes.OK:
            raise LinkRefused(_detail(response), self.where)
        return response

    def _read(self, kind: type[T], response: httpx.Response) -> T:
        try:
            found: T = adapter(cast(Hashable, kind)).validate_json(response.content)
        except ValueError as error:
            raise self._strange(error) from error
        return found

    def _strange(self, error: Exception) -> LinkRefused:
        first = str(error).splitlines()[0] if str(error) else type(error).__name__
        return LinkRefused(f"what answers is not understood ({first})", self.where, "is the daemon of another version?")

    def _remember(self, update: Update) -> None:
        if not isinstance(update, Lost):
            for machine in update.machines:
                for point in machine.points:
                    self._sim[machine.id, point.point] = point.sim

    def _words(self, error: Exception) -> str:
        match error:
            case httpx.ConnectError():
                return f"no daemon answers at {self.where}"
            case httpx.TimeoutException():
                return f"the daemon has been silent for {SILENCE_S:g} s"
            case httpx.HTTPStatusError():
                return f"the daemon refused: {error.response.status_code}"
            case httpx.HTTPError():
                return "the daemon ended the connection"
            case ValueError():
                return self._strange(error).what
            case _:
                return str(error)


def _query(fields: dict[str, Any]) -> dict[str, str | float]:
    """Write what is asked as a query; what is left open is left out."""
    return {
        name: str(value).lower() if isinstance(value, bool) else value for name, value in fields.items() if value is not None
    }


def _detail(response: httpx.Response) -> str:
    try:
        detail = response.json()["detail"]
        if isinstance(detail, list):  # what the framework says of an order it cannot read
            return "; ".join(f"{'.'.join(map(str, one['loc'][1:]))}: {one['msg']}" for one in detail)
        return str(detail)
    except (ValueError, KeyError, TypeError):
        return f"the daemon refused: {response.status_code}"
