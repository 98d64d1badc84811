"""Records of machines that stand: never a fault of the machine, and lines of the supply are told for what they are."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, Record
from edgemon.diagnosis.standing import standing
from edgemon.model.finding import Conclusion

FS, N = 6400.0, 16384
T = np.arange(N) / FS
NOISE = 1e-3 * np.random.default_rng(1).normal(size=N)


def hummed(*lines_hz: float) -> Record:
    wave = NOISE + sum(0.01 * np.sin(2.0 * np.pi * hz * T + hz) for hz in lines_hz)
    return Record(np.array([NOISE, wave]), FS, (Channel("quiet"), Channel("hums")))


# Common practice: lines at exact multiples of 50 or 60 Hz in a sensor on a stopped machine are interference
@pytest.mark.parametrize(
    ("lines_hz", "supply_hz", "told"),
    [
        ((50.0, 100.0, 150.0), 50.0, "50, 100, 150 Hz"),
        ((120.0,), 60.0, "120 Hz"),
        ((100.0, 137.0), 50.0, "100 Hz"),
        ((49.3, 98.6), 50.0, ""),  # a neighbour's shaft with slip
        ((99.4,), 50.0, ""),
        ((137.0,), 50.0, ""),
        ((1204.5,), 60.0, ""),  # far up every line lies near some multiple: 20 x 60 Hz
        ((2503.0,), 50.0, ""),
        ((), 50.0, ""),
        ((50.0,), None, ""),
    ],
)
def test_lines_of_the_supply_are_told_by_channel(lines_hz: tuple[float, ...], supply_hz: float | None, told: str) -> None:
    found = standing(hummed(*lines_hz), supply_hz)
    assert (found.verdict, found.findings) == (Conclusion.CANNOT_TELL, ())
    assert "stood" in found.remarks[0]
    assert len(found.remarks) == (2 if told else 1)
    if told:
        assert found.remarks[1].startswith(f"hums: lines at exactly {told} ")


@pytest.mark.parametrize("n", [0, 2, 511])
def test_a_record_of_nothing_is_answered_too(n: int) -> None:
    assert len(standing(Record(np.zeros((1, n)), FS, (Channel("a"),)), 50.0).remarks) == 1


def test_lines_too_far_apart_to_tell_the_supply_by_are_not_read() -> None:
    """512 samples at 6.4 kHz: lines of 12.5 Hz, so that one of 48 Hz would be as good as one of 50 Hz."""
    wave = np.sin(2.0 * np.pi * 48.0 * T[:512]) + NOISE[:512]
    assert len(standing(Record(wave[None], FS, (Channel("a"),)), 50.0).remarks) == 1
