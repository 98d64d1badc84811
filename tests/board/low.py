"""A machine that must shake: one point of the invented plant with a low limit, above it, near it and under it."""

from dataclasses import replace

from edgemon.model.limit import Side, ratio
from edgemon.model.snapshot import LevelView, MachineView, Snapshot, TrendPoint, worst_view
from tests.support import sites

ALERT, ALARM = 6.0, 4.0


def level(value: float, alert: float | None = ALERT, alarm: float | None = ALARM, unit: str = "mm/s") -> LevelView:
    one = sites.level("velocity_rms", value, None, None, unit)
    state = "alarm" if alarm is not None and value <= alarm else "alert" if alert is not None and value <= alert else "normal"
    return replace(one, alert=alert, alarm=alarm, state=state, side=Side.BELOW, origin="plant file")


def machine(value: float) -> MachineView:
    whole = sites.machine(3)
    shown = level(value)
    point = replace(whole.points[0], levels=(shown, *whole.points[0].levels[1:]), state=shown.state, alarms=())
    if shown.state != "normal":
        point = replace(point, alarms=(sites.alarm(whole, point, shown, side=Side.BELOW),))
    near = ratio(value, ALERT, ALARM, Side.BELOW) or 0.0
    calls = shown.state == "alarm"
    return replace(whole, points=(point,), state=shown.state, worst=worst_view(point.point, shown, near), unacknowledged=calls)


def snapshot(value: float) -> Snapshot:
    return sites.snapshot([machine(value)])


PAST = tuple(TrendPoint(sites.NOW - 900.0 + 3.0 * k, 9.0 - k * 0.02, True) for k in range(300))
"""From 9 mm/s down to 3."""
