"""Names to model values, units to SI. What is filled in where the plant file is silent stands here, each with its reason."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from edgemon.model.gateway import Access, Broker, Gateway, InputBorders, Protocol
from edgemon.model.ids import AreaId, MachineId, SensorId, SiteId
from edgemon.model.level import LEVEL_KINDS, Band, LevelKind
from edgemon.model.limit import Limit, Side, Zones
from edgemon.model.machine import (
    Area,
    Bearing,
    Belt,
    Criticality,
    GearPair,
    Learning,
    Machine,
    Plant,
    Point,
    Sensor,
    StandstillRule,
    Startup,
    Train,
    point_key,
)
from edgemon.model.secret import Secret
from edgemon.model.sends import Sends
from edgemon.settings import classes
from edgemon.settings.address import Address
from edgemon.settings.alarms import outputs_of, policy_of
from edgemon.settings.classes import SEVERITY_CLASSES, SeverityClass
from edgemon.settings.delays import off_delay, on_delay, said_by
from edgemon.settings.derived import derived_specs, is_difference, mask_specs, own_specs, shown_unit
from edgemon.settings.levels import kinds_with, level_specs
from edgemon.settings.responses import responses_of
from edgemon.settings.retention import retention_of
from edgemon.settings.schema import (
    AlarmsTable,
    AreaTable,
    BandTable,
    BaselineTable,
    BearingTable,
    DelaysTable,
    GatewayFile,
    LimitTable,
    MachineTable,
    PlantFile,
    PointTable,
    SensorTable,
    StartupTable,
    TrainTable,
)
from edgemon.settings.upstreams import upstreams_of
from edgemon.units import Quantity, interval_to_si, to_si, unit_name

CLASS_LEVEL = "velocity_rms"
"""The level that a severity class limits."""
CLASS_UNIT = "mm/s"
TEMPERATURE = "temperature"
DEADBAND_SHARE = 0.10
"""Deadband over the lowest limit set, where none is given. Common practice for values that come minutes apart, no source."""
DEADBAND_TEMPERATURE_K = 2.0
"""Deadband of a temperature, whose zero is no measure of its size. Common practice for bearings, no source."""
STALE_INTERVALS = 3.0
"""Intervals without a good measurement after which there is no data. Common practice, no source."""
STANDSTILL_SHARE = 0.05
"""Share of the nominal speed at and below which a machine counts as not running. Common practice, no source."""
UNNAMED = "gateway"
"""Id of a gateway that names none: it sends nothing upstream."""
DEFAULT_AREA = "plant"
"""Area of a machine that names none."""


def resolve_plant(file: PlantFile) -> Plant:
    """Make the plant of a file in which nothing is wrong."""
    used = [point.sensor for machine in file.machine for point in machine.point]
    sensors = {SensorId(table.id): _sensor(table) for table in file.sensor}
    for name in used:
        sensors.setdefault(SensorId(name), Sensor(SensorId(name)))
    for machine in file.machine:
        for point in machine.point:
            sensor = sensors[SensorId(point.sensor)]
            own = {spec.name: spec.quantity for spec in level_specs(machine, point)}
            sensors[sensor.id] = replace(sensor, levels={**own, **sensor.levels})
    machines = tuple(_machine(table, sensors, file) for table in file.machine)
    return Plant(
        site=SiteId(file.site.id),
        name=file.site.name or file.site.id,
        areas=_areas(file.area, machines),
        machines=machines,
        sensors=sensors,
        alarms=policy_of(file.alarms),
    )


def _areas(declared: Iterable[AreaTable], machines: Iterable[Machine]) -> tuple[Area, ...]:
    """Take the areas declared, in order, then those that machines name besides."""
    names = {AreaId(table.id): table.name or table.id for table in declared}
    for machine in machines:
        names.setdefault(machine.area, machine.area)
    return tuple(Area(id=key, name=name) for key, name in names.items())


def _sensor(table: SensorTable) -> Sensor:
    per_g = to_si(1.0, "g")
    sensitivity = table.sensitivity_mv_per_g
    return Sensor(
        id=SensorId(table.id),
        interval_s=table.interval_s,
        sensitivity_v_per_si=None if sensitivity is None else to_si(sensitivity, "mV") / per_g,
        range_si=None if table.range_g is None else to_si(table.range_g, "g"),
        clock=table.clock,
        sends=Sends(table.sends),
    )


def _machine(table: MachineTable, sensors: dict[SensorId, Sensor], file: PlantFile) -> Machine:
    return Machine(
        id=MachineId(table.id),
        name=table.name or table.id,
        area=AreaId(table.area or DEFAULT_AREA),
        points=tuple(_point(table, point, sensors[SensorId(point.sensor)], file) for point in table.point),
        kind=table.kind,
        rpm=table.rpm,
        fixed_speed=table.speed == "fixed",
        standstill_rpm=standstill_rpm(table),
        standstill=_standstill(table),
        severity_class=table.severity_class,
        criticality=Criticality(table.criticality),
        train=_train(table.train or TrainTable()),
        learning=_learning(table.baseline),
        startup=_startup(table.startup),
    )


def _learning(table: BaselineTable) -> Learning:
    return Learning(captures=table.captures, speed_tolerance=table.speed_tolerance)


def _startup(table: StartupTable | None) -> Startup:
    if table is None or table.factor is None or table.seconds is None:
        return Startup()
    return Startup(table.factor, table.seconds)


def _train(table: TrainTable) -> Train:
    belt = table.belt
    return Train(
        blades=table.blades,
        supply_hz=table.supply_hz,
        poles=table.poles,
        sleeve_bearings=table.sleeve_bearings,
        belt=None
        if belt is None or belt.sheave_mm is None or belt.length_mm is None
        else Belt(to_si(belt.sheave_mm, "mm"), to_si(belt.length_mm, "mm")),
        gears=tuple(
            GearPair(gear.teeth, gear.driven_teeth, gear.order)
            for gear in table.gear
            if gear.teeth is not None and gear.driven_teeth is not None
        ),
    )


def standstill_rpm(table: MachineTable) -> float | None:
    """Give the speed at and below which a machine does not run: as written, or a share of its nominal speed."""
    if table.standstill_rpm is not None or table.rpm is None:
        return table.standstill_rpm
    return table.rpm * STANDSTILL_SHARE


def _standstill(table: MachineTable) -> StandstillRule | None:
    rule = table.standstill
    if rule is None or rule.below is None:
        return None
    return StandstillRule(level=rule.level, below=to_si(rule.below, unit_of(rule.level, rule.unit)))


def _point(machine: MachineTable, table: PointTable, sensor: Sensor, file: PlantFile) -> Point:
    limits = limits_of(machine, table, file.alarms)
    return Point(
        key=point_key(machine.id, table.id),
        name=table.name or table.id,
        sensor=sensor.id,
        axis=table.axis,
        limits=limits,
        stale_after_s=sensor.interval_s * STALE_INTERVALS if table.stale_after_s is None else table.stale_after_s,
        band=_band(table.band) or class_band(machine.rpm),
        envelope_band=_band(table.envelope_band),
        separation=table.separation,
        bearing=_bearing(table.bearing),
        direction=table.direction,
        part=table.part,
        end=table.end,
        levels=level_specs(machine, table),
        responses=responses_of(file.response, machine, table, limits),
        masks=mask_specs(machine, table),
        derived=derived_specs(machine, table),
        sends=sensor.sends,
    )


def class_band(rpm: float | None) -> Band:
    """Give the band of velocity levels: 10-1000 Hz, and 2-1000 Hz for slow machines. Source: ISO 20816-3:2022."""
    return classes.LOW_SPEED_BAND if rpm is not None and rpm < classes.LOW_SPEED_RPM else classes.BAND


def _band(table: BandTable | None) -> Band | None:
    if table is None or table.low_hz is None or table.high_hz is None:
        return None
    return Band(table.low_hz, table.high_hz)


def _bearing(table: BearingTable | None) -> Bearing | None:
    if table is None or table.rolling_elements is None or table.ball_diameter_mm is None or table.pitch_diameter_mm is None:
        return None
    return Bearing(
        rolling_elements=table.rolling_elements,
        ball_diameter_m=to_si(table.ball_diameter_mm, "mm"),
        pitch_diameter_m=to_si(table.pitch_diameter_mm, "mm"),
        contact_angle_rad=math.radians(table.contact_angle_deg),
    )


def limits_of(machine: MachineTable, point: PointTable, alarms: AlarmsTable) -> tuple[Limit, ...]:
    """Give the limits of a point: its own, else its machine's, else those of the machine's severity class.

    A sensor has one temperature, whatever its axes: the machine's limit on it is watched at the sensor's first point only.
    """
    first = next((other for other in machine.point if other.sensor == point.sensor), point)
    row = SEVERITY_CLASSES.get(machine.severity_class)
    chosen = {CLASS_LEVEL: LimitTable(level=CLASS_LEVEL, unit=CLASS_UNIT)} if row is not None else {}
    chosen |= {limit.level: limit for limit in machine.limit if limit.level != TEMPERATURE or first is point}
    chosen |= {limit.level: limit for limit in point.limit}
    kinds = kinds_with(own_specs(machine, point))
    differences = {spec.name for spec in derived_specs(machine, point) if is_difference(spec)}
    tables = {level: shown_unit(table) if level in differences else table for level, table in chosen.items()}
    return tuple(
        _limit(tables[level], row, kind, said_by(tables[level], machine, alarms))
        for level, kind in kinds.items()
        if level in tables
    )


def figures(table: LimitTable, row: SeverityClass | None) -> tuple[float | None, float | None]:
    """Give alert and alarm in the house's unit: as written; what is not written is filled from the class, if it has it."""
    unit = unit_of(table.level, table.unit)
    alert = None if table.alert is None else to_si(table.alert, unit)
    alarm = None if table.alarm is None else to_si(table.alarm, unit)
    if not from_class(table, row) or row is None:
        return alert, alarm
    filled_alert = to_si(row.alert, CLASS_UNIT) if alert is None else alert
    return filled_alert, to_si(row.alarm, CLASS_UNIT) if alarm is None else alarm


def from_class(table: LimitTable, row: SeverityClass | None) -> bool:
    """Say whether what a limit leaves open is filled from the machine's severity class, whose limits are upper ones."""
    return row is not None and table.level == CLASS_LEVEL and table.side == "above"


def unit_of(level: str, unit: str) -> str:
    """Give the unit a value is written in; a ratio needs none."""
    return unit_name(unit or (LEVEL_KINDS[level].unit if level in LEVEL_KINDS else "1"))


def _limit(table: LimitTable, row: SeverityClass | None, kind: LevelKind, delays: Sequence[DelaysTable]) -> Limit:
    alert, alarm = figures(table, row)
    quantity = kind.quantity
    unit = unit_of(table.level, table.unit)
    deadband = default_deadband(quantity, alert, alarm) if table.deadband is None else interval_to_si(table.deadband, unit)
    return Limit(
        level=table.level,
        quantity=quantity,
        unit=unit,
        alert=alert,
        alarm=alarm,
        deadband=deadband,
        on_delay_alert=on_delay(delays, "alert"),
        on_delay_alarm=on_delay(delays, "alarm"),
        off_delay=off_delay(delays),
        latch_alert="alert" in table.latch,
        latch_alarm="alarm" in table.latch,
        origin=_origin(table, row) + _speeds(table),
        promote_alert=table.promote_alert,
        zones=_zones(table, row),
        low_rpm=table.low_rpm or 0.0,
        high_rpm=math.inf if table.high_rpm is None else table.high_rpm,
        max_shelve_s=table.max_shelve_s,
        side=Side(table.side),
    )


def _speeds(table: LimitTable) -> str:
    """Say between which speeds a limit is judged; empty where at all."""
    low, high = table.low_rpm, table.high_rpm
    if high is None:
        return "" if low is None else f", judged from {low:g} r/min"
    return f", judged up to {high:g} r/min" if low is None else f", judged from {low:g} to {high:g} r/min"


def _zones(table: LimitTable, row: SeverityClass | None) -> Zones | None:
    """Give the zone boundaries of the class where the alert is filled from it."""
    if row is None or not row.has_zones or not from_class(table, row) or table.alert is not None:
        return None
    return Zones(to_si(row.alert, CLASS_UNIT), to_si(row.alarm, CLASS_UNIT), row.edition)


def default_deadband(quantity: Quantity, alert: float | None, alarm: float | None) -> float:
    """Give the deadband used where none is written, in the house's unit."""
    if quantity is Quantity.TEMPERATURE:
        return DEADBAND_TEMPERATURE_K
    return DEADBAND_SHARE * min((abs(limit) for limit in (alert, alarm) if limit is not None), default=0.0)


def _origin(table: LimitTable, row: SeverityClass | None) -> str:
    """Say who set the limit: the plant file, the class, or one each."""
    if row is None or not from_class(table, row) or (table.alert is not None and table.alarm is not None):
        return "plant file"
    if table.alert is None and table.alarm is None:
        return row.origin
    filled = f"alarm: {row.edition}, {row.alarm_is}" if table.alarm is None else f"alert: {row.edition}, {row.alert_is}"
    return f"plant file; {filled}"


def resolve_gateway(
    file: GatewayFile,
    directory: Path,
    address: Address | None,
    password: Secret | None,
    client_id: str,
    passwords: Mapping[str, Secret] = MappingProxyType({}),
) -> Gateway:
    """Make the gateway's settings of a file in which nothing is wrong; `address` None stands for the embedded broker.

    `passwords` are those of the upstreams, by name.
    """
    table = file.broker
    broker = Broker(
        host=address.host if address else "",
        port=address.port if address else 0,
        protocol=Protocol(table.protocol),
        username=table.username,
        password=password,
        tls=address is not None and address.tls,
        ca_file=_under(directory, table.ca_file),
        certificate_file=_under(directory, table.certificate_file),
        key_file=_under(directory, table.key_file),
        client_id=table.client_id or client_id,
        keepalive_s=table.keepalive_s,
        session_expiry_s=table.session_expiry_s,
        queue=table.queue,
    )
    return Gateway(
        root=file.gateway.root,
        broker=broker,
        store=directory / file.store.path,
        ballast_bytes=file.store.ballast_mib << 20,
        access=Access(
            socket=directory / file.access.socket,
            operators=tuple(file.access.operators),
            engineers=tuple(file.access.engineers),
        ),
        simulated=file.gateway.simulated,
        borders=InputBorders(**file.input.model_dump()),
        outputs=outputs_of(file.annunciator, directory),
        health_port=file.health.port,
        retention=retention_of(file.retention),
        id=file.gateway.id or UNNAMED,
        upstreams=upstreams_of(file.upstream, directory, passwords),
    )


def _under(directory: Path, name: str | None) -> Path | None:
    """Read a path as relative to the config directory."""
    return None if name is None else directory / name
