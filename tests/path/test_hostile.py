"""Hostile and damaged messages by the thousand, through the whole path: nothing breaks, all are counted, no state moves.

`python -m tests.bench.hostile` sends a hundred thousand of them to a real daemon over a real broker and watches its memory.
"""

import os
from collections import Counter

import pytest

from tests.support.captures import capture
from tests.support.hostile import hostile
from tests.support.rig import START, Rig, running

COUNT = int(os.environ.get("EDGEMON_HOSTILE", "3000"))


def told(rig: Rig) -> dict[str, bytes]:
    """What the plant is told of its machines."""
    return {topic: document for topic, document in rig.link.retained.items() if "/machine/" in topic}


@pytest.mark.slow
@pytest.mark.timeout(3600)
async def test_hostile_messages_change_nothing_and_are_counted() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        before, seen = told(rig), rig.hub.gateway()
        assert rig.published()["state"] == "alarm"
        delivered = 0
        for number, (topic, payload) in enumerate(hostile(COUNT, START), 1):
            waiting = rig.link.status.waiting
            rig.link.inject(topic, payload)
            delivered += rig.link.status.waiting - waiting  # a topic nobody subscribed is not delivered
            if number % 25 == 0:
                await rig.work()
        await rig.work()
        now = rig.hub.gateway()
        assert told(rig) == before
        assert now.messages - seen.messages == delivered > 0.9 * COUNT
        assert now.rejected - seen.rejected > COUNT // 2
        assert now.open_captures <= rig.gateway.borders.open_captures
        rejections = [entry for entry in rig.journal() if entry["kind"] == "message-rejected"]
        assert set(Counter(entry["cause"] for entry in rejections).values()) == {1}  # once for each cause and interval
        assert not [entry for entry in rejections if "the analysis broke" in entry["detail"]]
        await rig.send(capture(START + 60.0, 5.0, capture_id="after"))  # and the path still works
        assert rig.point().capture == "after"
