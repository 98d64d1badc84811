"""What the gateway says it has counted is what the journal holds."""

from edgemon.daemon.work import Happened
from edgemon.model.gateway_event import LinkChanged
from tests.support.captures import capture
from tests.support.rig import START, Rig, running


async def test_events_from_outside_the_path_are_counted_like_all_others() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        await rig.path.put(Happened(LinkChanged(START, "broker", True, "connected")))
        await rig.settle()
        entries = await rig.store.journal(1000)
        assert "link-changed" in rig.kinds()
        assert rig.hub.gateway().events == len(entries)
