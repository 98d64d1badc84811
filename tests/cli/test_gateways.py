"""Several gateways from the command line: together, each under its name; an order goes to the one it concerns, or to nobody."""

import json
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.cli.main import main
from edgemon.model.ids import MachineId
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView
from edgemon.model.snapshot import JournalView, Outcome, Snapshot
from tests.cli.test_trends import served
from tests.support import sites
from tests.support.fake_site import GATEWAY, MACHINE, PAGE, POINT, SNAPSHOT, FakeSite

T0 = 1_700_000_000.0


class NamedSite(FakeSite):
    """A gateway with a name, its machines, and a journal of its own."""

    def __init__(self, name: str, *machines: str, at: tuple[float, ...] = ()) -> None:
        super().__init__()
        self.name, self.machines, self.at = name, machines, at

    def snapshot(self) -> Snapshot:
        """Each machine with one alarm that waits."""
        machines = []
        for machine in self.machines:
            view = replace(MACHINE, id=machine, name=machine)
            point = replace(POINT, machine=machine)
            alarm = sites.alarm(view, point, point.levels[0], sim=False)
            machines.append(replace(view, points=(replace(point, alarms=(alarm,)),)))
        return replace(SNAPSHOT, gateway=replace(GATEWAY, gateway=self.name), machines=tuple(machines))

    async def handover(self) -> HandoverView:
        return replace(PAGE, digest=f"digest-of-{self.name}")

    async def journal(self, limit: int, before: int | None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        self.searches.append((before, search))
        entries = [JournalView(seq, T0 + at, "log-written", f"entry {seq}") for seq, at in enumerate(self.at, start=1)]
        return tuple(one for one in reversed(entries) if before is None or one.seq < before)[:limit]


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[NamedSite, NamedSite, list[str]]]:
    """One machine is at both gateways, the others at one each."""
    one = NamedSite("gw-1", "hp-pump-1", "screen-1", at=(1.0, 4.0, 5.0))
    other = NamedSite("gw-2", "hp-pump-1", "vent-1", at=(2.0, 3.0))
    with ExitStack() as stack:
        ways: list[str] = []
        for name, site in (("a", one), ("b", other)):
            (tmp_path / name).mkdir()
            ways += stack.enter_context(served(tmp_path / name, site))
        yield one, other, ways


Two = tuple[NamedSite, NamedSite, list[str]]


def test_alarms_of_all_stand_under_their_gateways(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    _, _, ways = two
    assert main(["alarms", *ways]) == 0
    out = capsys.readouterr().out.splitlines()
    assert [line.rsplit("  at ")[1] for line in out if "screen-1/" in line] == ["gw-1"]
    assert [line.rsplit("  at ")[1] for line in out if "vent-1/" in line] == ["gw-2"]
    assert sum("hp-pump-1@gw-" in line for line in out) == 2
    assert main(["alarms", "--json", *ways]) == 0
    found = {one["id"]: one["gateway"] for one in json.loads(capsys.readouterr().out)}
    assert found["hp-pump-1@gw-2/pump-de-h/velocity_rms"] == "gw-2"
    assert len(found) == 4


def test_of_one_gateway_nothing_is_said_of_gateways(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    _, _, ways = two
    assert main(["alarms", "--json", *ways[:2]]) == 0
    assert all("gateway" not in one for one in json.loads(capsys.readouterr().out))


def test_an_order_finds_the_gateway_of_its_machine(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    assert main(["alarms", *ways, "acknowledge", "vent-1/pump-de-h/velocity_rms"]) == 0
    assert capsys.readouterr().out == "gw-2: done\n"
    assert [order.alarm.machine for order, _ in other.commanded] == ["vent-1"]
    assert one.commanded == []


@pytest.mark.parametrize("before", [True, False])
def test_where_two_have_the_machine_the_error_asks_for_the_gateway(
    two: Two, capsys: pytest.CaptureFixture[str], before: bool
) -> None:
    one, other, ways = two
    order = ["shelve", "hp-pump-1/pump-de-h/velocity_rms", "--for", "1h", "--reason", "part ordered"]
    assert main(["alarms", *ways, *order] if before else ["alarms", *order, *ways]) == 2
    error = capsys.readouterr().err
    assert "more than one gateway has hp-pump-1: gw-1, gw-2" in error
    assert "hp-pump-1@gw-1/pump-de-h/velocity_rms" in error
    assert one.commanded == other.commanded == []
    order[1] = "hp-pump-1@gw-2/pump-de-h/velocity_rms"
    assert main(["alarms", *ways[:2], *order, *ways[2:]]) == 0, "one before the order, one after it"
    assert [order.alarm.machine for order, _ in other.commanded] == ["hp-pump-1"]
    assert one.commanded == []


def test_the_gateway_may_be_named_where_it_need_not(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, _, ways = two
    assert main(["alarms", *ways, "reset", "screen-1@gw-1/pump-de-h/velocity_rms"]) == 0
    assert [order.alarm.machine for order, _ in one.commanded] == ["screen-1"]
    assert main(["alarms", *ways, "reset", "screen-1@gw-2/pump-de-h/velocity_rms"]) == 2
    assert "no gateway that answers has screen-1@gw-2" in capsys.readouterr().err


def test_the_gateways_own_alarm_is_everybodys(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    assert main(["alarms", *ways, "reset", "gateway/gateway/monitoring"]) == 2
    assert "say which: gateway@gw-1/gateway/monitoring" in capsys.readouterr().err
    assert main(["alarms", *ways, "reset", "gateway@gw-1/gateway/monitoring"]) == 0
    assert (len(one.commanded), len(other.commanded)) == (1, 0)


def test_a_refusal_names_the_gateway(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    _, other, ways = two
    other.outcome = Outcome(False, "nothing to acknowledge")
    assert main(["alarms", *ways, "acknowledge", "vent-1/pump-de-h/velocity_rms"]) == 1
    assert "gw-2: nothing to acknowledge" in capsys.readouterr().err


def test_silence_and_lamp_test_are_for_all_and_who_did_not_is_said(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    assert main(["alarms", *ways, "lamp-test"]) == 0
    assert [what for site in (one, other) for what, *_ in site.ordered] == ["lamp-test", "lamp-test"]
    other.outcome = Outcome(False, "nothing sounds")
    assert main(["alarms", *ways, "silence"]) == 0
    assert "done at gw-1, NOT at gw-2: nothing sounds" in capsys.readouterr().out


def test_who_does_not_answer_is_said_and_the_others_are_listed(
    two: Two, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, _, ways = two
    gone = f"--attach=unix:{tmp_path}/gone.sock"
    assert main(["alarms", *ways, gone]) == 1
    out = capsys.readouterr().out
    assert f"NO ANSWER: {tmp_path}/gone.sock: " in out
    assert "vent-1/" in out
    for command in (["journal"], ["performance"], ["shift"]):
        assert main([*command, *ways, gone]) == 1
        told = capsys.readouterr()
        assert "gone.sock" in told.out + told.err, command
    assert main(["alarms", gone, f"--attach=unix:{tmp_path}/gone2.sock"]) == 1
    assert "gone2.sock" in capsys.readouterr().err


def test_the_handover_pages_are_one_and_each_is_taken_over_by_its_own_digest(
    two: Two, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other, ways = two
    assert main(["shift", *ways]) == 0
    out = capsys.readouterr().out
    assert "gw-1: 1 machines: 1 alert" in out
    assert "gw-2: 1 machines: 1 alert" in out
    assert main(["shift", *ways, "take", "--yes", "--note", "quiet"]) == 0
    assert [site.ordered[-1][2:] for site in (one, other)] == [("digest-of-gw-1", "quiet"), ("digest-of-gw-2", "quiet")]


def test_a_note_goes_to_the_gateway_of_its_machine_or_to_all(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    assert main(["shift", *ways, "note", "filter changed", "--sort", "request"]) == 0
    assert [len(site.ordered) for site in (one, other)] == [1, 1]
    assert one.ordered[0][2:4] == ("filter changed", "request")
    assert main(["shift", *ways, "note", "seal drips", "--machine", "hp-pump-1@gw-1"]) == 0
    assert one.ordered[1][2:5] == ("seal drips", "observation", MachineId("hp-pump-1"))
    assert len(other.ordered) == 1
    assert main(["shift", *ways, "note", "seal drips", "--machine", "hp-pump-1"]) == 2
    assert "say which: hp-pump-1@gw-1" in capsys.readouterr().err
    assert main(["shift", *ways, "note", "not so", "--corrects", "3"]) == 2
    assert "--corrects" in capsys.readouterr().err


def test_journals_are_one_by_time_and_each_entry_keeps_its_number(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    assert main(["journal", *ways]) == 0
    told = [(line.split()[0], line.split()[3]) for line in capsys.readouterr().out.splitlines()]
    # by hand, from the times 1, 4, 5 and 2, 3
    assert told == [("1", "gw-1:"), ("1", "gw-2:"), ("2", "gw-2:"), ("2", "gw-1:"), ("3", "gw-1:")]
    assert main(["journal", *ways, "--limit", "2", "--json"]) == 0
    entries = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [(entry["gateway"], entry["seq"], entry["t"]) for entry in entries] == [
        ("gw-1", 2, "2023-11-14T22:13:24.000Z"),
        ("gw-1", 3, "2023-11-14T22:13:25.000Z"),
    ]
    assert main(["journal", *ways, "--machine", "hp-pump-1@gw-2"]) == 0
    assert other.searches[-1][1].machine == "hp-pump-1"
    assert len(one.searches) == 2
    capsys.readouterr()
    assert main(["journal", *ways[:2], "--json"]) == 0
    assert [sorted(json.loads(line)) for line in capsys.readouterr().out.splitlines()] == [["kind", "seq", "t", "text"]] * 3


def test_a_long_journal_is_asked_for_page_by_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = NamedSite("gw-1", "hp-pump-1", at=tuple(float(k) for k in range(1200)))
    with served(tmp_path, site) as way:
        assert main(["journal", *way]) == 0
        assert len(capsys.readouterr().out.splitlines()) == 1000, "as many as are asked for where nothing is said"
        assert main(["journal", *way, "--limit", "5000"]) == 0
        lines = capsys.readouterr().out.splitlines()
    assert [int(line.split()[0]) for line in lines] == list(range(1, 1201))


def test_a_store_or_daemons_but_not_both(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    way = "--attach=unix:/nowhere.sock"
    for command in ("journal", "performance"):
        assert main([command, way, "--file", str(tmp_path / "s.sqlite")]) == 2
        assert "either a store is read or daemons are asked" in capsys.readouterr().err
    assert main(["journal", way, "verify"]) == 2
    assert "in the store itself" in capsys.readouterr().err
    assert main(["journal", "--config", "a", "--config", "b", "verify"]) == 2
    assert "one store at a time" in capsys.readouterr().err


def test_figures_of_gateways_stand_beside_each_other(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    one, other, ways = two
    period = ["--since", "2023-11-14", "--until", "2023-11-15"]
    assert main(["performance", *ways, *period]) == 0
    out = capsys.readouterr().out
    assert "gw-1: " in out
    assert "gw-2: " in out
    assert one.periods == other.periods
    assert main(["performance", *ways, *period, "--json"]) == 0
    assert {fig["title"].split(": ")[0] for fig in json.loads(capsys.readouterr().out)["figures"]} == {"gw-1", "gw-2"}
    assert main(["performance", *ways[:2], *period]) == 0
    assert "gw-1" not in capsys.readouterr().out
