"""A scene file as values: machines, their sensors and faults, and the chapters of the story."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgemon.model.ids import is_identifier
from edgemon.units import to_si
from simulators.errors import SimulatorError
from simulators.faults import FAULTS
from simulators.machines import KINDS, Machine
from simulators.sensors import Radio, Sensor
from simulators.table import Table
from simulators.traffic import Traffic
from simulators.wear import Course, Law, Wear

LAWS: tuple[Law, ...] = ("steady", "linear", "exponential")

SCENES = Path(__file__).parent / "scenes"


@dataclass(frozen=True, slots=True)
class Post:
    """A sensor where it is mounted, and what it sends how often."""

    id: str
    gain: float
    """Vibration here against that of the machine's most shaken place."""
    axes: str
    interval_s: float
    fs_hz: float
    samples: int
    parts: int
    as_json: bool
    levels_only: bool
    """Sends no waveforms, only the levels it computes itself."""
    spectra_only: bool
    """Sends no waveforms, only the spectra it computes itself."""
    knows_speed: bool
    warmth: float
    """Temperature rise here against the machine's."""
    battery_pct: float
    silent: tuple[tuple[float, float], ...]
    """From when to when it says nothing, s of the story."""
    sensor: Sensor
    radio: Radio

    def is_silent(self, story_s: float) -> bool:
        """Say whether it says nothing at this time of the story."""
        return any(start <= story_s < end for start, end in self.silent)


@dataclass(frozen=True, slots=True)
class Damage:
    """One fault of a machine: what, where it is felt in full, how bad at its worst, and how it grows."""

    kind: str
    at: tuple[str, ...]
    """Sensors that feel it in full; none for all."""
    elsewhere: float
    full_mm_s: float
    full_m_s2: float
    wear: Wear

    def felt(self, sensor: str) -> float:
        """Give how much of it a sensor feels, 0 to 1."""
        return 1.0 if not self.at or sensor in self.at else self.elsewhere


@dataclass(frozen=True, slots=True)
class Actor:
    """One machine of the scene."""

    id: str
    machine: Machine
    load: Course
    """Speed as a share of nominal, over the story."""
    rise_c: float
    posts: tuple[Post, ...]
    faults: tuple[Damage, ...]


@dataclass(frozen=True, slots=True)
class Chapter:
    """What is said to the people who watch, and when."""

    at_s: float
    title: str
    text: str
    machine: str


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole scene; after `loop_s` its story begins again."""

    title: str
    loop_s: float
    ambient_c: float
    warming_s: float
    traffic: Traffic
    actors: tuple[Actor, ...]
    chapters: tuple[Chapter, ...]

    def story(self, at_s: float) -> float:
        """Give the time of the story at a time since the start."""
        return at_s % self.loop_s


def find_scene(name: str) -> Path:
    """Give the file of a scene: a path, or the name of one that comes with the simulators."""
    for path in (Path(name), SCENES / f"{name}.toml"):
        if path.is_file():
            return path
    known = ", ".join(sorted(path.stem for path in SCENES.glob("*.toml")))
    raise SimulatorError(f"no such scene; give a file, or one of: {known}", name)


def load_scene(path: Path) -> Scene:
    """Read a scene file; SimulatorError names the file and the field that cannot be used."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SimulatorError(f"cannot be read: {error}", str(path)) from error
    except tomllib.TOMLDecodeError as error:
        raise SimulatorError(f"not TOML: {error}", str(path)) from error
    return parse_scene(raw, str(path))


def parse_scene(raw: dict[str, Any], where: str) -> Scene:
    """Build a scene of what a file says."""
    table = Table(raw, where)
    head = table.table("scene")
    loop_s = head.number("loop_s", above=0.0)
    network = head.table("traffic", {})
    scene = Scene(
        title=head.text("title"),
        loop_s=loop_s,
        ambient_c=head.number("ambient_c", 24.0),
        warming_s=head.number("warming_s", 40.0, above=0.0),
        traffic=Traffic(
            latency_s=network.number("latency_s", 0.05, at_least=0.0),
            jitter_s=network.number("jitter_s", 0.15, at_least=0.0),
            repeat_share=network.number("repeat_share", 0.03, at_least=0.0, at_most=1.0),
            late_share=network.number("late_share", 0.03, at_least=0.0, at_most=1.0),
            late_by_s=network.number("late_by_s", 2.5, at_least=0.0),
        ),
        actors=tuple(_actor(machine) for machine in table.tables("machine")),
        chapters=tuple(sorted((_chapter(part, loop_s) for part in table.tables("chapter")), key=lambda part: part.at_s)),
    )
    for part in (network, head, table):
        part.finish()
    _check(scene, where)
    return scene


def _check(scene: Scene, where: str) -> None:
    """Refuse what no single table can see: ids used twice, chapters about nobody."""
    sensors = [post.id for actor in scene.actors for post in actor.posts]
    machines = [actor.id for actor in scene.actors]
    for kind, ids in (("sensor", sensors), ("machine", machines)):
        twice = sorted({name for name in ids if ids.count(name) > 1})
        if twice:
            raise SimulatorError(f"{kind} {twice[0]} stands there twice", where)
    if not scene.actors:
        raise SimulatorError("a scene needs at least one [[machine]]", where)
    for chapter in scene.chapters:
        if chapter.machine and chapter.machine not in machines:
            raise SimulatorError(f"chapter {chapter.title!r}: no machine {chapter.machine!r}", where)


def _identifier(table: Table) -> str:
    """Read `id`, an identifier of the message contract."""
    name = table.text("id")
    if not is_identifier(name):
        raise table.error("id", f"{name!r} is not an identifier: small letters, digits, - and _, at most 63")
    return name


def _actor(table: Table) -> Actor:
    """Read one machine."""
    machine = Machine(
        KINDS[table.choice("kind", tuple(KINDS))],
        table.number("rpm", above=0.0),
        table.number("velocity_mm_s", above=0.0),
    )
    posts = tuple(_post(sensor) for sensor in table.tables("sensor"))
    actor = Actor(
        id=_identifier(table),
        machine=machine,
        load=Course(table.knots("load", ((0.0, 1.0),))),
        rise_c=table.number("rise_c", 28.0),
        posts=posts,
        faults=tuple(_damage(fault, tuple(post.id for post in posts)) for fault in table.tables("fault")),
    )
    table.finish()
    return actor


def _post(table: Table) -> Post:
    """Read one sensor."""
    post = Post(
        id=_identifier(table),
        gain=table.number("gain", 1.0, at_least=0.0),
        axes=table.choice("axes", ("x", "y", "z", "xy", "xz", "yz", "xyz"), "xyz"),
        interval_s=table.number("interval_s", 6.0, above=0.0),
        fs_hz=table.number("fs", 3200.0, above=0.0),
        samples=table.whole("samples", 4096, at_least=16),
        parts=table.whole("parts", 1, at_least=1),
        as_json=table.choice("format", ("cbor", "json"), "cbor") == "json",
        levels_only=table.flag("levels_only", False),
        spectra_only=table.flag("spectra_only", False),
        knows_speed=table.flag("knows_speed", True),
        warmth=table.number("warmth", 1.0),
        battery_pct=table.number("battery_pct", 90.0, at_least=0.0, at_most=100.0),
        silent=table.spans("silent"),
        sensor=Sensor(
            range_m_s2=to_si(table.number("range_g", 16.0, above=0.0), "g"),
            noise_density=table.number("noise_density", 1e-3, at_least=0.0),
            clock_offset_s=table.number("clock_offset_s", 0.0),
            clock_drift=table.number("clock_drift", 0.0),
        ),
        radio=Radio(Course(table.knots("rssi_dbm", ((0.0, -62.0),)))),
    )
    if post.parts > post.samples:
        raise table.error("parts", f"{post.samples} samples cannot be sent in {post.parts} parts")
    table.finish()
    return post


def _damage(table: Table, sensors: tuple[str, ...]) -> Damage:
    """Read one fault."""
    at = table.texts("at")
    unknown = [name for name in at if name not in sensors]
    if unknown:
        raise table.error("at", f"the machine has no sensor {unknown[0]!r}")
    law = table.choice("law", LAWS, "steady")
    wear = Wear(
        law,
        table.number("initial", at_least=0.0, at_most=1.0),
        table.number("from_s", 0.0, at_least=0.0),
        doubling_s=table.number("doubling_s", above=0.0) if law == "exponential" else float("inf"),
        full_s=table.number("full_s", above=0.0) if law == "linear" else float("inf"),
        starts_s=table.number("starts_s", 0.0, at_least=0.0),
        repaired_s=table.number("repaired_s", float("inf")),
    )
    damage = Damage(
        kind=table.choice("kind", tuple(FAULTS)),
        at=at,
        elsewhere=table.number("elsewhere", 0.3, at_least=0.0, at_most=1.0),
        full_mm_s=table.number("full_mm_s", at_least=0.0),
        full_m_s2=table.number("full_m_s2", 0.0, at_least=0.0),
        wear=wear,
    )
    table.finish()
    return damage


def _chapter(table: Table, loop_s: float) -> Chapter:
    """Read one chapter."""
    chapter = Chapter(
        table.number("at_s", at_least=0.0, at_most=loop_s),
        table.text("title"),
        " ".join(table.text("text").split()),
        table.text("machine", ""),
    )
    table.finish()
    return chapter
