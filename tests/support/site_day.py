"""A bad day of a whole site, step by step; whoever has it run is told what happens, and judges the counts."""

import asyncio
import contextlib
from collections.abc import Callable

from tests.support.whole_site import DATABASE, STREAMS, Site, until, until_empty

Tell = Callable[[str], None]
REPEATED = 6
REPLACED = "gw-product"


async def bad_day(site: Site, tell: Tell) -> None:
    """Lose the leader of the streams, the database and a gateway, one after the other, while sensors send."""
    board = site.board
    await until(lambda: board.site is not None)
    tell("sensors begin to send")
    await site.measure(6)
    await until(board.is_whole, board.text)
    board.in_doubt.clear()
    watching = asyncio.create_task(board.watch())
    try:
        await _without_the_leader(site, tell)
        await _without_the_database(site, tell)
        assert board.in_doubt == set(), "a machine was in doubt although its gateway was there"
        await _without_a_gateway(site, tell)
        await until(board.is_whole, board.text)
        await _acknowledge(site, tell)
        await site.settle(STREAMS, DATABASE)
    finally:
        watching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watching
    assert board.missing == set()
    assert board.looks > 0


async def _acknowledge(site: Site, tell: Tell) -> None:
    """Acknowledge an alarm at the board, by its keys; the database comes to know who did it."""
    await site.board.pilot.press("l", "a", "y")
    question = "SELECT gateway, machine FROM edgemon.journal WHERE event->>'change' = 'ACK' AND event->>'by' <> ''"

    async def lacks() -> bool:
        return not await asyncio.to_thread(site.database.sql, question)

    await until_empty(lacks)
    (found,) = await asyncio.to_thread(site.database.sql, question)
    await site.board.pilot.press("escape")
    tell(f"an alarm of {found[1]} was acknowledged at the board; {found[0]} has it, and the database")


async def _without_the_leader(site: Site, tell: Tell) -> None:
    sending = asyncio.create_task(site.measure(16))
    name = await site.leader()
    await asyncio.to_thread(site.cluster.named(name).kill)
    tell(f"killed {name}, which led the stream; sensors go on sending")
    await sending
    await site.settle(STREAMS, DATABASE)
    tell(f"stream and database have everything; the stream is led by {await site.leader()}")
    await asyncio.to_thread(site.cluster.start)


async def _without_the_database(site: Site, tell: Tell) -> None:
    board, sending = site.board, asyncio.create_task(site.measure(16))
    await asyncio.to_thread(site.database.kill)
    tell("killed the database; sensors go on sending")
    await until(lambda: board.is_up(DATABASE) == {False})
    await sending
    await site.settle(STREAMS)
    assert all(one.waiting(DATABASE) for one in site.gateways.values())
    waiting = sum(one.waiting(DATABASE) for one in site.gateways.values())
    tell(f"the stream has everything, {waiting} items wait for the database; it is started again")
    await asyncio.to_thread(site.database.start)
    await site.settle(STREAMS, DATABASE)
    await until(lambda: board.is_up(DATABASE) == board.is_up(STREAMS) == {True})
    tell("stream and database have everything")


async def _without_a_gateway(site: Site, tell: Tell) -> None:
    lost, board = site.gateways[REPLACED], site.board
    others = [one for one in site.gateways.values() if one is not lost]
    sending = [asyncio.create_task(one.measure(20)) for one in others]
    await lost.lose()
    tell(f"killed {lost.name} and took its disk away; its sensors go on sending to its broker")
    await until(lambda: board.line(f"NO CONNECTION to {lost.name}"), board.text)
    tell(f"the board: {board.line('NO CONNECTION')}")
    assert {id_ for id_, one in board.machines.items() if one.state == "unknown"} <= set(lost.machines)
    await lost.replace()
    tell(f"a fresh {lost.name} runs, which knows nothing; its sensors repeat the last {REPEATED} captures it had sent upstream")
    last = len(lost.sent) - 12  # `lose` has 12 sent that no gateway has acknowledged
    await lost.repeat(last - REPEATED, last)
    await lost.measure(6)
    await asyncio.gather(*sending)
