"""The band of a level as a reader of a report sees it: that of the capture shown, else that of the plant file."""

from edgemon.model.derived import MaskSpec
from edgemon.model.level import Band, LevelSpec
from edgemon.model.sends import Sends
from edgemon.report.port import LevelMaterial, PointMaterial

SENT = ("velocity_rms", "velocity_peak", "displacement_pp")
"""Levels of the point's own band, whatever sort of message they come by."""


def band_words(point: PointMaterial, name: str) -> str:
    """Say in which band a level is measured; for a level of one's own what of, too, and for a mask what its ratio is of."""
    captured = point.capture.levels if point.capture is not None else ()
    band = next((level.band for level in captured if level.name == name), None)
    if band is not None:
        return str(band)
    specs: tuple[LevelSpec | MaskSpec, ...] = (*point.point.levels, *point.point.masks)
    own = next((one for one in specs if one.name == name), None)
    match own:
        case LevelSpec():
            return f"{'envelope' if own.of_envelope else own.quantity}, {_span(own)}"
        case MaskSpec():
            return f"worst ratio of a line to the mask, {'envelope' if own.envelope else own.quantity}, {own.span}"
    if name not in SENT:
        return ""
    return "band as the sensor has it" if point.point.sends is Sends.LEVELS else str(point.point.band)


def _span(spec: LevelSpec) -> str:
    return f"{spec.low:g}-{spec.high:g} x speed" if spec.in_orders else str(Band(spec.low, spec.high))


def waits_for_approval(point: PointMaterial, level: LevelMaterial) -> bool:
    """Say whether a level has no values because it is a learnt mask that nobody has approved."""
    spec = next((one for one in point.point.masks if one.name == level.name), None)
    approved = level.baseline is not None and level.baseline.state == "approved"
    return spec is not None and spec.is_learnt and not approved
