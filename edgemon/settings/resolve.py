"""Names to model values, units to SI. What is filled in where the plant file is silent stands here, each with its reason."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from edgemon.model.collection import Collection
from edgemon.model.derived import DerivedSpec, MaskSpec
from edgemon.model.gateway import Access, Broker, Gateway, InputBorders, Protocol
from edgemon.model.ids import AreaId, MachineId, SensorId, SiteId
from edgemon.model.level import COMPUTED, Band
from edgemon.model.machine import (
    Area,
    Bearing,
    Criticality,
    Learning,
    Machine,
    Mounting,
    Plant,
    Point,
    Sensor,
    StandstillRule,
    Startup,
    point_key,
)
from edgemon.model.secret import Secret
from edgemon.model.sends import Sends
from edgemon.settings import classes
from edgemon.settings.address import Address
from edgemon.settings.alarms import outputs_of, policy_of
from edgemon.settings.derived import derived_specs, mask_specs
from edgemon.settings.levels import level_specs
from edgemon.settings.limits import limits_of, unit_of
from edgemon.settings.responses import responses_of
from edgemon.settings.retention import retention_of
from edgemon.settings.schema import (
    AreaTable,
    BandTable,
    BaselineTable,
    BearingTable,
    GatewayFile,
    MachineTable,
    PlantFile,
    PointTable,
    SensorTable,
    StartupTable,
)
from edgemon.settings.train import TrainTable, train_of
from edgemon.settings.upstreams import upstreams_of
from edgemon.units import to_si

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
    for table in file.sensor:
        sensors[SensorId(table.id)] = replace(sensors[SensorId(table.id)], collects=_collection(table, file))
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


def _collection(table: SensorTable, file: PlantFile) -> Collection | None:
    """Give what is commanded of a sensor: axes that are not named are those that points watch."""
    if table.fs_hz is None or table.samples is None:
        return None
    watched = dict.fromkeys(point.axis for machine in file.machine for point in machine.point if point.sensor == table.id)
    return Collection(table.fs_hz, table.samples, tuple(table.axes) or tuple(watched), table.captures_per_percent)


def _sensor(table: SensorTable) -> Sensor:
    per_g = to_si(1.0, "g")
    sensitivity = table.sensitivity_mv_per_g
    return Sensor(
        id=SensorId(table.id),
        interval_s=table.interval_s,
        sensitivity_v_per_si=None if sensitivity is None else to_si(sensitivity, "mV") / per_g,
        range_si=None if table.range_g is None else to_si(table.range_g, "g"),
        noise_si=None if table.noise_ug_per_root_hz is None else to_si(1e-6 * table.noise_ug_per_root_hz, "g"),
        resonance_hz=table.resonance_hz,
        mounting=Mounting(table.mounting) if table.mounting else None,
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
        train=train_of(table.train or TrainTable()),
        learning=_learning(table.baseline),
        startup=_startup(table.startup),
    )


def _learning(table: BaselineTable) -> Learning:
    return Learning(captures=table.captures, speed_tolerance=table.speed_tolerance)


def _startup(table: StartupTable | None) -> Startup:
    if table is None or table.factor is None or table.seconds is None:
        return Startup()
    return Startup(table.factor, table.seconds)


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
    masks, derived = mask_specs(machine, table), derived_specs(machine, table)
    return Point(
        key=point_key(machine.id, table.id),
        name=table.name or table.id,
        sensor=sensor.id,
        axis=table.axis,
        limits=limits,
        stale_after_s=sensor.interval_s * STALE_INTERVALS if table.stale_after_s is None else table.stale_after_s,
        band=_band(table.band) or class_band(machine),
        envelope_band=_band(table.envelope_band),
        computes=_computes(machine, table, [limit.level for limit in limits], masks, derived),
        separation=table.separation,
        bearing=_bearing(table.bearing),
        direction=table.direction,
        part=table.part,
        end=table.end,
        levels=level_specs(machine, table),
        responses=responses_of(file.response, machine, table, limits),
        masks=masks,
        derived=derived,
        sends=sensor.sends,
    )


def _computes(
    machine: MachineTable, table: PointTable, limited: Iterable[str], masks: Iterable[MaskSpec], derived: Iterable[DerivedSpec]
) -> frozenset[str]:
    """Give the usual levels that are wanted, and those that something rests on: a limit must not fall silent."""
    wanted = machine.compute if table.compute is None else table.compute
    if wanted is None:
        return COMPUTED
    rests = [*limited, *(spec.base_level for spec in masks), *(spec.of.name for spec in derived)]
    if machine.standstill is not None:
        rests.append(machine.standstill.level)
    return COMPUTED & {*wanted, *rests}


def class_band(machine: MachineTable) -> Band:
    """Give the band of velocity levels: 10-1000 Hz, and 2-1000 Hz for slow machines unless their class says otherwise.

    Source: ISO 20816-3:2022; ISO 10816-21:2015 (10-1000 Hz for a rotor's few turns a minute, too; at second hand).
    """
    if machine.rpm is None or machine.rpm >= classes.LOW_SPEED_RPM:
        return classes.BAND
    row = classes.SEVERITY_CLASSES.get(machine.severity_class)
    return classes.LOW_SPEED_BAND if row is None else row.slow_band


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
        outer_turns=table.outer_turns,
    )


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
