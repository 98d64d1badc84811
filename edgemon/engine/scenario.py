"""Scenarios about levels that follow from their samples, fed through the code that feeds the daemon's judgement; pure."""

from dataclasses import replace

import numpy as np

from edgemon.alarms import scenario as stage
from edgemon.alarms.rules import Rules
from edgemon.alarms.scenario import Feed, Outcome
from edgemon.alarms.scenario_file import Sample, Scenario
from edgemon.alarms.scenario_subject import OTHER, Subject
from edgemon.analysis.masks import judged
from edgemon.engine.follow import TEMPERATURE, follow
from edgemon.errors import ParameterError
from edgemon.model.alarm import PointState
from edgemon.model.derived import MaskSpec
from edgemon.model.level import Detector, Level, Measurement
from edgemon.units import Quantity, to_si


def play(scenario: Scenario) -> Outcome:
    """Play one scenario of any kind of limit and compare; see `alarms.scenario.play`."""
    return stage.play(scenario, _feed_of(scenario.subject))


def _feed_of(subject: Subject) -> Feed:
    def fed(rules: Rules, state: PointState, sample: Sample, measurement: Measurement) -> tuple[PointState, Measurement]:
        if subject.mask is not None:
            return state, replace(measurement, levels=(_masked(subject.mask, subject.unit, sample, measurement.rpm),))
        return follow(rules, state, measurement, {(OTHER, False): _other(subject, sample)})

    return fed


def _other(subject: Subject, sample: Sample) -> PointState:
    """Give the other point as it is known when a sample comes: its newest temperature until then."""
    known = [one for one in subject.reference if one[0] <= sample.arrival]
    if not known:
        return PointState(OTHER)
    at, value = known[-1]
    return PointState(
        OTHER, levels=(Level(TEMPERATURE, value, Quantity.TEMPERATURE, Detector.VALUE),), level_at={TEMPERATURE: at}
    )


def _masked(mask: MaskSpec, unit: str, sample: Sample, rpm: float | None) -> Level:
    """Judge a spectrum given by its lines: one line of the mask's grid each, their mean squares summed within a line."""
    power = np.zeros(round(mask.high / mask.width) + 2)
    for hz, amplitude in sample.lines:
        share = 1.0 if mask.detector is Detector.RMS else 0.5  # mean square of a sine of that peak
        power[round(hz / mask.width)] += share * to_si(amplitude, unit) ** 2
    found = judged((power, mask.width), mask.high + mask.width, mask, 1.0, rpm)
    if isinstance(found, str):
        raise ParameterError(f"the mask cannot judge: {found}", "mask", "lines within its band")
    return found
