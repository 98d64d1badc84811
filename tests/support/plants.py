"""Small plants for tests of the path, in our own scenario."""

from pathlib import Path

from edgemon.model.gateway import Access, Broker, Gateway, InputBorders
from edgemon.model.ids import AreaId, MachineId, PointId, PointKey, SensorId, SiteId
from edgemon.model.limit import Delay, Limit
from edgemon.model.machine import Area, Criticality, Machine, Plant, Point, Sensor
from edgemon.units import Quantity

PUMP = MachineId("hp-pump-1")
DRIVE_END = PointKey(PUMP, PointId("pump-de-h"))
AXIAL = PointKey(PUMP, PointId("pump-de-a"))
SENSOR = SensorId("s-0001")


def velocity_limit(alert: float = 2.8e-3, alarm: float = 4.5e-3, readings: int = 1) -> Limit:
    """ISO 20816-3 group 2 rigid, B/C and C/D, with a delay that tests choose."""
    delay = Delay(readings)
    return Limit("velocity_rms", Quantity.VELOCITY, "mm/s", alert, alarm, 0.28e-3, delay, delay, delay)


def plant(readings: int = 1, stale_after_s: float = 60.0, criticality: Criticality = Criticality.CRITICAL) -> Plant:
    """One pump, one sensor, two points."""
    points = tuple(
        Point(key, str(key.point), SENSOR, axis, (velocity_limit(readings=readings),), stale_after_s)
        for key, axis in ((DRIVE_END, "x"), (AXIAL, "z"))
    )
    machine = Machine(
        PUMP,
        "High-pressure pump 1",
        AreaId("ro-hall"),
        points,
        rpm=2975.0,
        standstill_rpm=150.0,
        criticality=criticality,
    )
    return Plant(
        SiteId("saltmarsh"),
        "Saltmarsh Desalination Works",
        (Area(AreaId("ro-hall"), "RO hall"),),
        (machine,),
        {SENSOR: Sensor(SENSOR, interval_s=20.0, range_si=160.0)},
    )


def gateway(folder: Path = Path("nowhere"), borders: InputBorders | None = None, simulated: bool = False) -> Gateway:
    """A gateway that needs no broker of its own."""
    return Gateway(
        root="edgemon/v1",
        broker=Broker("127.0.0.1", 1883, client_id="edgemon-test"),
        store=folder / "edgemon.sqlite",
        access=Access(folder / "edgemon.sock"),
        simulated=simulated,
        borders=borders or InputBorders(),
    )
