"""A board driven by hand: its daemon says what the test says, its clock moves when the test moves it."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from textual.pilot import Pilot

from edgemon.board.app import BoardApp
from edgemon.board.memory import MemorySource
from edgemon.board.port import Update
from edgemon.board.view.cells import row_text
from edgemon.board.widgets.lines import Lines
from edgemon.clock import ManualClock
from tests.support import sites


class Board:
    def __init__(self, app: BoardApp, source: MemorySource, clock: ManualClock, pilot: Pilot[None]) -> None:
        self.app, self.source, self.clock, self.pilot = app, source, clock, pilot

    async def hear(self, *updates: Update, after: float = 0.5) -> None:
        for update in updates:
            self.source.say(update)
        await self.pilot.pause()
        await self.wait(after)

    async def wait(self, seconds: float) -> None:
        await self.clock.advance(seconds)
        await self.pilot.pause()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self.pilot.pause()

    def lines(self, part: str) -> list[str]:
        return [row_text(row) for row in self.app.screen.query_one(f"#{part}", Lines).rows]

    def text(self) -> str:
        return "\n".join(line for lines in self.app.screen.query(Lines) for line in map(row_text, lines.rows))

    def line(self, words: str) -> str:
        return next(line for line in self.lines("body") if words in line)


@asynccontextmanager
async def board(
    size: tuple[int, int] = (80, 24), source: MemorySource | None = None, **options: bool | str
) -> AsyncIterator[Board]:
    source = source or MemorySource()
    clock = ManualClock(sites.NOW)
    app = BoardApp(source, clock, **options)  # type: ignore[arg-type]
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        yield Board(app, source, clock, pilot)


@asynccontextmanager
async def plant(
    size: tuple[int, int] = (80, 24), source: MemorySource | None = None, **options: bool | str
) -> AsyncIterator[Board]:
    """A board that has heard the whole plant once, its first message gone."""
    async with board(size, source, **options) as one:
        one.app.desk.message = ""
        await one.hear(sites.snapshot(), after=1.0)
        yield one
