"""Snapshots of the Saltmarsh Desalination Works for board tests and benches; everything in them is invented."""

import math
from collections.abc import Sequence
from dataclasses import replace

from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.model.instant import Instant, parse_instant
from edgemon.model.response import Response
from edgemon.model.snapshot import (
    AlarmView,
    AreaView,
    DiagnosisView,
    GatewayView,
    LevelView,
    LinkView,
    MachineView,
    NoteView,
    PointView,
    SensorView,
    Snapshot,
    WorstView,
)

NOW: Instant = parse_instant("2026-03-02T06:30:00Z")

AREAS = (
    AreaView("intake", "Intake"),
    AreaView("ro-hall", "RO hall"),
    AreaView("product", "Product water"),
    AreaView("utilities", "Utilities"),
)

# id, name, area, kind, rpm, alert and alarm of velocity in mm/s, value over alert, points: (point, sensor, axis)
_VERTICAL = (("motor-nde-h", "x"), ("motor-nde-v", "y"))
_PAIR = (("motor-de-h", "x"), ("pump-de-h", "x"))
_ONE = (("motor-de-h", "x"),)
_FIVE = (("motor-de-h", "x"), ("motor-de-v", "y"), ("pump-de-h", "x"), ("pump-de-v", "y"), ("pump-de-a", "z"))

_TABLE: tuple[tuple[str, str, str, str, float, float, float, float, tuple[tuple[str, str], ...]], ...] = (
    ("intake-pump-1", "Intake pump 1", "intake", "vertical pump", 990, 4.2, 6.0, 0.41, _VERTICAL),
    ("intake-pump-2", "Intake pump 2", "intake", "vertical pump", 990, 4.2, 6.0, 0.91, _VERTICAL),
    ("intake-pump-3", "Intake pump 3", "intake", "vertical pump", 0, 4.2, 6.0, 0.02, _VERTICAL),
    ("screen-1", "Band screen 1", "intake", "screen drive", 1450, 2.8, 4.5, 0.33, _ONE),
    ("screen-2", "Band screen 2", "intake", "screen drive", 1450, 2.8, 4.5, 0.28, _ONE),
    ("dosing-blower-1", "Air blower 1", "intake", "blower", 2950, 2.8, 4.5, 0.52, (("motor-de-h", "x"), ("blower-de-h", "x"))),
    ("hp-pump-1", "High-pressure pump 1", "ro-hall", "high-pressure pump", 2975, 2.8, 4.5, 0.47, _FIVE),
    ("hp-pump-2", "High-pressure pump 2", "ro-hall", "high-pressure pump", 2975, 2.8, 4.5, 0.44, _FIVE),
    ("hp-pump-3", "High-pressure pump 3", "ro-hall", "high-pressure pump", 2975, 2.8, 4.5, 1.21, _FIVE),
    ("hp-pump-4", "High-pressure pump 4", "ro-hall", "high-pressure pump", 2975, 2.8, 4.5, 0.39, _FIVE),
    ("booster-1", "Booster pump 1", "ro-hall", "booster pump", 2960, 3.5, 5.1, 0.36, _PAIR),
    ("booster-2", "Booster pump 2", "ro-hall", "booster pump", 2960, 3.5, 5.1, 0.42, _PAIR),
    ("booster-3", "Booster pump 3", "ro-hall", "booster pump", 2960, 3.5, 5.1, 1.97, _PAIR),
    ("cip-pump", "Cleaning pump", "ro-hall", "pump", 0, 3.5, 5.1, 0.01, _ONE),
    ("product-pump-1", "Product pump 1", "product", "pump", 1485, 2.5, 4.0, 0.55, _PAIR),
    ("product-pump-2", "Product pump 2", "product", "pump", 1485, 2.5, 4.0, 0.48, _PAIR),
    ("product-pump-3", "Product pump 3", "product", "pump", 1485, 2.5, 4.0, 0.61, _PAIR),
    ("lime-mixer", "Lime mixer", "product", "gear motor", 1450, 4.5, 7.1, 0.30, _ONE),
    ("remin-blower", "Aeration blower", "product", "blower", 2950, 2.8, 4.5, 0.58, (("motor-de-h", "x"), ("blower-de-h", "x"))),
    ("brine-pump", "Brine pump", "product", "pump", 1480, 3.5, 5.1, math.nan, _ONE),
    (
        "tower-fan-1",
        "Cooling-tower fan 1",
        "utilities",
        "fan with gearbox",
        1480,
        4.5,
        7.1,
        0.45,
        (("motor-de-h", "x"), ("gearbox-in-h", "x")),
    ),
    (
        "tower-fan-2",
        "Cooling-tower fan 2",
        "utilities",
        "fan with gearbox",
        1480,
        4.5,
        7.1,
        0.49,
        (("motor-de-h", "x"), ("gearbox-in-h", "x")),
    ),
    (
        "compressor",
        "Air compressor",
        "utilities",
        "screw compressor",
        2970,
        2.8,
        4.5,
        0.57,
        (("motor-de-h", "x"), ("screw-de-h", "x")),
    ),
    (
        "vent-1",
        "Hall ventilator 1",
        "utilities",
        "belt-driven ventilator",
        1460,
        6.3,
        11.8,
        0.35,
        (("motor-de-h", "x"), ("fan-de-h", "x")),
    ),
    (
        "vent-2",
        "Hall ventilator 2",
        "utilities",
        "belt-driven ventilator",
        1460,
        6.3,
        11.8,
        0.38,
        (("motor-de-h", "x"), ("fan-de-h", "x")),
    ),
    ("chiller-pump", "Chiller pump", "utilities", "pump", 2900, 3.5, 5.1, 0.34, _ONE),
)
_CRITICAL = frozenset({"hp-pump-1", "hp-pump-2", "hp-pump-3", "hp-pump-4"})
_ORIGIN = "ISO 20816-3 group 2, rigid: zone boundaries B/C and C/D"

RESPONSE = Response(
    "A fault that has grown: unbalance, misalignment, looseness, a bearing far gone.",
    "Damage to bearings, seals and foundation; an outage without warning.",
    "Look and listen from a safe distance; start the spare and stop this one by its procedure; call maintenance.",
    "The other points of the machine, bearing temperature, motor current.",
    1800.0,
)

NOTES = (
    NoteView(
        NOW - 95.0,
        "A morning at Saltmarsh",
        "Most machines run well. High-pressure pump 3 is in alert and booster pump 3 in alarm"
        " from the start; intake pump 3 and the cleaning pump stand still; the brine pump's sensor is never heard.",
        "",
    ),
    NoteView(
        NOW - 40.0,
        "A bearing begins to wear",
        "The outer race of the drive-end bearing of high-pressure pump 2 gets a small"
        " defect that grows: expect an alert on its envelope level first, an alarm later.",
        "hp-pump-2",
    ),
)


_DIAGNOSIS = DiagnosisView(
    NOW - 70.0,
    "fault",
    (
        Finding(
            Fault.LOOSENESS,
            0.78,
            "pump-de-h",
            (Evidence("Eleven harmonics of the shaft speed stand out, the second 1.3 times as high as the first."),),
            "harmonics of the shaft speed",
            "invented for the board's tests",
            (Fault.MISALIGNMENT,),
            (),
        ),
    ),
    (),
    "",
)


def level(
    name: str, value: float, alert: float | None, alarm: float | None, unit: str = "mm/s", at: Instant = NOW
) -> LevelView:
    """Build one level; its state follows from value and limits."""
    titles = {"velocity_rms": "velocity r.m.s.", "temperature": "temperature", "envelope_rms": "envelope r.m.s."}
    state = "alarm" if alarm is not None and value > alarm else "alert" if alert is not None and value > alert else "normal"
    origin = {"velocity_rms": _ORIGIN, "temperature": "plant file", "envelope_rms": "plant file"}.get(name, "plant file")
    band = {"velocity_rms": "10-1000 Hz", "envelope_rms": "500-10000 Hz"}.get(name, "")
    return LevelView(name, titles.get(name, name), value, unit, state, alert, alarm, at, origin if alert or alarm else "", band)


def alarm(machine: MachineView, point: PointView, level_: LevelView, **changes: object) -> AlarmView:
    """Build the alarm record of a level that is beyond a limit."""
    severe = level_.state == "alarm"
    view = AlarmView(
        f"{machine.id}/{point.point}/{level_.name}",
        machine.id,
        machine.name,
        point.point,
        point.name,
        machine.area,
        level_.name,
        level_.title,
        level_.state,
        "UNACK",
        1,
        NOW - 75.0,
        NOW - 75.0,
        "high" if severe else "low",
        severe,
        level_.value,
        level_.alarm if severe else level_.alert,
        level_.unit,
        level_.origin,
        machine.sim,
        max_shelve_s=28_800.0,
        response=RESPONSE if severe else None,
    )
    return replace(view, **changes)  # type: ignore[arg-type]


def machine(row: int, sim: bool = False, now: Instant = NOW) -> MachineView:
    """Build the machine of one row of the plant's table, with the alarms its values call for."""
    id_, name, area, kind, rpm, alert, alarm_, share, places = _TABLE[row]
    silent = math.isnan(share)
    running = rpm > 0
    bare = MachineView(
        id_,
        name,
        area,
        kind,
        "critical" if id_ in _CRITICAL else "normal",
        rpm if not silent else None,
        "normal",
        "good",
        (),
        None,
        None,
        False,
        (),
        sim,
        (),
    )
    points = tuple(_point(bare, row, number, place, now) for number, place in enumerate(places))
    states = [point.state for point in points]
    state = next((state for state in ("alarm", "alert", "unknown", "not-running") if state in states), "normal")
    trend = () if silent else tuple(share * alert / alarm_ * (0.94 + 0.06 * math.sin(0.7 * k + row)) for k in range(60))
    lead = points[-1] if len(points) > 1 else points[0]
    velocity = next((one for one in lead.levels if one.name == "velocity_rms"), None)
    worst = None
    if velocity is not None and running:
        ratio = velocity.value / alarm_
        worst = WorstView(lead.point, velocity.name, velocity.title, velocity.value, velocity.unit, alert, alarm_, ratio)
    calls = any(one.annunciates and one.alarm_state == "UNACK" for point in points for one in point.alarms)
    quality, reasons = ("stale", ("waiting-for-first-data",)) if silent else ("good", ())
    t = None if silent else now - 3.0 - row % 4
    return replace(
        bare, state=state, quality=quality, reasons=reasons, t=t, worst=worst, unacknowledged=calls, trend=trend, points=points
    )


def _point(machine_: MachineView, row: int, number: int, place: tuple[str, str], now: Instant) -> PointView:
    _, _, _, _, rpm, alert, alarm_, share, places = _TABLE[row]
    point, axis = place
    lead = number == len(places) - 1
    silent = math.isnan(share)
    direction = {"x": "horizontal", "y": "vertical", "z": "axial"}[axis]
    value = share * alert * (1.0 if lead else 0.8)
    levels: tuple[LevelView, ...] = ()
    if not silent:
        levels = (level("velocity_rms", value, alert, alarm_), level("envelope_rms", 1.1 + 0.1 * (row % 7), 5.0, 10.0, "m/s2"))
        if point.startswith("motor"):
            levels = (*levels, level("temperature", 48.0 + row, 80.0, 95.0, "Cel"))
    worst = max((one.state for one in levels), key=("normal", "alert", "alarm").index, default="unknown")
    state = "not-running" if not rpm and worst == "normal" else worst
    quality, reasons = ("stale", ("waiting-for-first-data",)) if silent else ("good", ())
    sensor = f"s-{row * 2 + (number >= 2) + 1:04d}"
    view = PointView(
        machine_.id,
        point,
        point,
        sensor,
        axis,
        direction,
        state,
        quality,
        reasons,
        None if silent else now - 3.0,
        levels,
        (),
        None if silent else "c-17",
        float(rpm),
        20.0,
        machine_.sim,
        (),
    )
    alarms = tuple(alarm(machine_, view, one) for one in levels if one.state != "normal" and lead)
    if state == "not-running":
        alarms = tuple(alarm(machine_, view, one, alarm_state="DSUPR", severity="normal", annunciates=True) for one in levels)
    return replace(view, alarms=alarms, diagnosis=_DIAGNOSIS if machine_.id == "booster-3" and lead else None)


def gateway(now: Instant = NOW, **changes: object) -> GatewayView:
    """Build the gateway, all well."""
    view = GatewayView(
        site="saltmarsh",
        site_name="Saltmarsh Desalination Works",
        version="0.1.0",
        started_at=NOW - 95.0,
        now=now,
        links=(LinkView("broker", True, "connected to 127.0.0.1:1883"),),
        messages=812,
        captures=640,
        readings=172,
        rejected=0,
        repeats=0,
        late=0,
        events=31,
        queue=0,
        open_captures=0,
        store_bytes=9_400_000,
        store_ok=True,
        store_detail="",
        notes=NOTES,
    )
    return replace(view, **changes)  # type: ignore[arg-type]


def sensor(machine_: MachineView, id_: str, now: Instant = NOW) -> SensorView:
    """Build the health of a sensor of a machine."""
    silent = machine_.t is None
    return SensorView(
        id_,
        machine_.id,
        None if silent else 93.0,
        None if silent else -61.0,
        None if silent else 41.0,
        None if silent else now - 3.0,
        0 if silent else 31,
        0,
        0,
        0,
    )


def snapshot(
    machines: Sequence[MachineView] | None = None, now: Instant = NOW, sim: bool = True, **changes: object
) -> Snapshot:
    """Build the whole plant; or any machines."""
    shown = tuple(machines) if machines is not None else tuple(machine(row, sim) for row in range(len(_TABLE)))
    known = {point.sensor: one for one in shown for point in one.points}
    sensors = tuple(sensor(one, id_) for id_, one in known.items())
    return Snapshot(gateway(now, **changes), AREAS, shown, sensors)


def many(count: int) -> tuple[MachineView, ...]:
    """Build a larger plant by repeating the machines under other names."""
    made = []
    for number in range(count):
        one = machine(number % len(_TABLE))
        made.append(replace(one, id=f"{one.id}-{number}", name=f"{one.name[:18]} {number}"[:22]))
    return tuple(made)
