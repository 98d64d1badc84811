"""What a run hands to the next takes the place of what is stored, unless it began knowing nothing of it."""

from dataclasses import replace

from edgemon.daemon.remembering import Carried
from edgemon.decode.assemble import Assembly
from edgemon.engine.memory import Memory
from edgemon.model.alarm import AlarmState, Priority
from edgemon.model.event import AlarmChanged
from edgemon.model.gateway_event import GatewayStarted, SettingsChanged, StoreChanged
from edgemon.model.ids import AlarmKey
from edgemon.model.limit import Severity
from edgemon.store.port import Saved
from tests.store import builders as make

STARTED = GatewayStarted(make.T0, "1", "0")
FAILED = StoreChanged(make.T0, "nothing", "read-only")
RAISED = AlarmChanged(
    make.T0, AlarmKey(*make.POINT, "velocity_rms"), "RAISED", AlarmState.NORM, AlarmState.UNACK, Severity.ALARM, 1,
    Priority.HIGH, True,
)  # fmt: skip
ACKNOWLEDGED = replace(RAISED, change="ACK", by="operator on shift")
STORED = Saved(points=(make.point_state(),), next_seq=8)


def memory() -> Memory:
    state = replace(make.point_state(), taken_at=make.T0 + 1.0)
    return Memory({(state.point, state.sim): state}, {}, {}, Assembly(), {"captures": 1})


def carried(knows_past: bool) -> Carried:
    return Carried(memory(), (STARTED, FAILED, RAISED, ACKNOWLEDGED), since=make.T0, knows_past=knows_past)


def test_a_memory_that_began_with_the_store_takes_its_place() -> None:
    given = carried(knows_past=True).onto(STORED)
    assert given.over(STORED).points[0].taken_at == make.T0 + 1.0
    assert given.commit(make.T0).events == (STARTED, FAILED, RAISED, ACKNOWLEDGED)


def test_one_that_began_with_nothing_does_where_nothing_is() -> None:
    given = carried(knows_past=False).onto(Saved())
    assert given.over(Saved()).points[0].taken_at == make.T0 + 1.0
    assert RAISED in given.commit(make.T0).events


def test_one_that_began_with_nothing_hides_no_alarm_that_is_stored() -> None:
    given = carried(knows_past=False).onto(STORED)
    assert given.over(STORED) is STORED
    commit = given.commit(make.T0)
    assert commit.events == (STARTED, FAILED, ACKNOWLEDGED), "what comes again is not told twice"
    assert replace(commit, events=()).is_empty
    assert given.since == make.T0


def test_changed_settings_stay_in_the_journal_where_the_next_start_cannot_tell_them() -> None:
    """As after a damage that took the settings of the newest start with it."""
    told = SettingsChanged(make.T0, ("plant: alarms.default.on_delay 3, before 1",), 1)
    given = replace(carried(knows_past=True), events=(STARTED, told))
    assert given.onto(STORED).events == (STARTED, told)
    assert given.onto(replace(STORED, settings={"plant.toml": "{}"})).events == (STARTED,)


def test_what_is_left_where_nobody_takes_it_up_counts_what_was_lost_before() -> None:
    given = Carried(None, (STARTED, FAILED), (), dropped=3, lost=4)
    assert given.left == "5 journal entries, 4 messages with QoS 0"
    assert Carried(memory(), ()).left == ""
