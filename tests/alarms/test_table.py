"""The table as a whole: nothing missing, nothing dead, and its picture made from it."""

from itertools import product

from edgemon.alarms.table import GUARDS, HIDDEN, TABLE, VISIBLE, Facts, Stimulus, as_markdown, find
from edgemon.model.alarm import AlarmState

COMMANDS = (Stimulus.ACK, Stimulus.RESET, Stimulus.SHELVE, Stimulus.UNSHELVE, Stimulus.REMOVE, Stimulus.RETURN)
ALL_FACTS = [Facts(*truth) for truth in product((False, True), repeat=len(Facts.__slots__))]


def test_the_nine_states_are_six_shown_and_three_hidden() -> None:
    assert {*VISIBLE, *HIDDEN} == set(AlarmState)
    assert len(AlarmState) == 9


def test_every_command_is_answered_in_every_state() -> None:
    for state, stimulus, facts in product(AlarmState, COMMANDS, ALL_FACTS):
        assert find(state, stimulus, facts) is not None, (state, stimulus, facts)


def test_every_line_can_be_reached() -> None:
    reached = {id(find(state, stimulus, facts)) for state, stimulus, facts in product(AlarmState, Stimulus, ALL_FACTS)}
    assert [line for line in TABLE if id(line) not in reached] == []


def test_every_guard_is_used() -> None:
    assert {line.guard for line in TABLE} == set(GUARDS)


def test_a_line_either_changes_or_refuses() -> None:
    for line in TABLE:
        assert bool(line.change) != bool(line.refusal)
        assert not (line.refusal and (line.announce or line.target))
        assert not line.announce or line.target is AlarmState.UNACK


def test_only_commands_are_refused() -> None:
    assert {line.stimulus for line in TABLE if line.refusal} <= set(COMMANDS)


def test_markdown_has_a_row_for_each_line() -> None:
    rows = as_markdown().splitlines()
    assert len(rows) == len(TABLE) + 2
    assert "| UNACK | acknowledge |  | ACKED | no | ACK |  |" in rows
    assert {row.count("|") for row in rows} == {8}
