"""What `edgemon collect` says before an order, and of what is on."""

from dataclasses import replace

import pytest

from edgemon.cli.collect import cost_in, document, lines
from edgemon.cli.main import main
from edgemon.errors import EdgemonError
from edgemon.model.collection import CollectionView, FastView
from edgemon.model.snapshot import Snapshot
from tests.support import sites

# 1700001890 s is 2023-11-14T22:44:50Z by `date -u -d @1700001890`
FAST = FastView(1_700_000_000.0, 1_700_001_890.0, 60.0, "engineer", "a rising bearing")
SHOWN = CollectionView(300.0, 6400.0, 8192, ("x", "z"), 50.0)


def whole(shown: CollectionView | None = SHOWN) -> Snapshot:
    one = sites.snapshot()
    sensor = one.machines[0].points[0].sensor
    return replace(one, sensors=tuple(replace(each, collection=shown if each.id == sensor else None) for each in one.sensors))


def test_the_cost_is_said_by_point_or_sensor() -> None:
    seen = whole()
    first = seen.machines[0].points[0]
    for target in (f"{seen.machines[0].id}/{first.point}", first.sensor):
        assert str(cost_in(seen, target, 60.0, 7200.0)) == "96 more captures; about 1.9 % of the battery"  # 120 - 24; 96/50
    unknown = cost_in(whole(replace(SHOWN, captures_per_percent=None)), first.sensor, 60.0, 7200.0)
    assert "96 more captures; battery cost not known" in str(unknown)


def test_what_is_not_there_or_not_commanded_is_said_before_the_order() -> None:
    seen = whole(None)
    for target, why in (("nowhere/x", "no such point"), ("s-none", "no such sensor"), (seen.sensors[0].id, "not commanded")):
        with pytest.raises(EdgemonError, match=why):
            cost_in(seen, target, 60.0, 7200.0)
    with pytest.raises(EdgemonError, match=r'add fs_hz and samples to \[\[sensor\]\] "'):
        cost_in(seen, seen.machines[0].points[0].sensor, 60.0, 7200.0)
    apart = replace(whole(), sensors=tuple(replace(one, machine="") for one in whole().sensors))
    with pytest.raises(EdgemonError, match="no point uses sensor"):
        cost_in(apart, apart.machines[0].points[0].sensor, 60.0, 7200.0)


@pytest.mark.parametrize(
    ("every", "lasts", "why"),
    [
        (0.0, 7200.0, "too often"),
        (1.0, 7200.0, "a capture takes 1.28 s"),  # 8192 / 6400 Hz
        (300.0, 7200.0, "not faster than the routine, every 300 s"),
        (600.0, 7200.0, "not faster than the routine"),
        (60.0, 59.0, "one interval at least"),
        (60.0, 604_801.0, "7 days at most"),
    ],
)
def test_no_cost_is_said_of_an_order_that_would_be_refused(every: float, lasts: float, why: str) -> None:
    seen = whole()
    with pytest.raises(EdgemonError, match=why):
        cost_in(seen, seen.machines[0].points[0].sensor, every, lasts)


def test_no_cost_is_said_while_one_is_on() -> None:
    seen = whole(replace(SHOWN, fast=FAST))
    with pytest.raises(EdgemonError, match=r"collects faster already, until 2023-11-14T22:44:50.000Z, by engineer"):
        cost_in(seen, seen.machines[0].points[0].sensor, 60.0, 7200.0)


def test_what_is_on_is_said_line_by_line_and_for_programs() -> None:
    seen = whole(replace(SHOWN, fast=FAST))
    sensor, rest = seen.machines[0].points[0].sensor, len(seen.sensors) - 1
    assert lines(seen) == [
        f"  {sensor}: every 300 s, 8192 samples at 6400 Hz of x, z; "
        "FAST every 60 s until 2023-11-14T22:44:50.000Z, by engineer: a rising bearing",
        f"1 faster, 1 commanded, {rest} not commanded (no fs_hz and samples in plant.toml)",
    ]
    (row,) = (one for one in document(seen)["sensors"] if one["collection"] is not None)
    assert row["collection"]["fast"]["until"] == "2023-11-14T22:44:50.000Z"
    assert "FAST" not in "".join(lines(whole()))


def test_what_others_wrote_cannot_reach_the_terminal() -> None:
    evil = replace(SHOWN, axes=("\x1b[2J",), fast=replace(FAST, by="eve\x1b[2J", reason="\x1b]0;x\x07"))
    assert "\x1b" not in "".join(lines(whole(evil)))


@pytest.mark.parametrize(
    "arguments",
    [
        ["start", "s-0001", "--for", "2h", "--reason", "why"],
        ["start", "s-0001", "--every", "60s", "--reason", "why"],
        ["start", "s-0001", "--every", "60s", "--for", "2h"],
        ["stop", "s-0001"],
        [],
    ],
)
def test_what_is_missing_is_said_with_exit_code_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["collect", *arguments]) == 2
    assert "required" in capsys.readouterr().err
