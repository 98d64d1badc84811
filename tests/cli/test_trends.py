"""`edgemon baseline` and `edgemon forecast` against a daemon's API on a real socket."""

import asyncio
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.api.service import Api
from edgemon.cli import baseline, forecast
from edgemon.cli.main import main
from edgemon.model.gateway import Access
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.outlook import ShiftView
from edgemon.model.snapshot import Outcome
from tests.support.fake_site import BASELINE, OUTLOOK, SILENT_OUTLOOK, FakeSite

WHERE = ("hp-pump-1", "pump-de-h", "velocity_rms")


@contextmanager
def served(folder: Path, site: FakeSite) -> Iterator[list[str]]:
    """Serve a site from a thread of its own, and give the options that lead to it."""
    api = Api(site, Access(folder / "s.sock"))
    thread = threading.Thread(target=lambda: asyncio.run(api.serve()))
    thread.start()
    try:
        yield ["--attach", f"unix:{folder / 's.sock'}"]
    finally:
        api.stop()
        thread.join(10)
        assert not thread.is_alive()


def test_baselines_are_listed_for_people_and_for_programs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with served(tmp_path, FakeSite()) as attach:
        assert main(["baseline", *attach]) == 0
        text = capsys.readouterr().out
        assert main(["baseline", *attach, "--json"]) == 0
        (document,) = json.loads(capsys.readouterr().out)
    assert "hp-pump-1/pump-de-h velocity r.m.s.: proposed, 1.2 mm/s" in text
    assert "alert 2.8, if approved 1.9" in text
    assert BASELINE.note in text
    # 1 700 000 061.25 s after 1970-01-01T00:00:00Z by `date -u -d @1700000061.25`
    assert document["proposed_at"] == "2023-11-14T22:14:21.250Z"
    assert (document["baseline"], document["alert_follows"], document["approved_at"]) == (1.2, 1.9, None)


@pytest.mark.parametrize("before", [True, False])
def test_an_order_names_the_proposal_that_was_read(tmp_path: Path, capsys: pytest.CaptureFixture[str], before: bool) -> None:
    site = FakeSite()
    site.outcome = Outcome(True, "alert is now 1.9 mm/s")
    with served(tmp_path, site) as attach:
        order = ["approve", *WHERE, "--reason", "quiet week"]
        assert main(["baseline", *attach, *order] if before else ["baseline", *order, *attach]) == 0
    assert capsys.readouterr().out == "alert is now 1.9 mm/s\n"
    what, point, level, _, reason, proposed_at = site.ordered[0]
    assert (what, point, level) == ("approve", PointKey(MachineId(WHERE[0]), PointId(WHERE[1])), WHERE[2])
    assert (reason, proposed_at) == ("quiet week", BASELINE.proposed_at)


@pytest.mark.parametrize("what", ["approve", "retire", "propose"])
def test_a_refusal_is_said_with_its_place(tmp_path: Path, capsys: pytest.CaptureFixture[str], what: str) -> None:
    site = FakeSite()
    site.outcome = Outcome(False, "takes an engineer")
    with served(tmp_path, site) as attach:
        assert main(["baseline", what, *WHERE, "--reason", "why", *attach]) == 1
        assert "takes an engineer" in capsys.readouterr().err
        assert main(["baseline", what, "nobody", "x", "velocity_rms", "--reason", "why", *attach]) == 1
        assert "no such point" in capsys.readouterr().err
        assert main(["baseline", what, *WHERE, "--reason", " ", *attach]) == 2
        assert main(["baseline", what, *WHERE, *attach]) == 2
    assert len(site.ordered) == 1


def test_forecasts_are_listed_with_interval_or_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with served(tmp_path, FakeSite()) as attach:
        assert main(["forecast", *attach]) == 0
        text = capsys.readouterr().out
        assert main(["forecast", *attach, "--machine", "hp-pump-1", "--json"]) == 0
        first, second = json.loads(capsys.readouterr().out)
        assert main(["forecast", *attach, "--machine", "nobody"]) == 2
        assert "one of hp-pump-1" in capsys.readouterr().err
    # 599 900, 299 900 and 1 199 900 s over 86 400 s are 6.943, 3.471 and 13.888 days
    assert "alert 2.8 mm/s: in 6.94 d (3.47 d to 13.9 d)" in text
    assert "alarm 4.5 mm/s: no forecast: further away than the values reach back" in text
    assert "no forecast: too few values in like conditions (0 of at least 20)" in text
    assert "slope +0.05 mm/s a day, significant" in text
    assert first["forecasts"][0]["likely"] == "2023-11-21T20:53:20.000Z"
    assert first["left_out"] == {"unfit": 2, "machine not running": 5}
    assert second["slope"] is None


def test_no_daemon_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("baseline", "forecast"):
        assert main([command, "--attach", f"unix:{tmp_path / 'none.sock'}"]) == 1
        assert "no daemon answers" in capsys.readouterr().err


def test_states_read_as_sentences() -> None:
    learning = replace(BASELINE, state="learning", count=3, baseline=None, note="", alert_follows=None)
    assert baseline.lines([learning]) == ["hp-pump-1/pump-de-h velocity r.m.s.: learning, 3 of 20 values"]
    retired = replace(BASELINE, state="retired", retired_by="ann", retired_at=0.0, retired_because="bearing replaced", sim=True)
    (line, _) = baseline.lines([retired])
    assert "by ann on 1970-01-01: bearing replaced" in line
    assert line.endswith("SIMULATED")
    approved = replace(BASELINE, state="approved", approved_by="ann", approved_at=0.0)
    assert "approved, 1.2 mm/s" in baseline.lines([approved])[0]
    assert "no baselines" in baseline.lines([])[0]
    assert forecast.lines([SILENT_OUTLOOK])[0].endswith("SIMULATED")
    assert "changed at 2023-11-03T08:26:40.000Z from 1.2 to 2.1" in forecast.lines([OUTLOOK])[0]
    shifted = replace(OUTLOOK, shift=ShiftView(1_699_000_000.0, 1.2, 2.1, 0.7, 20, 469.1))
    assert (
        "level has shifted since 2023-11-03T08:26:40.000Z by +0.9 mm/s (CUSUM chart, which errs once in about 469 values)"
        in forecast.lines([shifted])[0]
    )
