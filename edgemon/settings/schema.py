"""The shape of `plant.toml` and `gateway.toml`: which keys there are and what kind of value each takes.

Everything has a default here, so that one missing key does not hide the other problems of a file; which keys must be
given, and which values make sense, is said in `check_plant.py` and `check_gateway.py`.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from edgemon.model.machine import Learning
from edgemon.model.policy import CLOCK_ERROR_S, GATEWAY_CHANCE, GATEWAY_DELAY_S, GATEWAY_SENSORS, SILENCE_S
from edgemon.settings.form import Shape
from edgemon.settings.retention import RetentionTable
from edgemon.settings.train import TrainTable

SeverityWord = Literal["alert", "alarm"]
SourceWord = Literal["readings", "captures", "journal", "findings"]
_LEARNING = Learning()
_USUAL_SOURCES: tuple[SourceWord, ...] = ("readings", "journal")


class SiteTable(Shape):
    """`[site]`."""

    id: str = ""
    name: str = ""


class AreaTable(Shape):
    """`[[area]]`."""

    id: str = ""
    name: str = ""


class BandTable(Shape):
    """`band` and `envelope_band`, Hz."""

    low_hz: float | None = None
    high_hz: float | None = None


class BearingTable(Shape):
    """`bearing`: geometry of a rolling bearing."""

    rolling_elements: int | None = None
    ball_diameter_mm: float | None = None
    pitch_diameter_mm: float | None = None
    contact_angle_deg: float = 0.0
    outer_turns: bool = False


class StandstillTable(Shape):
    """`standstill`: below this level the machine does not run."""

    level: str = ""
    below: float | None = None
    unit: str = ""


class EachTable(Shape):
    """A delay for each severity."""

    alert: float | None = None
    alarm: float | None = None


def _for_both(value: Any) -> Any:
    """Read one number as the delay of both severities."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return {"alert": value, "alarm": value} if is_number else value


Each = Annotated[EachTable, BeforeValidator(_for_both)]


class DelaysTable(Shape):
    """Delays, in readings or in seconds."""

    on_delay: Each | None = None
    on_delay_s: Each | None = None
    off_delay: float | None = None
    off_delay_s: float | None = None


class LimitTable(DelaysTable):
    """`[[machine.limit]]` and `[[machine.point.limit]]`; values in `unit`."""

    level: str = ""
    unit: str = ""
    side: Literal["above", "below"] = "above"
    alert: float | None = None
    alarm: float | None = None
    deadband: float | None = None
    low_rpm: float | None = None
    high_rpm: float | None = None
    max_shelve_s: float | None = None
    latch: list[SeverityWord] = Field(default_factory=list)
    promote_alert: bool = False


class LevelTable(Shape):
    """`[[machine.level]]` and `[[machine.point.level]]`: a level of one's own, in a band in Hz or in orders."""

    name: str = ""
    title: str = ""
    quantity: Literal["acceleration", "velocity", "displacement", "envelope", ""] = ""
    detector: Literal["rms", "peak", "peak-to-peak"] = "rms"
    low_hz: float | None = None
    high_hz: float | None = None
    low_order: float | None = None
    high_order: float | None = None


class ResponseTable(Shape):
    """`[[response]]`, `[[machine.response]]` and `[[machine.point.response]]`: what to do about an alarm."""

    kind: str = ""
    level: str = ""
    severity: Literal["alert", "alarm", ""] = ""
    cause: str = ""
    consequence: str = ""
    action: str = ""
    confirm: str = ""
    within_min: float | None = None


class MaskTable(Shape):
    """`[[machine.mask]]` and `[[machine.point.mask]]`: a limit for every line of a spectrum, written or learnt."""

    name: str = ""
    title: str = ""
    quantity: Literal["acceleration", "velocity", "envelope", ""] = ""
    detector: Literal["rms", "peak"] = "rms"
    low_hz: float | None = None
    high_hz: float | None = None
    line_hz: float | None = None
    low_order: float | None = None
    high_order: float | None = None
    line_order: float | None = None
    unit: str = ""
    floor: float | None = None
    lines: list[list[float]] = Field(default_factory=list)


class DerivedTable(Shape):
    """`[[machine.derived]]` and `[[machine.point.derived]]`: a level that follows from another one."""

    name: str = ""
    title: str = ""
    rule: Literal["change", "spread", "rate", "rise", "same", ""] = ""
    of: str = ""
    over_s: float | None = None
    above: str = ""


class StartupTable(Shape):
    """`startup`: limits of vibration after a start."""

    factor: float | None = None
    seconds: float | None = None


class PointTable(Shape):
    """`[[machine.point]]`."""

    id: str = ""
    name: str = ""
    sensor: str = ""
    axis: str = ""
    direction: Literal["horizontal", "vertical", "axial", ""] = ""
    part: Literal["driver", "driven", ""] = ""
    end: Literal["drive", "non-drive", ""] = ""
    bearing: BearingTable | None = None
    band: BandTable | None = None
    envelope_band: BandTable | None = None
    compute: list[str] | None = None
    separation: Literal["none", "synchronous", "prediction"] = "none"
    stale_after_s: float | None = None
    level: list[LevelTable] = Field(default_factory=list)
    mask: list[MaskTable] = Field(default_factory=list)
    derived: list[DerivedTable] = Field(default_factory=list)
    limit: list[LimitTable] = Field(default_factory=list)
    response: list[ResponseTable] = Field(default_factory=list)


class BaselineTable(Shape):
    """`baseline`: how baselines of a machine are learnt."""

    captures: int = _LEARNING.captures
    speed_tolerance: float = _LEARNING.speed_tolerance


class MachineTable(Shape):
    """`[[machine]]`."""

    id: str = ""
    name: str = ""
    area: str = ""
    kind: str = ""
    severity_class: str = ""
    rpm: float | None = None
    speed: Literal["varies", "fixed"] = "varies"
    standstill_rpm: float | None = None
    standstill: StandstillTable | None = None
    criticality: Literal["critical", "essential", "general"] = "essential"
    power_kw: float | None = None
    train: TrainTable | None = None
    compute: list[str] | None = None
    baseline: BaselineTable = BaselineTable()
    startup: StartupTable | None = None
    level: list[LevelTable] = Field(default_factory=list)
    mask: list[MaskTable] = Field(default_factory=list)
    derived: list[DerivedTable] = Field(default_factory=list)
    limit: list[LimitTable] = Field(default_factory=list)
    response: list[ResponseTable] = Field(default_factory=list)
    point: list[PointTable] = Field(default_factory=list)


class SensorTable(Shape):
    """`[[sensor]]`."""

    id: str = ""
    interval_s: float = 300.0
    range_g: float | None = None
    sensitivity_mv_per_g: float | None = None
    noise_ug_per_root_hz: float | None = None
    resonance_hz: float | None = None
    mounting: Literal["stud", "adhesive", "magnet", "probe", ""] = ""
    clock: bool = True
    sends: Literal["waveform", "spectrum", "levels"] = "waveform"
    fs_hz: float | None = None
    samples: int | None = None
    axes: list[str] = Field(default_factory=list)
    captures_per_percent: float | None = None


class ClassTable(DelaysTable):
    """`[alarms.critical]`, `[alarms.essential]` and `[alarms.general]`: what differs for machines of that criticality."""

    max_shelve_s: Each | None = None
    realarm_s: float | None = None
    alert_needs_ack: bool | None = None


class AlarmsTable(ClassTable):
    """`[alarms]`: what the site decided about all alarms."""

    silence_s: float = SILENCE_S
    ringback_s: float = 0.0
    clock_error_s: float = CLOCK_ERROR_S
    gateway_delay_s: float = GATEWAY_DELAY_S
    gateway_sensors: int = GATEWAY_SENSORS
    gateway_chance: float = GATEWAY_CHANCE
    critical: ClassTable = ClassTable()
    essential: ClassTable = ClassTable()
    general: ClassTable = ClassTable()


class PlantFile(Shape):
    """All of `plant.toml`."""

    site: SiteTable = SiteTable()
    alarms: AlarmsTable = AlarmsTable()
    area: list[AreaTable] = Field(default_factory=list)
    response: list[ResponseTable] = Field(default_factory=list)
    machine: list[MachineTable] = Field(default_factory=list)
    sensor: list[SensorTable] = Field(default_factory=list)


class GatewayTable(Shape):
    """`[gateway]`."""

    root: str = "edgemon/v1"
    id: str = ""
    simulated: bool = False


class BrokerTable(Shape):
    """`[broker]`; without `url` the gateway's own broker is used."""

    url: str | None = None
    username: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    certificate_file: str | None = None
    key_file: str | None = None
    client_id: str = ""
    protocol: Literal["5", "3.1.1"] = "5"
    keepalive_s: int = 20
    session_expiry_s: int = 7 * 86_400
    queue: int = 512


class StoreTable(Shape):
    """`[store]`."""

    path: str = "state/edgemon.sqlite"
    ballast_mib: int = 8


class AccessTable(Shape):
    """`[access]`."""

    socket: str = "state/edgemon.sock"
    operators: list[str] = Field(default_factory=list)
    engineers: list[str] = Field(default_factory=list)


class HealthTable(Shape):
    """`[health]`: health and figures on a port of loopback."""

    port: int | None = None


class InputTable(Shape):
    """`[input]`: what the gateway accepts at most."""

    message_bytes: int = 4 * 1024 * 1024
    samples: int = 1 << 20
    parts: int = 1024
    open_captures: int = 256
    records: int = 1000
    part_wait_s: float = 600.0
    future_skew_s: float = 60.0
    rejections_kept: int = 1000
    rejection_interval_s: float = 600.0


class AnnunciatorTable(Shape):
    """`[[annunciator]]`: an output for the plant's own horn and beacon."""

    name: str = ""
    command: list[str] | None = None
    topic: str | None = None
    timeout_s: float = 5.0
    retry_s: float = 5.0


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


class UpstreamTable(Shape):
    """`[[upstream]]`: a server of the plant or the company that is sent what the gateway knows."""

    name: str = ""
    url: Annotated[list[str], BeforeValidator(_as_list)] = Field(default_factory=list)
    what: list[SourceWord] = Field(default_factory=lambda: list(_USUAL_SOURCES))
    into: str = ""
    username: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    certificate_file: str | None = None
    key_file: str | None = None
    per_second: float = 1000.0
    batch: int = 200
    newest_first: bool = False
    overlap_s: float | None = None
    pooled: bool = False


class GatewayFile(Shape):
    """All of `gateway.toml`."""

    gateway: GatewayTable = GatewayTable()
    broker: BrokerTable = BrokerTable()
    store: StoreTable = StoreTable()
    retention: RetentionTable = RetentionTable()
    access: AccessTable = AccessTable()
    health: HealthTable = HealthTable()
    input: InputTable = InputTable()
    annunciator: list[AnnunciatorTable] = Field(default_factory=list)
    upstream: list[UpstreamTable] = Field(default_factory=list)
