"""What went into a site and what came out: keys by hand, in the stores, in the stream, in the database; values on the board."""

import asyncio
import contextlib
import json
import sqlite3
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from edgemon.board.port import Source
from tests.support.streams import Kept, kept
from tests.support.whole_site import STREAM, Gateway, Site

KINDS = ("reading", "capture", "journal")
_KEYS = " UNION ALL ".join(f"SELECT key FROM edgemon.{table}" for table in ("readings", "captures", "journal"))
_NEWEST = """SELECT DISTINCT ON (machine, point) machine, point, value FROM edgemon.readings
    WHERE name = 'velocity_rms' ORDER BY machine, point, t DESC"""
_READINGS = "SELECT DISTINCT kind, owner, place, name, sim, t, fit FROM trend JOIN series ON series.id = trend.series"
_PAGE = 500


@dataclass
class Count:
    """Keys of one gateway, by kind."""

    sent: set[str] = field(default_factory=set)
    """Captures, by hand."""
    stored: Counter[str] = field(default_factory=Counter)
    """Different things in the stores of all its lives, by kind."""
    in_stream: dict[str, list[str]] = field(default_factory=dict)
    in_database: dict[str, list[str]] = field(default_factory=dict)

    def troubles(self) -> list[str]:
        """Say what is lost, twice, or strange."""
        found = []
        for kind in KINDS:
            stream, database = self.in_stream.get(kind, []), self.in_database.get(kind, [])
            for place, keys in (("stream", stream), ("database", database)):
                found += [f"{times} times in the {place}: {key}" for key, times in Counter(keys).items() if times > 1]
                found += [f"{len(keys)} of {kind} in the {place}, {self.stored[kind]} stored"] * (
                    len(keys) != self.stored[kind]
                )
            found += [f"only at one end: {key}" for key in set(stream) ^ set(database)]
        captures = set(self.in_stream.get("capture", []))
        return [
            *found,
            *(f"lost: {key}" for key in self.sent - captures),
            *(f"never sent: {key}" for key in captures - self.sent),
        ]


async def counts(site: Site) -> dict[str, Count]:
    """Count everything; gives one for each gateway."""
    found = {name: _by_hand(one) for name, one in site.gateways.items()}
    for name, keys in _sorted([one.id for one in await stream_of(site)]).items():
        found[name].in_stream = keys
    for name, keys in _sorted([row[0] for row in await asyncio.to_thread(site.database.sql, _KEYS)]).items():
        found[name].in_database = keys
    return found


async def stream_of(site: Site) -> list[Kept]:
    """Read the stream."""
    return await kept(site.cluster.running.url, STREAM)


def _by_hand(gateway: Gateway) -> Count:
    origin = f"saltmarsh/{gateway.name}"
    sent = {f"{origin}/capture/{sensor}/c-{t:.3f}/{t!r}" for sensor, t, _ in gateway.sent}
    found: dict[str, set[object]] = {kind: set() for kind in KINDS}
    for store in gateway.stores:
        found["reading"] |= set(_rows(store, _READINGS))
        found["capture"] |= set(_rows(store, "SELECT sensor, id, taken_at FROM captures"))
        found["journal"] |= set(_rows(store, "SELECT seq, hash FROM journal"))
    return Count(sent, Counter({kind: len(some) for kind, some in found.items()}))


def _sorted(keys: list[str]) -> dict[str, dict[str, list[str]]]:
    found: dict[str, dict[str, list[str]]] = {}
    for key in keys:
        _, gateway, kind, *_ = key.split("/")
        found.setdefault(gateway, {}).setdefault(kind, []).append(key)
    return found


def _rows(store: Path, sql: str) -> list[tuple[object, ...]]:
    with contextlib.closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as connection:
        return connection.execute(sql).fetchall()


async def disagreements(site: Site) -> list[str]:
    """Say where board, stream, database and what the sensors measured differ in the newest value of a point."""
    measured: dict[tuple[str, str], float] = {}
    for gateway in site.gateways.values():
        for sensor, _, level in sorted(gateway.sent, key=lambda one: one[1]):
            machine = gateway.machines[int(sensor[-1]) - 1]
            measured[machine, "pump-de-h"], measured[machine, "pump-de-a"] = level, level / 2.0
    documents = [json.loads(one.body) for one in await stream_of(site)]
    levels = sorted((one for one in documents if one.get("name") == "velocity_rms"), key=lambda one: str(one["t"]))
    stream = {(one["machine"], one["point"]): 1e3 * one["value"] for one in levels}
    rows = await asyncio.to_thread(site.database.sql, _NEWEST)
    database = {(machine, point): 1e3 * float(value) for machine, point, value in rows}
    board = {
        (machine, point.point): level.value
        for machine, one in site.board.machines.items()
        for point in one.points
        for level in point.levels
        if level.name == "velocity_rms"
    }
    found = []
    for where, level in measured.items():
        shown = {"board": board.get(where), "stream": stream.get(where), "database": database.get(where)}
        found += [f"{where} measured {level}: {shown}"] * any(_apart(one, level) for one in shown.values())
    return found


def _apart(value: float | None, measured: float) -> bool:
    """Say whether a value is not the one measured; a sine of 50 Hz in 4,096 samples is told to 1 %."""
    return value is None or abs(value - measured) > 0.01 * measured


async def unlisted(site: Site) -> Counter[str]:
    """Count by gateway and kind the journal entries that the board or the database lists and the other does not."""
    board: Counter[str] = Counter()
    source: Source = site.board.app.desk.source
    before: int | None = None
    while True:
        page = await source.journal(_PAGE, before)
        board.update(f"{one.text.partition(':')[0]} {one.kind}" for one in page)
        if len(page) < _PAGE:
            break
        before = page[-1].seq
    live = {row[0] for one in site.gateways.values() for row in _rows(one.daemon.store, "SELECT lower(hex(hash)) FROM journal")}
    rows = await asyncio.to_thread(site.database.sql, "SELECT gateway, kind, hash FROM edgemon.journal")
    database = Counter(f"{gateway} {kind}" for gateway, kind, hash_ in rows if hash_ in live)
    return (board - database) + (database - board)
