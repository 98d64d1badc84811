"""Silence through the path: journalled, shown, and the same after a crash."""

from edgemon.model.command import Acknowledge, Silence
from edgemon.model.ids import AlarmKey
from edgemon.model.snapshot import Outcome
from tests.support.captures import capture
from tests.support.plants import DRIVE_END
from tests.support.rig import OPERATOR, START, Rig, running


async def silence(rig: Rig) -> Outcome:
    return await rig.path.command(Silence(), OPERATOR)


async def test_a_silence_is_journalled_with_who_where_and_which_and_survives_a_crash() -> None:
    first = Rig()
    async with running(first):
        assert not (await silence(first)).done, "nothing sounds"
        await first.send(capture(START, 5.0))
        assert first.hub.gateway().sounding
        outcome = await silence(first)
        assert outcome.done
        assert outcome.why.startswith("1 silenced")
        gateway = first.hub.gateway()
        assert (gateway.sounding, gateway.beacon, gateway.silenced_at) == (False, "alarm", START)
        (alarm,) = (one for one in first.point().alarms if one.level == "velocity_rms")
        assert (alarm.alarm_state, alarm.silenced_at) == ("UNACK", START)
        await first.settle()
        told = next(entry for entry in first.journal() if entry["kind"] == "alarms-silenced")
        assert (told["by"], told["station"]) == (OPERATOR.name, OPERATOR.station)
        assert told["alarms"] == ["hp-pump-1/pump-de-h/velocity_rms"]
        assert not (await silence(first)).done, "it is silent already"
    second = Rig(store=first.store, now=START + 10.0)
    async with running(second):
        gateway = second.hub.gateway()
        assert (gateway.sounding, gateway.beacon, gateway.silenced_at) == (False, "alarm", START)
        await second.pass_time(20.0, every=5.0)
        assert second.hub.gateway().sounding, "30 s after the silence, across the crash"
        key = AlarmKey(*DRIVE_END, "velocity_rms")
        assert (await second.command(Acknowledge(key, 1))).done
        assert (second.hub.gateway().sounding, second.hub.gateway().beacon) == (False, "off")


async def test_simulated_data_does_not_sound_on_a_gateway_of_a_real_plant() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0, sim=True))
        assert any(alarm.sim and alarm.alarm_state == "UNACK" for alarm in rig.point().alarms)
        assert (rig.hub.gateway().sounding, rig.hub.gateway().beacon) == (False, "off")
