"""Bands beyond what a sensor's resonance leaves right, by line; 0.3015 of the resonance reads a tenth high (closed form)."""

from pathlib import Path

import pytest

from edgemon.model.ids import SensorId
from edgemon.model.machine import Mounting
from tests.settings.support import PLANT, found, line_of, loaded, only

OWN = '[[machine.level]]\nname = "mesh"\nquantity = "acceleration"\nlow_hz = 2000\nhigh_hz = 5000\n'
ORDERS = '[[machine.level]]\nname = "blades"\nquantity = "velocity"\nlow_order = 20\nhigh_order = 100\n'
ENVELOPE = '[[machine.level]]\nname = "knocks"\nquantity = "envelope"\nlow_hz = 20\nhigh_hz = 5000\n'


def with_resonance(hz: float, own: str = "") -> str:
    return PLANT.replace("[[machine.point]]", own + "[[machine.point]]") + f'[[sensor]]\nid = "s-0001"\nresonance_hz = {hz:g}\n'


# 1000 Hz / 0.30151 = 3317 Hz, 5000 Hz / 0.30151 = 16583 Hz; 100 orders of 2975 r/min = 4958.3 Hz: 16445 Hz (recomputed)
@pytest.mark.parametrize(
    ("own", "hz", "beyond"),
    [
        ("", 3330.0, ""),
        ("", 3300.0, "velocity to 1000 Hz"),
        (OWN, 16600.0, ""),
        (OWN, 16500.0, "mesh to 5000 Hz"),
        (ORDERS, 16460.0, ""),
        (ORDERS, 16430.0, "blades to 4958.33 Hz"),
        (ENVELOPE, 8000.0, ""),  # an envelope is taken where something rings
    ],
)
def test_bands_beyond_the_reach_are_named(own: str, hz: float, beyond: str, tmp_path: Path) -> None:
    text = with_resonance(hz, own)
    problems = found(tmp_path, text)
    if not beyond:
        assert not problems
        return
    problem = only(problems)
    assert not problem.is_error
    assert beyond in str(problem)
    assert problem.line == line_of(text, "resonance_hz =")


MAGNET = PLANT + '[[sensor]]\nid = "s-0001"\nmounting = "magnet"\n'
PEAK = '[[machine.limit]]\nlevel = "acceleration_peak"\nunit = "m/s2"\nalarm = 50\n'
KNOCKS = '[[machine.limit]]\nlevel = "envelope_rms"\nunit = "m/s2"\nalarm = 50\n'


def limited(limit: str, more: str = "", band: str = "") -> str:
    text = MAGNET.replace("[[machine.point]]", limit + "[[machine.point]]") + more
    return text.replace('axis = "x"\n', f'axis = "x"\n{band}')


# a magnet's 7000 Hz leave 0.30151 of them, 2111 Hz; a hand's 1000 Hz 302 Hz (recomputed)
@pytest.mark.parametrize(
    ("text", "beyond"),
    [
        (MAGNET, ""),
        (MAGNET.replace("magnet", "stud"), ""),
        (MAGNET.replace("magnet", "probe"), "up to 302 Hz within 10 %; beyond that reach: velocity to 1000 Hz"),
        (MAGNET + "resonance_hz = 3000\n", "at 3000 Hz (as the plant file says)"),
        (limited(PEAK), ""),  # where the record ends is not known
        (limited(PEAK, "fs_hz = 4000\nsamples = 4096\n"), ""),
        (limited(PEAK, "fs_hz = 25600\nsamples = 4096\n"), "acceleration_peak to 12800 Hz"),
        (limited(KNOCKS, "fs_hz = 25600\nsamples = 4096\n"), "envelope_rms to 10000 Hz"),
        (limited(KNOCKS, band="envelope_band = { low_hz = 1000, high_hz = 2000 }\n"), ""),
        (limited(KNOCKS, band="envelope_band = { low_hz = 1000, high_hz = 4000 }\n"), "envelope_rms to 4000 Hz"),
    ],
)
def test_a_mounting_has_its_typical_resonance(text: str, beyond: str, tmp_path: Path) -> None:
    problems = found(tmp_path, text)
    if not beyond:
        assert not problems
        return
    problem = only(problems)
    assert not problem.is_error
    assert beyond in str(problem)
    assert problem.field.endswith("resonance_hz" if "resonance_hz" in text else "mounting")


def test_a_mounting_is_kept(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, MAGNET)
    assert plant.sensors[SensorId("s-0001")].mounting is Mounting.MAGNET


def test_a_mounting_that_is_none_is_refused(tmp_path: Path) -> None:
    problem = only(found(tmp_path, MAGNET.replace("magnet", "tape")))
    assert problem.is_error
    assert "stud" in str(problem)


@pytest.mark.parametrize("key", ["resonance_hz", "noise_ug_per_root_hz"])
def test_figures_below_zero_are_refused(key: str, tmp_path: Path) -> None:
    problem = only(found(tmp_path, PLANT + f'[[sensor]]\nid = "s-0001"\n{key} = -1\n'))
    assert problem.is_error
    assert key in str(problem)


def test_noise_is_kept_in_si(tmp_path: Path) -> None:
    # 100 millionths of standard gravity per root hertz (3rd CGPM, 1901)
    plant, _ = loaded(tmp_path, PLANT + '[[sensor]]\nid = "s-0001"\nnoise_ug_per_root_hz = 100\n')
    assert plant.sensors[SensorId("s-0001")].noise_si == pytest.approx(9.80665e-4)
