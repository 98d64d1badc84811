"""Both files read from a directory: the contract's example means what it says, and no text at all is a crash."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from edgemon.errors import SettingsError
from edgemon.model.gateway import InputBorders, Protocol
from edgemon.model.ids import MachineId, SensorId
from edgemon.model.level import Band
from edgemon.model.limit import Delay
from edgemon.model.machine import point_key
from edgemon.settings import schema
from edgemon.settings.load import default_client_id, fingerprint, load_all, problems
from tests.settings.support import PLANT, found, loaded, only, write

# The message contract's own example, section 5, word for word.
CONTRACT_PLANT = """\
[site]
id = "saltmarsh"
name = "Saltmarsh Desalination Works"

[[machine]]
id = "hp-pump-1"
name = "High-pressure pump 1"
area = "ro-hall"
severity_class = "iso20816-3/group2/rigid"   # fills alert = B/C, alarm = C/D
rpm = 2975

  [[machine.point]]
  id = "motor-de-h"
  sensor = "s-0001"
  axis = "x"
  bearing = { rolling_elements = 9, ball_diameter_mm = 7.94, pitch_diameter_mm = 39.04, contact_angle_deg = 0 }

    [[machine.point.limit]]
    level = "velocity_rms"
    unit = "mm/s"
    alert = 2.8
    alarm = 4.5
    deadband = 0.1            # same unit
    on_delay = 2              # consecutive readings beyond the limit; or on_delay_s, in seconds
    off_delay = 1             # likewise off_delay_s
"""
CONTRACT_GATEWAY = """\
[broker]
url = "mqtt://127.0.0.1:1883"    # mqtts:// for TLS; leave out for the embedded one

[store]
path = "state/edgemon.sqlite"    # relative to the config directory
"""
DEMO = Path(__file__).parents[2] / "config" / "saltmarsh"


@pytest.mark.parametrize(
    ("file", "text", "field", "other"),
    [
        ("gateway.toml", "[alarms]\ngateway_chance = 1e-6\n", "alarms", "plant.toml"),
        ("plant.toml", "[broker]\n", "broker", "gateway.toml"),
    ],
)
def test_a_table_in_the_wrong_file_is_told_where_it_belongs(
    file: str, text: str, field: str, other: str, tmp_path: Path
) -> None:
    for name in ("plant.toml", "gateway.toml"):
        (tmp_path / name).write_text(text if name == file else "")
    (told,) = [one for one in problems(tmp_path) if one.field == field]
    assert (told.line, told.what) == (1, "does not stand in this file")
    assert told.hint.endswith(other)


def test_the_example_of_the_contract_has_nothing_doubtful_and_means_what_it_says(tmp_path: Path) -> None:
    assert found(tmp_path, CONTRACT_PLANT, CONTRACT_GATEWAY) == ()
    plant, gateway = load_all(tmp_path)
    assert (plant.site, plant.name) == ("saltmarsh", "Saltmarsh Desalination Works")
    machine = plant.machine_of[MachineId("hp-pump-1")]
    assert (machine.name, machine.area, machine.rpm) == ("High-pressure pump 1", "ro-hall", 2975.0)
    assert [area.id for area in plant.areas] == ["ro-hall"]
    point = plant.points[point_key("hp-pump-1", "motor-de-h")]
    assert (point.sensor, point.axis, point.band) == ("s-0001", "x", Band(10.0, 1000.0))
    limit = point.limit_of("velocity_rms")
    assert limit is not None
    assert limit.alert == pytest.approx(0.0028)
    assert limit.alarm == pytest.approx(0.0045)
    assert limit.deadband == pytest.approx(0.0001)
    assert (limit.on_delay_alert, limit.on_delay_alarm, limit.off_delay) == (Delay(2), Delay(2), Delay(1))
    assert (limit.unit, limit.origin) == ("mm/s", "plant file")
    bearing = point.bearing
    assert bearing is not None
    assert (bearing.rolling_elements, bearing.contact_angle_rad) == (9, 0.0)
    assert math.isclose(bearing.ball_diameter_m, 0.00794)
    assert math.isclose(bearing.pitch_diameter_m, 0.03904)
    assert (gateway.root, gateway.broker.host, gateway.broker.port, gateway.broker.tls) == (
        "edgemon/v1",
        "127.0.0.1",
        1883,
        False,
    )
    assert gateway.store == tmp_path.resolve() / "state" / "edgemon.sqlite"


def test_an_empty_gateway_file_means_the_embedded_broker_and_every_default(tmp_path: Path) -> None:
    _, gateway = loaded(tmp_path)
    broker = gateway.broker
    assert broker.is_embedded
    assert (broker.host, broker.port, broker.tls, broker.password) == ("", 0, False, None)
    assert (broker.protocol, broker.keepalive_s, broker.session_expiry_s, broker.queue) == (Protocol.V5, 20, 604_800, 512)
    assert gateway.borders == InputBorders()
    home = tmp_path.resolve() / "state"
    assert (gateway.store, gateway.access.socket) == (home / "edgemon.sqlite", home / "edgemon.sock")
    assert broker.client_id.startswith("edgemon-saltmarsh")


def test_every_key_of_the_gateway_arrives(tmp_path: Path) -> None:
    for name in ("pw", "ca.pem", "c.pem", "k.pem"):
        (tmp_path / name).write_text("sésame \n", "utf-8")
        (tmp_path / name).chmod(0o600)
    text = """\
[gateway]
root = "plant/north"
simulated = true
[broker]
url = "mqtts://broker.plant"
username = "gw"
password_file = "pw"
ca_file = "ca.pem"
certificate_file = "c.pem"
key_file = "k.pem"
client_id = "gw-1"
protocol = "3.1.1"
keepalive_s = 30
session_expiry_s = 3600
queue = 9
[store]
path = "/tmp/x.sqlite"
[access]
socket = "/tmp/x.sock"
operators = ["root"]
engineers = ["root"]
[input]
samples = 10
part_wait_s = 1.5
"""
    _, gateway = loaded(tmp_path, gateway=text)
    broker = gateway.broker
    home = tmp_path.resolve()
    assert (broker.host, broker.port, broker.tls, broker.protocol) == ("broker.plant", 8883, True, Protocol.V311)
    assert (broker.username, broker.password, broker.client_id) == ("gw", "sésame ", "gw-1")
    assert "sésame" not in repr(gateway)
    assert (broker.ca_file, broker.certificate_file, broker.key_file) == (home / "ca.pem", home / "c.pem", home / "k.pem")
    assert (broker.keepalive_s, broker.session_expiry_s, broker.queue) == (30, 3600, 9)
    assert (gateway.root, gateway.store, gateway.access.socket) == ("plant/north", Path("/tmp/x.sqlite"), Path("/tmp/x.sock"))
    assert (gateway.access.operators, gateway.access.engineers) == (("root",), ("root",))
    assert gateway.simulated
    assert gateway.borders == replace(InputBorders(), samples=10, part_wait_s=1.5)


def test_all_errors_are_in_the_one_exception(tmp_path: Path) -> None:
    write(tmp_path, PLANT.replace("2975", "0"), "[broker]\nqueue = 0\nsession_expiry_s = 0\n")
    with pytest.raises(SettingsError) as caught:
        load_all(tmp_path)
    text = str(caught.value)
    assert "2 problems" in text
    assert f"{tmp_path / 'plant.toml'}:7: machine[hp-pump-1].rpm: must be above zero" in text
    assert f"{tmp_path / 'gateway.toml'}:2: broker.queue: must be 1 to 65535" in text
    assert "warning" not in text.split("edgemon check")[0]


def test_a_warning_stops_nothing(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, PLANT + '[[sensor]]\nid = "s-0001"\n[[sensor]]\nid = "s-0002"\n')
    assert set(plant.sensors) == {SensorId("s-0001"), SensorId("s-0002")}


def test_a_directory_or_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no such directory"):
        load_all(tmp_path / "gone")
    write(tmp_path)
    with pytest.raises(SettingsError, match="not a directory"):
        problems(tmp_path / "plant.toml")
    (tmp_path / "gateway.toml").unlink()
    problem = only(problems(tmp_path))
    assert problem.file.endswith("gateway.toml")
    assert "no such file" in problem.what


@pytest.mark.parametrize(
    ("content", "line", "what"),
    [
        (b"[site]\nid = 'a'\nname = \n", 3, "invalid value"),
        (b"[site]\nid = 'a'\nid = 'b'\n", 3, "cannot overwrite"),
        (b"[site]\n\nid = 'a\n", 3, "expected"),
        (b"[site]\nid = 'a'\n[[machine", 3, "expected"),
        (b"[site]\nid = 'a\xff'\n", 2, "not UTF-8"),
        (b"x = " + b"[" * 5000, 1, "not TOML"),
        (b"x = " + b"9" * 5000, 1, "not TOML"),
    ],
)
def test_what_is_not_toml_is_told_with_file_and_line_and_the_other_file_is_checked(
    content: bytes, line: int, what: str, tmp_path: Path
) -> None:
    write(tmp_path, gateway="[broker]\nqueue = 0\n")
    (tmp_path / "plant.toml").write_bytes(content)
    first, second = problems(tmp_path)
    assert (Path(first.file).name, first.line) == ("plant.toml", line)
    assert what in first.what
    assert second.field == "broker.queue"


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    write(tmp_path)
    (tmp_path / "plant.toml").write_bytes(b"\xef\xbb\xbf" + PLANT.encode())
    assert problems(tmp_path) == ()


_VALUES = st.sampled_from(
    [
        "1",
        "-1",
        "0",
        "1e400",
        "nan",
        "true",
        '"x"',
        "''",
        "[]",
        "[1]",
        "{}",
        "{ a = 1 }",
        "[{}]",
        "2020-01-01",
        '"mm/s"',
        "12:00:00",
    ]
)
_KEYS = st.sampled_from(
    [
        "id",
        "name",
        "area",
        "kind",
        "severity_class",
        "rpm",
        "standstill_rpm",
        "standstill",
        "criticality",
        "power_kw",
        "sensor",
        "axis",
        "direction",
        "bearing",
        "band",
        "envelope_band",
        "stale_after_s",
        "level",
        "unit",
        "alert",
        "alarm",
        "deadband",
        "on_delay",
        "on_delay_s",
        "off_delay",
        "off_delay_s",
        "latch",
        "rolling_elements",
        "interval_s",
        "range_g",
        "url",
        "port",
        "path",
        "socket",
        "operators",
        "username",
        "password_file",
        "root",
        "samples",
        "queue",
        "zzz",
        "limit",
        "point",
        "machine",
    ]
)
_HEADERS = st.sampled_from(
    [
        "[site]",
        "[[site]]",
        "[machine]",
        "[[machine]]",
        "[[machine.point]]",
        "[machine.point]",
        "[[machine.limit]]",
        "[[machine.point.limit]]",
        "[sensor]",
        "[[sensor]]",
        "[[area]]",
        "[broker]",
        "[[broker]]",
        "[store]",
        "[access]",
        "[input]",
        "[gateway]",
        "[other]",
        "[machine.point.bearing]",
    ]
)
_PAIRS = st.dictionaries(_KEYS, _VALUES, max_size=5).map(
    lambda pairs: "".join(f"{key} = {value}\n" for key, value in pairs.items())
)
_TABLES = st.lists(st.tuples(_HEADERS, _PAIRS), max_size=6).map(
    lambda tables: "".join(f"{head}\n{pairs}" for head, pairs in tables)
)
_TEXTS = st.one_of(_TABLES, st.text("[]{}=.,\"'#\n ab1é\\", max_size=60), st.text(max_size=40))


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(_TEXTS, _TEXTS)
def test_no_text_raises_anything_but_a_settings_error(tmp_path: Path, plant: str, gateway: str) -> None:
    (tmp_path / "plant.toml").write_bytes(plant.encode("utf-8", "surrogatepass"))
    (tmp_path / "gateway.toml").write_bytes(gateway.encode("utf-8", "surrogatepass"))
    listed = problems(tmp_path)
    assert all(problem.line >= 1 and problem.what for problem in listed)
    try:
        load_all(tmp_path)
    except SettingsError:
        assert any(problem.is_error for problem in listed)
    else:
        assert not any(problem.is_error for problem in listed)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.tuples(st.integers(0, 24), _KEYS, _VALUES), min_size=1, max_size=4))
def test_no_line_added_to_a_good_file_raises_anything_but_a_settings_error(
    tmp_path: Path, added: list[tuple[int, str, str]]
) -> None:
    lines = CONTRACT_PLANT.splitlines()
    for at, key, value in added:
        lines.insert(at, f"{key} = {value}")
    write(tmp_path, "\n".join(lines), CONTRACT_GATEWAY)
    errors = [problem for problem in problems(tmp_path) if problem.is_error]
    assert all(problem.file == str(tmp_path / "plant.toml") for problem in errors)
    if errors:
        with pytest.raises(SettingsError):
            load_all(tmp_path)
    else:
        load_all(tmp_path)


def test_the_fingerprint_changes_with_the_settings_and_not_with_the_password(tmp_path: Path) -> None:
    plant, gateway = loaded(tmp_path)
    same = fingerprint(*loaded(tmp_path, PLANT + "# a comment\n"))
    assert fingerprint(plant, gateway) == same
    assert len(same) == 12
    assert int(same, 16) >= 0
    assert fingerprint(*loaded(tmp_path, PLANT.replace("2975", "2970"))) != same
    assert fingerprint(*loaded(tmp_path, PLANT, "[broker]\nqueue = 5\n")) != same
    prints = set()
    for password in ("one", "two"):
        (tmp_path / "pw").write_text(password)
        gateway_text = '[broker]\nurl = "mqtts://h"\nusername = "u"\npassword_file = "pw"\n'
        loaded_plant, loaded_gateway = loaded(tmp_path, PLANT, gateway_text)
        assert loaded_gateway.broker.password == password
        prints.add(fingerprint(loaded_plant, loaded_gateway))
    assert len(prints) == 1


def test_the_client_id_is_the_same_at_every_start() -> None:
    assert default_client_id("saltmarsh") == default_client_id("saltmarsh")
    assert default_client_id("saltmarsh") != default_client_id("other")


def test_the_demonstration_plant_has_nothing_doubtful_in_it() -> None:
    assert problems(DEMO) == ()
    plant, gateway = load_all(DEMO)
    assert (len(plant.machines), len(plant.sensors)) == (26, 43)
    assert [area.name for area in plant.areas] == ["Intake", "RO hall", "Product water", "Utilities"]
    assert gateway.broker.is_embedded
    assert all(len(machine.name) <= 22 for machine in plant.machines)
    assert all(point.limit_of("velocity_rms") for point in plant.points.values())
    assert all(any(point.limit_of("temperature") for point in points) for points in plant.points_of_sensor.values())
    assert all(machine.standstill_rpm == pytest.approx(0.05 * (machine.rpm or 0.0)) for machine in plant.machines)


_TABLES_OF_A_FILE = [
    ("gateway.toml", schema.GatewayTable, schema.BrokerTable, schema.StoreTable, schema.AccessTable, schema.InputTable),
    (
        "plant.toml",
        schema.SiteTable,
        schema.AreaTable,
        schema.MachineTable,
        schema.PointTable,
        schema.LimitTable,
        schema.SensorTable,
    ),
    ("plant.toml", schema.BandTable, schema.BearingTable, schema.StandstillTable, schema.BaselineTable),
    ("plant.toml", schema.MaskTable, schema.DerivedTable, schema.StartupTable, schema.AlarmsTable),
    ("gateway.toml", schema.AnnunciatorTable),
]


@pytest.mark.parametrize(("name", "table"), [(name, table) for name, *tables in _TABLES_OF_A_FILE for table in tables])
def test_the_demonstration_explains_every_key(name: str, table: type[BaseModel]) -> None:
    text = (DEMO / name).read_text("utf-8")
    comments = " ".join(line.partition("#")[2] for line in text.splitlines())
    written = text if name == "gateway.toml" else comments
    assert [key for key in table.model_fields if not re.search(rf"\b{key}\b", written)] == []


def test_the_defaults_told_for_the_gateway_are_those_that_hold(tmp_path: Path) -> None:
    _, told = load_all(DEMO)
    _, silent = loaded(tmp_path)
    assert told.borders == silent.borders
    assert told.broker == silent.broker
    assert (told.root, told.access.operators, told.access.engineers) == (silent.root, (), ())
    assert told.simulated is silent.simulated is False
    assert (told.store.relative_to(DEMO.resolve()), silent.store.relative_to(tmp_path.resolve())) == (
        Path("state/edgemon.sqlite"),
    ) * 2
