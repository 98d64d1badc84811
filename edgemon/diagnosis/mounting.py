"""Has a sensor come loose? A mounting that is less stiff than it was has a lower resonance, which the machine's noise shows."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache, partial

from edgemon.analysis.mounting import LooseFit, Rows, first_hz, last_hz, loose_fit, noise_bands
from edgemon.diagnosis.look import Look, soft
from edgemon.diagnosis.record import Record
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.units import Quantity

LOWEST_HZ = 20.0
"""Below it a sensor's own low-frequency noise has its say."""
LIKE_SPEED = 0.1
"""Share that the speed may differ from the baseline's; noise goes with it. Common practice, no source."""
MOST = 0.9
"""Most confidence: noise above a resonance can fall for another reason, too."""
EXPLAINED = 0.85
"""Part of the change, in squared dB, that a mass on a spring must make for it to be as likely as not. House choice: pairs of
open recordings of other faults, loads and ages reach 0.70 with all else alike, a simulated loose mounting 0.9 (measured)."""
FALL_DB = 7.0
"""Fall of the noise above the resonance. Source: 6 dB, common practice, and a decibel for the scatter of a record."""
RISE_DB = 4.0
"""Rise at the resonance: what tells it from a machine that has become quieter. House choice."""
UNCHANGED_DB = 3.5
"""Below the resonance the noise may differ by so much. House choice."""
RULE = (
    "against the baseline, the noise between the lines has risen at one frequency, fallen above it as behind a mass on a "
    "spring, and stayed below it"
)
SOURCE = (
    "ISO 5348:2021 (a less stiff mounting has a lower resonance; at second hand); mass on a spring: closed form; thresholds: "
    "common practice, no source"
)


def mounting(look: Look) -> list[Finding]:
    """Compare the noise of each channel with its baseline; nothing where there is none at like speed."""
    if look.record.quantity is not Quantity.ACCELERATION:
        return []
    found = [one for channel in range(len(look.record.channels)) for one in _of(look, channel)]
    return sorted(found, key=lambda one: -one.confidence)[:1]


def _of(look: Look, channel: int) -> Iterator[Finding]:
    name = look.record.channels[channel].name
    alike = [then for then in look.before if _alike(look, then, name)]
    noise = cache(partial(_noise, look, channel))  # in the bands that record and baseline share: mostly the same for all
    fits = [fit for then in alike if (fit := _fit(noise, look.record, then, name)) is not None]
    ranked = sorted(fits, key=confidence, reverse=True)
    if len(ranked) <= len(alike) // 2:
        return
    middle = ranked[len(alike) // 2]  # most of the baseline's records must say so
    if confidence(middle) <= 0.02:
        return
    text = (
        f"noise against {len(alike)} records of the baseline: {middle.rise_db:+.1f} dB near {middle.resonance_hz:.0f} Hz, "
        f"{middle.fall_db:+.1f} dB in the median of {middle.above} bands above, {middle.below_db:+.1f} dB below; a mass on a "
        f"spring explains {100.0 * explained(middle):.0f} % of the change"
    )
    note = Evidence(text, frequency_hz=middle.resonance_hz, amplitude=middle.fall_db, unit="dB")
    made = look.finding(Fault.SENSOR, confidence(middle), channel, (note,), "mounting loose")
    yield replace(made, rule=RULE, source=SOURCE)


def _fit(noise: Callable[[float, float], tuple[Rows, Rows]], record: Record, then: Look, name: str) -> LooseFit | None:
    low = max(LOWEST_HZ, first_hz(record.line_hz), first_hz(then.record.line_hz))
    high = min(last_hz(record.fs_hz), last_hz(then.record.fs_hz))
    centres, now = noise(low, high)
    _, before = _noise(then, then.channel_of(name), low, high)
    return loose_fit(centres, now - before)


def _alike(look: Look, then: Look, name: str) -> bool:
    """Say whether a record of the baseline has the channel, and was taken at like speed."""
    if name not in [one.name for one in then.record.channels] or then.record.quantity is not look.record.quantity:
        return False
    one, other = look.facts.speed_hz, then.facts.speed_hz
    return (one is None) == (other is None) and (one is None or other is None or abs(one / other - 1.0) <= LIKE_SPEED)


def _noise(look: Look, channel: int, low_hz: float, high_hz: float) -> tuple[Rows, Rows]:
    power = (look.velocity[channel] * look.frequencies) ** 2
    return noise_bands(power, look.record.line_hz, low_hz, high_hz)


def explained(fit: LooseFit) -> float:
    """Give the part of a change, in squared dB, that the mass on a spring makes."""
    return 1.0 - (fit.left_db / max(fit.whole_db, 1e-9)) ** 2


def confidence(fit: LooseFit) -> float:
    """Say how sure a change is a mounting's: it must fit, rise, fall, and leave what is below."""
    shape = soft(explained(fit), EXPLAINED, 0.03) * soft(-fit.fall_db, FALL_DB, 0.7) * soft(fit.rise_db, RISE_DB, 0.7)
    return MOST * shape * soft(UNCHANGED_DB - abs(fit.below_db), 0.0, 0.5)
