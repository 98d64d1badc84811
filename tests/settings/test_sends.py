"""What a sensor sends reaches its points; limits on what a spectrum can never hold are warned of by line, once."""

from pathlib import Path

import pytest

from edgemon.model.sends import Sends
from tests.settings.support import MACHINE, SITE, found, line_of, loaded

CREST = '[[machine.limit]]\nlevel = "crest_factor"\nalarm = 6\n'
OWN = '[[machine.level]]\nname = "own_peak"\nquantity = "velocity"\ndetector = "peak"\nlow_hz = 10\nhigh_hz = 100\n'
ONE = '[[machine.point]]\nid = "de-h"\nsensor = "s-0004"\naxis = "x"\n'
POINTS = ONE + ONE.replace("de-h", "de-v").replace('"x"', '"y"')
PEAK = '[[machine.point.limit]]\nlevel = "own_peak"\nunit = "mm/s"\nalarm = 9\n'
WHOLE = SITE + MACHINE + CREST + OWN + POINTS + PEAK + '[[sensor]]\nid = "s-0004"\nsends = "spectrum"\n'


def test_limits_on_what_a_spectrum_does_not_hold_are_warned_of_once(tmp_path: Path) -> None:
    problems = found(tmp_path, WHOLE)
    assert [(one.line, one.is_error) for one in problems] == [
        (line_of(WHOLE, '"crest_factor"'), False),
        (line_of(WHOLE, 'level = "own_peak"'), False),
    ]
    assert all('sensor "s-0004" sends spectra' in str(one) for one in problems)
    plant, _ = loaded(tmp_path, WHOLE)
    assert {point.sends for point in plant.points.values()} == {Sends.SPECTRUM}


@pytest.mark.parametrize("sends", ["waveform", "levels"])
def test_other_sensors_may_deliver_them(tmp_path: Path, sends: str) -> None:
    assert found(tmp_path, WHOLE.replace('"spectrum"', f'"{sends}"')) == ()


def test_what_a_sensor_sends_is_one_of_three_words(tmp_path: Path) -> None:
    (problem,) = found(tmp_path, WHOLE.replace('"spectrum"', '"spectra"'))
    assert problem.line == line_of(WHOLE, "sends")
    assert problem.is_error
