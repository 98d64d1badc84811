"""What was given to a real store on its way, counted."""

from dataclasses import replace
from pathlib import Path

from edgemon.clock import ManualClock
from edgemon.daemon.storing import Storing
from edgemon.engine.analyse import Questions
from edgemon.store.ballast import Ballast
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make


def whole(number: int, samples: int = 4096) -> Commit:
    return Commit(
        make.T0 + number,
        captures=(make.capture(number, samples=samples),),
        measurements=(make.measurement(0.001 * number, taken_at=make.T0 + number),),
        readings=(make.reading(50.0, taken_at=make.T0 + number),),
        events=(make.started(number),),
        points=(make.point_state(0.001 * number),),
        counters={"captures": number},
    )


def light_of(commit: Commit) -> Commit:
    return replace(commit, captures=(), measurements=(), readings=(), counters={})


class Bench:
    """The way to a store, the store, and what was given to it."""

    def __init__(self, path: Path, store: SqliteStore, ballast: Ballast) -> None:
        self.path, self.store, self.ballast = path, store, ballast
        self.clock = ManualClock(make.T0)
        self.storing = Storing(store, self.clock, ballast)
        self.unacknowledged: list[Commit] = []
        self.given = 0

    async def give(self, samples: int = 4096) -> bool:
        """Give one more commit, as the path does; says whether it would be acknowledged."""
        self.given += 1
        commit = whole(self.given, samples)
        if self.storing.is_well and await self.storing.keep(commit) is not None:
            return True
        await self.storing.hold(light_of(commit), commit)
        self.unacknowledged.append(commit)
        return False

    def is_well(self) -> bool:
        return self.storing.is_well

    async def attempt(self) -> None:
        await self.clock.advance(61.0)
        await self.storing.attempt((), {})

    async def redeliver(self) -> None:
        """Deliver again what was not acknowledged, as the broker does."""
        for commit in self.unacknowledged:
            asked = Questions(tuple(one.key for one in commit.captures), tuple(one.key for one in commit.readings))
            known, judged = await self.storing.standing(asked, {}, lambda key: 0.0)
            captures = tuple(one for one in commit.captures if one.key not in known.captures)
            readings = tuple(one for one in commit.readings if one.key not in known.readings)
            assert all(one.key in judged.captures for one in captures), "judged before, and not a second time"
            assert all(one.key in judged.readings for one in readings)
            measurements = commit.measurements if captures else ()
            stored = Commit(self.clock.now(), captures=captures, readings=readings, measurements=measurements)
            assert await self.storing.keep(stored) is not None
        self.unacknowledged = []

    async def check(self) -> None:
        """Count: everything given is there once."""
        reader = await SqliteReader.open(self.path)
        keys = await reader.captures(None, 0.0, 4e9, most=10_000)
        assert sorted(keys) == sorted(make.capture(number).key for number in range(1, self.given + 1))
        for key in keys[:: max(1, len(keys) // 20)]:
            assert await reader.capture(key) is not None
        journal = [one.event for one in await reader.journal(10_000, after=0)]
        assert journal == [make.started(number) for number in range(1, self.given + 1)], "none lost, none twice, in order"
        trend = await reader.trend(make.POINT, "velocity_rms", 0.0, 4e9, most=10_000)
        assert len(trend) == self.given
        await reader.close()
        assert (await self.store.load()).points == (make.point_state(0.001 * self.given),)
