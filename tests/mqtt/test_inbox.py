import asyncio

import pytest

from edgemon.errors import ParameterError
from edgemon.model.message import Message
from edgemon.mqtt.inbox import Inbox
from edgemon.mqtt.port import Delivery


def delivery(number: int) -> Delivery:
    return Delivery(Message("a", bytes([number]), 0.0), 1, number, 1)


async def test_it_is_full_at_the_high_mark_and_low_at_the_low_one() -> None:
    inbox = Inbox(4)
    marks = []
    for number in range(4):
        inbox.put(delivery(number))
        marks.append(inbox.is_full)
    assert marks == [False, False, False, True]
    marks = []
    for _ in range(3):
        marks.append(inbox.is_low)
        await inbox.take(1)
    assert marks == [False, False, True]
    assert len(inbox) == 1


async def test_what_is_put_while_full_is_kept_all_the_same() -> None:
    inbox = Inbox(1)
    for number in range(3):
        inbox.put(delivery(number))
    assert [taken.packet_id for taken in await inbox.take(10)] == [0, 1, 2]


async def test_taking_waits_for_the_first() -> None:
    inbox = Inbox(4)
    taking = asyncio.create_task(inbox.take(10))
    await asyncio.sleep(0)
    assert not taking.done()
    inbox.put(delivery(1))
    inbox.put(delivery(2))
    assert [taken.packet_id for taken in await taking] == [1, 2]


async def test_two_takers_get_each_message_once() -> None:
    inbox = Inbox(4)
    takers = [asyncio.create_task(inbox.take(1)) for _ in range(2)]
    await asyncio.sleep(0)
    inbox.put(delivery(1))
    await asyncio.wait(takers, return_when=asyncio.FIRST_COMPLETED)
    await asyncio.sleep(0)
    assert [taker.done() for taker in takers].count(True) == 1
    inbox.put(delivery(2))
    results = await asyncio.gather(*takers)
    assert sorted(taken.packet_id for result in results for taken in result) == [1, 2]


async def test_a_cancelled_taker_takes_nothing_with_it() -> None:
    inbox = Inbox(4)
    taking = asyncio.create_task(inbox.take(1))
    await asyncio.sleep(0)
    taking.cancel()
    await asyncio.wait([taking])
    inbox.put(delivery(1))
    assert len(await inbox.take(1)) == 1


async def test_asking_for_nothing_is_a_mistake() -> None:
    with pytest.raises(ParameterError):
        await Inbox(4).take(0)
