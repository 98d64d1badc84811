"""`edgemon rehearse` with the limits that approved baselines lead to, and with a proposal as if it were approved."""

import asyncio
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edgemon.cli.main import main
from edgemon.engine.baselines import in_force
from edgemon.engine.memory import setting_of
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineState
from edgemon.model.event import Event
from edgemon.model.ids import SensorId
from edgemon.model.level import Detector, Level, Measurement
from edgemon.model.machine import point_key
from edgemon.settings.load import load_all
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.units import Quantity
from tests.settings.support import MACHINE, POINT, SITE

T = 1_760_000_000.0
KEY = point_key("hp-pump-1", "motor-de-h")
SENSOR = SensorId("s-0001")
ONCE = '[[machine.point.limit]]\nlevel = "velocity_rms"\nunit = "mm/s"\non_delay = 1\noff_delay = 1\n'
CHANGE = '[[machine.point.derived]]\nname = "v_change"\nof = "velocity_rms"\nrule = "change"\n'
OFF = '[[machine.point.limit]]\nlevel = "v_change"\nunit = "mm/s"\nalert = 0.6\non_delay = 1\noff_delay = 1\n'
PLANT = SITE + MACHINE + POINT + ONCE
VALUES = [1.2, 2.0, 1.2, 2.0, 1.2, 0.5, 1.2]
"""mm/s. The class's alert is 2.8 (ISO 10816-3:2009 group 2, rigid: B/C); a baseline of 1.2 makes it 1.2 + 25 % of 2.8 = 1.9."""
BASELINE = Baseline(
    KEY, "velocity_rms", Quantity.VELOCITY, 20, T - 9000.0, T - 100.0, 1.2e-3, 1.2e-3, 5e-5, None, None, T - 50.0
)
APPROVED = replace(BASELINE, state=BaselineState.APPROVED, approved_by="E. Marsh", approved_at=T - 40.0)


def filled(config: Path, event: Event, plant: str = PLANT) -> Path:
    (config / "plant.toml").write_text(plant)
    (config / "gateway.toml").write_text('[store]\npath = "edgemon.sqlite"\n')

    async def fill() -> None:
        store = await SqliteStore.open(config / "edgemon.sqlite")
        levels = [Level("velocity_rms", value * 1e-3, Quantity.VELOCITY, Detector.RMS) for value in VALUES]
        made = tuple(Measurement(KEY, T + 300 * n, T + 300 * n, (level,), rpm=2975.0) for n, level in enumerate(levels))
        await store.commit(Commit(recorded_at=T, measurements=made, events=(event,)))
        await store.close()

    asyncio.run(fill())
    return config


def rehearsed(config: Path, capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    assert main(["rehearse", "--config", str(config), "--since", "2025-10-01", "--json", *more]) == 0, capsys.readouterr().err
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def counts(found: dict[str, Any]) -> tuple[int, int]:
    (point,) = found["points"]
    return point["before"]["alerts"], point["after"]["alerts"]


def test_an_approved_baseline_is_in_force_for_both(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = filled(tmp_path, BaselineApproved(T, APPROVED, "mm/s", 1.9e-3, "", "E. Marsh", "desk", "as after overhaul"))
    found = rehearsed(config, capsys)
    assert counts(found) == (2, 2)
    assert found["baselines"] == {"approved": ["hp-pump-1/motor-de-h/velocity_rms"], "approving": []}
    setting = in_force(setting_of(*load_all(config)), {(KEY, "velocity_rms", False): APPROVED})
    limit = setting.plant.points[KEY].limit_of("velocity_rms")
    assert limit is not None
    assert limit.alert == pytest.approx(1.9e-3)  # what the path itself holds the values against


def test_a_written_alert_in_the_candidate_goes_before_the_baseline(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = filled(tmp_path, BaselineApproved(T, APPROVED, "mm/s", 1.9e-3, "", "E. Marsh", "desk", "as after overhaul"))
    (config / "written.toml").write_text(PLANT + "alert = 2.5\n")
    found = rehearsed(config, capsys, "--candidate", str(config / "written.toml"))
    assert counts(found) == (2, 0)
    assert found["changes"][0]["before"].startswith("1.9/4.5 mm/s")


def test_a_proposal_is_tried_as_if_approved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = filled(tmp_path, BaselineProposed(T, BASELINE, "mm/s", 1.9e-3, ""))
    assert counts(rehearsed(config, capsys)) == (0, 0)  # nothing rests on a proposal
    found = rehearsed(config, capsys, "--approve", "hp-pump-1/motor-de-h/velocity_rms")
    assert counts(found) == (0, 2)
    assert found["baselines"]["approving"] == ["hp-pump-1/motor-de-h/velocity_rms"]
    (change,) = found["changes"]
    assert (change["alerts"], change["before"][:12], change["after"][:12]) == (2, "2.8/4.5 mm/s", "1.9/4.5 mm/s")


def test_a_change_from_a_proposed_baseline_is_made_of_the_stored_level(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant = PLANT + "alert = 3\nalarm = 4.5\n" + CHANGE + OFF
    config = filled(tmp_path, BaselineProposed(T, BASELINE, "mm/s"), plant)
    found = rehearsed(config, capsys, "--approve", "hp-pump-1/motor-de-h/velocity_rms")
    assert counts(found) == (0, 3)  # 0.8 above twice, 0.7 below once; the store never had a value of v_change
    assert found["changes"] == []  # no limit moved: what it is held against did


@pytest.mark.parametrize(
    ("event", "which", "why"),
    [
        (BaselineProposed(T, BASELINE, "mm/s"), "hp-pump-1/motor-de-h/kurtosis", "no baseline is proposed"),
        (BaselineProposed(T, BASELINE, "mm/s"), "hp-pump-1/nowhere/velocity_rms", "no such point"),
        (BaselineProposed(T, BASELINE, "mm/s"), "hp-pump-1", "no such point"),
        (BaselineApproved(T, APPROVED, "mm/s"), "hp-pump-1/motor-de-h/velocity_rms", "approved already"),
        (
            BaselineProposed(T, replace(BASELINE, level="v_mask", mask=(1.0, 2.0)), "1"),
            "hp-pump-1/motor-de-h/v_mask",
            "is not in the store",
        ),
    ],
)
def test_what_cannot_be_approved_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], event: Event, which: str, why: str
) -> None:
    mask = '[[machine.point.mask]]\nname = "v_mask"\nquantity = "velocity"\nunit = "mm/s"\nfloor = 0.1\n'
    config = filled(tmp_path, event, PLANT + mask + "low_hz = 10\nhigh_hz = 1000\nline_hz = 2.5\n")
    assert main(["rehearse", "--config", str(config), "--since", "2025-10-01", "--approve", which]) == 2
    said = capsys.readouterr().err
    assert why in said
    assert "--approve" in said


def test_where_no_limit_follows_it_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = filled(tmp_path, BaselineProposed(T, BASELINE, "mm/s"), PLANT + "alert = 2.8\nalarm = 4.5\n")
    which = ("--approve", "hp-pump-1/motor-de-h/velocity_rms")
    assert main(["rehearse", "--config", str(config), "--since", "2025-10-01", *which]) == 2
    assert "the alert limit comes from: plant file" in capsys.readouterr().err
