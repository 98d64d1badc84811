"""`edgemon rehearse` on a store that the product's own store wrote."""

import asyncio
import json
from pathlib import Path

import pytest

from edgemon.cli.main import main
from edgemon.model.ids import SensorId
from edgemon.model.level import Detector, Level, Measurement
from edgemon.model.machine import point_key
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.units import Quantity
from tests.settings.support import LIMIT, MACHINE, POINT, SITE

T = 1_760_000_000.0
PLANT = SITE + MACHINE + POINT + LIMIT + "alert = 2.8\nalarm = 4.5\non_delay = 1\noff_delay = 1\n"
WIDER = PLANT.replace("alert = 2.8", "alert = 3.5")
SENSOR = SensorId("s-0001")


@pytest.fixture
def config(tmp_path: Path) -> Path:
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "wider.toml").write_text(WIDER)
    (tmp_path / "gateway.toml").write_text('[store]\npath = "edgemon.sqlite"\n')

    async def fill() -> None:
        store = await SqliteStore.open(tmp_path / "edgemon.sqlite")
        key = point_key("hp-pump-1", "motor-de-h")
        values = [1.0, 3.0, 1.0, 3.0, 1.0, 4.0, 5.0, 1.0]
        levels = [Level("velocity_rms", value * 1e-3, Quantity.VELOCITY, Detector.RMS) for value in values]
        made = tuple(Measurement(key, T + 300 * n, T + 300 * n, (level,), rpm=2975.0) for n, level in enumerate(levels))
        await store.commit(Commit(recorded_at=T, measurements=made))
        await store.close()

    asyncio.run(fill())
    return tmp_path


def rehearse(config: Path, *more: str) -> int:
    return main(["rehearse", "--config", str(config), "--since", "2025-10-01", *more])


def test_both_sets_stand_side_by_side(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (config / "events.toml").write_text(
        '[[event]]\nmachine = "hp-pump-1"\nt = 2025-10-10T00:00:00Z\nname = "bearing changed"\n'
    )
    assert rehearse(config, "--candidate", str(config / "wider.toml"), "--events", str(config / "events.toml"), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    (point,) = found["points"]
    assert (point["before"]["alerts"], point["before"]["alarms"], point["before"]["again"]) == (3, 1, 2)
    assert (point["after"]["alerts"], point["after"]["alarms"], point["after"]["again"]) == (1, 1, 0)
    (change,) = found["changes"]
    assert (change["level"], change["alerts"], change["alarms"]) == ("velocity_rms", -2, 0)
    (known,) = found["known_events"]
    day = 1_760_054_400.0  # 2025-10-10T00:00:00Z by `date -u -d 2025-10-10 +%s`
    assert known["before"] == {"alert_s": day - (T + 300), "alarm_s": day - (T + 1800)}
    assert known["after"]["alert_s"] == day - (T + 1500)


def test_for_people_with_a_picture(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = config / "picture.png"
    assert rehearse(config, "--candidate", str(config / "wider.toml"), "--plot", str(picture)) == 0
    text = capsys.readouterr().out
    assert "hp-pump-1/motor-de-h" in text
    assert "alerts -2" in text
    assert "2.8/4.5 mm/s" in text
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_without_a_candidate_nothing_differs(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert rehearse(config) == 0
    assert "no limit differs" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (("--candidate", "nowhere.toml"), 2, "nowhere.toml"),
        (("--machine", "hp-pump-9"), 2, "no machine"),
        (("--sim",), 1, "no simulated measurement"),
        (("--plot", "picture.jpg"), 2, ".png or .svg"),
        (("--until", "2025-10-02"), 1, "no real measurement"),
    ],
)
def test_what_cannot_be_done_is_said(
    config: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], code: int, why: str
) -> None:
    assert rehearse(config, *arguments) == code
    assert why in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ('[[event]]\nmachine = "hp-pump-9"\nt = 2025-10-10T00:00:00Z\n', "event 1: the plant file has no machine"),
        ('[[event]]\nmachine = "hp-pump-1"\npoint = "x"\nt = 2025-10-10T00:00:00Z\n', "no point 'x'"),
        ('[[event]]\nmachine = "hp-pump-1"\nt = "noon"\n', "not a time"),
        ('[[event]]\nmachine = "hp-pump-1"\nwhen = 1\n', "unknown key when"),
        ("event = 1\n", "not a list of tables"),
        ("[[event\n", "cannot be read"),
    ],
)
def test_a_file_of_events_with_a_mistake_is_told_where(
    config: Path, capsys: pytest.CaptureFixture[str], text: str, why: str
) -> None:
    (config / "events.toml").write_text(text)
    assert rehearse(config, "--events", str(config / "events.toml")) == 2
    assert why in capsys.readouterr().err.replace(":\n", ": ")


def test_a_low_limit_beside_the_upper_one_is_tried_on_what_the_store_has_of_the_level(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    low = LIMIT + 'side = "below"\nalert = 1.0\non_delay = 1\noff_delay = 1\ndeadband = 0.1\n'
    (config / "both.toml").write_text(PLANT + low)
    assert rehearse(config, "--candidate", str(config / "both.toml"), "--json") == 0
    found = json.loads(capsys.readouterr().out)
    (change,) = found["changes"]
    assert (change["level"], change["before"], change["alerts"]) == ("velocity_rms_below", "none", 4)  # 1.0 comes four times
    assert found["points"][0]["after"]["alerts"] == found["points"][0]["before"]["alerts"] + 4
