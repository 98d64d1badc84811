"""The gateway's own alarm: one call when the link is lost, none for every point, through path, store, journal and API.

The figures (60 s, the points' own patience) are the house's; the sequence of states follows the table of `alarms/table.py`.
"""

from dataclasses import replace

from edgemon.model.command import Acknowledge, Shelve
from edgemon.model.ids import AlarmKey
from edgemon.model.machine import GATEWAY
from edgemon.model.policy import AlarmPolicy
from tests.support.captures import capture
from tests.support.plants import plant
from tests.support.rig import START, Rig, running

OWN = AlarmKey(GATEWAY.machine, GATEWAY.point, "monitoring")


def own_state(rig: Rig) -> str:
    """Give the state of the gateway's own alarm."""
    return next((one.alarm_state for one in rig.hub.gateway().alarms), "NORM")


def loss(rig: Rig, name: str = "pump-de-h") -> str:
    """Give the state of a point's loss of monitoring."""
    return next((one.alarm_state for one in rig.point(name).alarms if one.level == "monitoring"), "NORM")


async def lose_link(rig: Rig) -> None:
    rig.link.drop()


async def test_a_short_reconnect_calls_nobody() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await rig.pass_time(5.0)
        await lose_link(rig)
        await rig.pass_time(50.0)
        await rig.link.start()
        await rig.pass_time(5.0)
        assert (own_state(rig), loss(rig)) == ("NORM", "NORM")
        assert not rig.hub.annunciation().horn
        await rig.pass_time(60.0)
        assert (own_state(rig), loss(rig)) == ("NORM", "UNACK"), "then a silent point is called lost as ever"


async def test_one_call_for_a_lost_link_and_every_point_starts_afresh_when_it_is_back() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await rig.pass_time(5.0)
        await lose_link(rig)
        await rig.pass_time(300.0)
        assert (own_state(rig), loss(rig), loss(rig, "pump-de-a")) == ("UNACK", "DSUPR", "DSUPR")
        (own,) = rig.hub.gateway().alarms
        assert (own.id, own.priority, own.severity, own.occurrence) == ("gateway/gateway/monitoring", "high", "alarm", 1)
        hidden = next(one.hidden for one in rig.point().alarms if one.level == "monitoring")
        assert hidden is not None
        assert hidden.way == "suppressed"
        assert "Gateway" in hidden.reason
        assert rig.point().quality == "stale", "what is not heard is never called good"
        call = rig.hub.annunciation()
        assert call.horn
        assert call.call is not None
        assert call.call.text.startswith("Gateway")
        refused = await rig.command(Shelve(OWN, 60.0, "later"))
        assert not refused.done
        assert "gateway" in refused.why
        assert (await rig.command(Acknowledge(OWN, 1))).done
        assert own_state(rig) == "ACKED"
        await rig.link.start()
        await rig.pass_time(2.0)
        assert (own_state(rig), loss(rig)) == ("NORM", "NORM")
        await rig.send(capture(rig.clock.now(), 1.0))
        await rig.pass_time(40.0)
        assert loss(rig) == "NORM"
        raised = [one["alarm"] for one in rig.journal() if one.get("change") == "RAISED"]
        assert raised == ["gateway/gateway/monitoring"], "one announcement for the whole outage"


async def test_what_is_still_silent_after_the_outage_is_called_lost() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await lose_link(rig)
        await rig.pass_time(120.0)
        await rig.link.start()
        await rig.pass_time(50.0)
        assert loss(rig) == "NORM", "sensors may report first"
        await rig.pass_time(15.0)
        assert loss(rig) == "UNACK"


async def test_it_survives_a_restart_in_the_middle() -> None:
    rig = Rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        await lose_link(rig)
        await rig.pass_time(120.0)
        assert own_state(rig) == "UNACK"
    again = Rig(store=rig.store, now=rig.clock.now() + 10.0)
    async with running(again):
        assert (own_state(again), loss(again)) == ("UNACK", "DSUPR")
        again.link.drop()
        await again.pass_time(5.0)
        assert (own_state(again), loss(again)) == ("UNACK", "DSUPR"), "not heard yet: it stands, and calls no second time"
        assert again.hub.gateway().alarms[0].occurrence == 1
        await again.link.start()
        await again.pass_time(2.0)
        assert (own_state(again), loss(again)) == ("RTNUN", "NORM")


async def test_a_loss_that_called_before_is_hidden_only_once_it_is_acknowledged() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await rig.pass_time(70.0)
        assert loss(rig) == "UNACK"
        await lose_link(rig)
        await rig.pass_time(70.0)
        assert (own_state(rig), loss(rig)) == ("UNACK", "UNACK")
        key = AlarmKey(rig.point().machine, rig.point().point, "monitoring")  # type: ignore[arg-type]
        assert (await rig.command(Acknowledge(key, 1))).done
        assert loss(rig) == "DSUPR"


async def test_the_site_may_have_it_call_sooner_but_not_after_the_points_would() -> None:
    # 20 s as the site says; 600 s would be after the points' own patience of 60 s
    for wanted, before, after in ((20.0, 17.0, 5.0), (600.0, 55.0, 10.0)):
        rig = Rig(replace(plant(), alarms=AlarmPolicy(gateway_delay_s=wanted)))
        async with running(rig):
            await rig.send(capture(START, 1.0))
            await lose_link(rig)
            await rig.pass_time(before)
            assert own_state(rig) == "NORM"
            await rig.pass_time(after)
            assert (own_state(rig), loss(rig)) == ("UNACK", "DSUPR")
