"""`[alarms]` and `[[annunciator]]`: what they come to, and what an engineer would doubt."""

from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.engine.memory import setting_of
from edgemon.model.annunciation import Output, OutputKind
from edgemon.model.limit import Delay, Severity
from edgemon.model.machine import Criticality
from edgemon.settings.load import load_all, problems
from tests.support.daemon import gateway_toml, plant_toml

URL = "mqtt://127.0.0.1:1883"


def write(folder: Path, plant: str = "", gateway: str = "") -> Path:
    (folder / "plant.toml").write_text(plant_toml(1) + plant)
    (folder / "gateway.toml").write_text(gateway_toml(URL) + gateway)
    return folder


def said(folder: Path) -> str:
    return "\n".join(str(problem) for problem in problems(folder))


def test_a_class_goes_before_the_site_and_a_limit_before_both(tmp_path: Path) -> None:
    more = "[alarms]\nmax_shelve_s = { alert = 7200, alarm = 1800 }\nrealarm_s = 14400\nalert_needs_ack = false\n"
    more += "[alarms.critical]\nmax_shelve_s = { alarm = 600 }\nrealarm_s = 0\n"
    plant, gateway = load_all(write(tmp_path, more))
    rules = next(iter(setting_of(plant, gateway).rules.values()))
    assert (rules.shelf_s("velocity_rms", Severity.ALERT), rules.shelf_s("velocity_rms", Severity.ALARM)) == (7200.0, 600.0)
    assert (rules.realarm_s, rules.alert_needs_ack) == (None, False)
    general = replace(plant.machines[0], criticality=Criticality.GENERAL)
    others = next(iter(setting_of(replace(plant, machines=(general,)), gateway).rules.values()))
    assert (others.shelf_s("velocity_rms", Severity.ALARM), others.realarm_s) == (1800.0, 14400.0)
    limit = replace(rules.point.limits[0], max_shelve_s=0.0)
    own = replace(rules, point=replace(rules.point, limits=(limit,)))
    assert own.shelf_s("velocity_rms", Severity.ALERT) == 0.0
    assert own.shelf_s("monitoring", Severity.ALERT) == 7200.0


def test_delays_that_a_limit_leaves_open_are_its_classs_then_the_sites(tmp_path: Path) -> None:
    bare = plant_toml(1).replace("on_delay = 1\noff_delay = 1\n", "")

    def delays(plant_text: str) -> tuple[Delay, Delay, Delay]:
        (write(tmp_path) / "plant.toml").write_text(plant_text)
        limit = load_all(tmp_path)[0].machines[0].points[0].limits[0]
        return limit.on_delay_alert, limit.on_delay_alarm, limit.off_delay

    site = "[alarms]\noff_delay_s = 60\non_delay = 3\n"
    assert delays(bare) == (Delay(2), Delay(2), Delay(2))
    assert delays(bare + site) == (Delay(3), Delay(3), Delay(seconds=60.0))
    assert delays(f"{bare}{site}[alarms.critical]\non_delay_s = {{ alarm = 5 }}\n") == (
        Delay(3),
        Delay(seconds=5.0),
        Delay(seconds=60.0),
    )
    assert delays(f"{bare}{site}[alarms.critical]\noff_delay = 4\n")[2] == Delay(4)
    assert delays(f"{bare}{site}[alarms.general]\noff_delay = 4\n")[2] == Delay(seconds=60.0)
    assert delays(plant_toml(1) + site) == (Delay(1), Delay(1), Delay(1))


def test_the_gateways_own_alarm_has_a_delay(tmp_path: Path) -> None:
    assert load_all(write(tmp_path))[0].alarms.gateway_delay_s == 60.0
    assert load_all(write(tmp_path, "[alarms]\ngateway_delay_s = 15\n"))[0].alarms.gateway_delay_s == 15.0


def test_when_a_silent_gateway_is_taken_to_be_deaf(tmp_path: Path) -> None:
    usual = load_all(write(tmp_path))[0].alarms
    assert (usual.gateway_sensors, usual.gateway_chance) == (3, 1e-6)
    text = "[alarms]\ngateway_sensors = 5\ngateway_chance = 0.001\n"
    alarms = load_all(write(tmp_path, text))[0].alarms
    assert (alarms.gateway_sensors, alarms.gateway_chance) == (5, 0.001)


def test_without_a_table_everything_is_as_usual(tmp_path: Path) -> None:
    plant, gateway = load_all(write(tmp_path))
    rules = next(iter(setting_of(plant, gateway).rules.values()))
    assert (rules.shelf_s("velocity_rms", Severity.ALARM), rules.realarm_s, rules.alert_needs_ack) == (28800.0, None, True)
    assert (plant.alarms.silence_s, plant.alarms.ringback_s, gateway.outputs) == (30.0, 0.0, ())


DOUBTS = [
    ("[alarms]\nmax_shelve_s = -1\n", "alarms.max_shelve_s: must not be below zero"),
    ("[alarms]\nmax_shelve_s = 100000\n", "outlast every shift"),
    ("[alarms]\nmax_shelve_s = { alert = 60, alarm = 600 }\n", "are the two swapped?"),
    ('[alarms]\nmax_shelve_s = "8h"\n', "must be a number, or a table { alert = ..., alarm = ... }"),
    ("[alarms.critical]\nrealarm_s = 30\n", "alarms.critical.realarm_s: whatever stands calls again every 30 s"),
    ("[alarms]\nsilence_s = 0\n", "alarms.silence_s: what was silenced stays silent"),
    ("[alarms]\nsilence_s = 3600\n", "alarms.silence_s: an alarm may be silent for 3600 s"),
    ("[alarms]\nringback_s = -1\n", "alarms.ringback_s: must not be below zero"),
    ("[alarms]\ngateway_delay_s = -1\n", "alarms.gateway_delay_s: must not be below zero"),
    ("[alarms]\ngateway_delay_s = 3600\n", "alarms.gateway_delay_s: the gateway may hear nothing for 3600 s"),
    ("[alarms]\ngateway_sensors = -1\n", "alarms.gateway_sensors: must not be below zero"),
    ("[alarms]\ngateway_sensors = 0\n", "alarms.gateway_sensors: a gateway that hears nothing over a link that is up"),
    ("[alarms]\ngateway_sensors = 1\n", "alarms.gateway_sensors: one silent sensor is taken for a gateway"),
    ("[alarms]\ngateway_chance = 0\n", "alarms.gateway_chance: must be above 0 and at most 0.01"),
    ("[alarms]\ngateway_chance = 0.5\n", "alarms.gateway_chance: must be above 0 and at most 0.01"),
    ("[alarms.general]\noff_delay = 1.5\n", "alarms.general.off_delay: must be a whole number of readings"),
    ("[alarms]\non_delay = 2\non_delay_s = 5\n", "alarms.on_delay_s: both on_delay and on_delay_s are given"),
    ("[alarms]\nsilenc_s = 1\n", 'did you mean "silence_s"?'),
]


@pytest.mark.parametrize(("text", "doubt"), DOUBTS)
def test_doubts_about_the_alarms(tmp_path: Path, text: str, doubt: str) -> None:
    assert doubt in said(write(tmp_path, text))


OUTPUT_DOUBTS = [
    ('command = ["/bin/true"]\n', "annunciator[#1].name: is missing, or no identifier"),
    ('name = "horn"\n', "takes either command or topic"),
    ('name = "horn"\ncommand = ["/bin/true"]\ntopic = "a"\n', "takes either command or topic"),
    ('name = "horn"\ncommand = []\n', "names no program"),
    ('name = "horn"\ncommand = ["./no-such-horn"]\n', "warning: annunciator[horn].command: there is no program"),
    ('name = "horn"\ntopic = "machine/horn"\n', '"machine" is used by the gateway itself'),
    ('name = "horn"\ntopic = "a/#"\n', "cannot be a topic"),
    ('name = "horn"\ncommand = ["/bin/true"]\ntimeout_s = 0\n', "must be 0.1 to 60"),
    ('name = "horn"\ntopic = "a"\n[[annunciator]]\nname = "horn"\ntopic = "b"\n', '"horn" is there twice'),
    ('name = "horn"\ncommand = "horn --loud"\n', "must be a list"),
]


@pytest.mark.parametrize(("text", "doubt"), OUTPUT_DOUBTS)
def test_doubts_about_the_outputs(tmp_path: Path, text: str, doubt: str) -> None:
    assert doubt in said(write(tmp_path, gateway="[[annunciator]]\n" + text))


def test_a_program_with_a_path_is_looked_for_from_the_config_directory(tmp_path: Path) -> None:
    horn = tmp_path / "horn"
    horn.write_text("#!/bin/sh\n")
    horn.chmod(0o755)
    both = '[[annunciator]]\nname = "horn"\ncommand = ["./horn", "--loud"]\n[[annunciator]]\nname = "beacon"\ntopic = "a/b"\n'
    folder = write(tmp_path, gateway=both)
    assert "annunciator" not in said(folder)
    _, gateway = load_all(folder)
    assert gateway.outputs == (
        Output("horn", OutputKind.COMMAND, (str(horn), "--loud")),
        Output("beacon", OutputKind.MQTT, topic="a/b"),
    )
