"""Which function looks for which fault; a new pattern is one line here and one function in the file of its family."""

from collections.abc import Callable

from edgemon.diagnosis.bearing import bearing_defects
from edgemon.diagnosis.drive import belt, blade_pass, electrical
from edgemon.diagnosis.gear import gear
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.mounting import mounting
from edgemon.diagnosis.noise import cavitation, lubrication, sensor
from edgemon.diagnosis.orientation import orientation
from edgemon.diagnosis.rotor import bent_shaft, looseness, misalignment, oil_whirl, resonance, rub, unbalance
from edgemon.model.finding import Finding

PATTERNS: dict[str, Callable[[Look], list[Finding]]] = {
    "sensor": sensor,
    "mounting": mounting,
    "orientation": orientation,
    "bearing-defects": bearing_defects,
    "unbalance": unbalance,
    "misalignment": misalignment,
    "bent-shaft": bent_shaft,
    "looseness": looseness,
    "resonance": resonance,
    "rub": rub,
    "oil-whirl": oil_whirl,
    "gear": gear,
    "blade-pass": blade_pass,
    "belt": belt,
    "electrical": electrical,
    "cavitation": cavitation,
    "lubrication": lubrication,
}
"""Pattern name to function: a look at a record to findings of any confidence."""

NEED_WAVEFORM = frozenset({"sensor", "orientation", "bearing-defects", "gear"})
"""Patterns that a spectrum alone cannot answer: they need the shape of the waveform, its mean or its envelope."""

NEED_SPEED = frozenset(
    {
        "unbalance",
        "misalignment",
        "bent-shaft",
        "looseness",
        "resonance",
        "rub",
        "oil-whirl",
        "gear",
        "blade-pass",
        "electrical",
    }
)
"""Patterns that are no surer than the shaft speed whose multiples they look at."""
