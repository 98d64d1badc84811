"""Differences of two readings: worked out by hand."""

import tomllib

from edgemon.settings.difference import differences

BEFORE = """
[site]
id = "saltmarsh"
[[machine]]
id = "hp-pump-1"
rpm = 2975
  [[machine.point]]
  id = "motor-de-h"
    [[machine.point.limit]]
    level = "velocity_rms"
    alert = 2.8
    alarm = 4.5
[[machine]]
id = "fan-1"
"""


def found(now: str) -> tuple[str, ...]:
    return differences({"plant.toml": tomllib.loads(BEFORE)}, {"plant.toml": tomllib.loads(now)})


def test_the_same_is_no_difference_however_it_is_written() -> None:
    assert found(BEFORE.replace("2.8", "2.80")) == ()


def test_a_changed_limit_is_named_by_its_machine_point_and_level() -> None:
    where = "plant.toml: machine[hp-pump-1].point[motor-de-h].limit[velocity_rms]"
    assert found(BEFORE.replace("alert = 2.8", "alert = 2.5\ndeadband = 0.2")) == (
        f"{where}.alert: 2.5, before 2.8",
        f"{where}.deadband: 0.2, before not set",
    )


def test_a_machine_in_front_does_not_change_those_behind_it() -> None:
    more = BEFORE.replace('[[machine]]\nid = "hp', '[[machine]]\nid = "new"\n[[machine]]\nid = "hp')
    assert found(more) == ("plant.toml: machine[new].id: 'new', before not set",)


def test_what_is_taken_out_is_told_with_what_it_was() -> None:
    assert found(BEFORE.replace("rpm = 2975", "")) == ("plant.toml: machine[hp-pump-1].rpm: taken out, before 2975",)


def test_true_is_not_one_and_terminals_are_safe() -> None:
    one, other = {"gateway.toml": {"gateway": {"simulated": 1}}}, {"gateway.toml": {"gateway": {"simulated": True}}}
    assert differences(one, other) == ("gateway.toml: gateway.simulated: True, before 1",)
    (words,) = differences({"p": {"a": {"b": "x"}}}, {"p": {"a": {"b": "\x1b[2J"}}})
    assert "\x1b" not in words
