"""Plays a scene: which message arrives when. No clock and no network: every message follows from scene, seed and time."""

import heapq
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulators.faults import FAULTS, Case
from simulators.payloads import Lines, Record, Waveform, encode_capture, encode_note, encode_readings, encode_spectrum
from simulators.scene import Actor, Post, Scene
from simulators.sensors import Battery, housing_temperature
from simulators.signals import AXES, Excitation, render, total, velocity_rms
from simulators.wear import Course

READINGS_EVERY = 4
"""Battery, signal and temperature go out as readings with every so many captures."""

USABLE = 2.56
"""Sample rate over the highest frequency sent. Common practice of analysers: the rest is the anti-aliasing filter's."""

FULL_LINE = 65535

SPEED_WANDER = 4e-4
"""Standard deviation of shaft speed from one capture to the next, as a share of it."""

BATTERY_AGEING = 2000.0
"""A minute of the demo drains a battery like so many minutes of the real plant's collection."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """One message as it reaches the publisher."""

    at_s: float
    """Seconds since the start, real ones."""
    topic: str
    payload: bytes
    repeat: bool = False
    """The same message was delivered before."""


@dataclass(frozen=True, slots=True)
class Stage:
    """What a scene is played on."""

    scene: Scene
    epoch: float
    """UTC, s, of the start."""
    root: str = "edgemon/v1"
    """Topic root."""
    seed: int = 1
    speed: float = 1.0
    """How many seconds of the story pass in a real one."""

    def utc(self, at_s: float) -> float:
        """Give the UTC of a time since the start (in seconds of the story)."""
        return self.epoch + at_s / self.speed


def play(stage: Stage, until_s: float = float("inf")) -> Iterator[Delivery]:
    """Give every message in the order in which they arrive, without end or up to `until_s` real seconds."""
    waiting: list[tuple[float, int, Delivery]] = []
    count = 0
    for at_s, deliveries in _acts(stage):
        while waiting and waiting[0][0] <= at_s / stage.speed:
            yield heapq.heappop(waiting)[2]
        if at_s / stage.speed > until_s:
            break
        for delivery in deliveries:
            if delivery.at_s <= until_s:
                count += 1
                heapq.heappush(waiting, (delivery.at_s, count, delivery))
    while waiting:
        yield heapq.heappop(waiting)[2]


def _acts(stage: Stage) -> Iterator[tuple[float, list[Delivery]]]:
    """Give the time of each measurement and chapter in order, with the messages that come of it."""
    due: list[tuple[float, int, int]] = []
    posts = [(actor, post) for actor in stage.scene.actors for post in actor.posts]
    for place, (_, post) in enumerate(posts):
        due.append((measured_at(stage, post, 0), place, 0))
    for place, chapter in enumerate(stage.scene.chapters):
        due.append((chapter.at_s, -1 - place, 0))
    heapq.heapify(due)
    while due:
        at_s, place, number = heapq.heappop(due)
        if place < 0:
            chapter = stage.scene.chapters[-1 - place]
            note = encode_note(stage.utc(at_s), chapter.title, chapter.text, chapter.machine)
            yield at_s, [Delivery(at_s / stage.speed, f"{stage.root}/simulation", note)]
            heapq.heappush(due, (at_s + stage.scene.loop_s, place, 0))
            continue
        actor, post = posts[place]
        yield at_s, messages(stage, actor, post, number)
        heapq.heappush(due, (measured_at(stage, post, number + 1), place, number + 1))


def measured_at(stage: Stage, post: Post, number: int) -> float:
    """Give when a sensor has finished capture `number`, s: the first soon after it is switched on, then on its own grid."""
    phase = (zlib.crc32(f"{stage.seed}/{post.id}".encode()) % 10_007) / 10_007.0
    duration = post.samples / post.fs_hz
    if number == 0:
        return 0.2 + duration + 1.5 * phase
    return post.interval_s * (number + phase) + 1.8 + duration


def _draw(stage: Stage, post: Post, number: int, what: int) -> np.random.Generator:
    """Make the generator of one aspect of one capture: the same whatever was asked before."""
    return np.random.default_rng([stage.seed, zlib.crc32(post.id.encode()), number, what])


def excitation_at(actor: Actor, post: Post, story_s: float, speed_rpm: float) -> Excitation:
    """Give what shakes a sensor's place at a time of the story."""
    healthy = actor.machine.excitation(speed_rpm).scaled(post.gain)
    if speed_rpm < 1.0:
        return healthy
    kind = actor.machine.kind
    parts = [healthy]
    for fault in actor.faults:
        severity = fault.wear.severity(story_s)
        if severity > 0.0:
            case = Case(
                severity,
                speed_rpm / 60.0,
                actor.machine.rpm / 60.0,
                fault.full_mm_s,
                fault.full_m_s2,
                housing_hz=kind.housing_hz,
                blades=kind.blades or 6,
                teeth=kind.teeth or (23, 67),
            )
            parts.append(FAULTS[fault.kind](case).scaled(fault.felt(post.id)))
    return total(parts)


@dataclass(frozen=True, slots=True)
class Condition:
    """What a sensor finds at one time."""

    speed_rpm: float
    shaken: Excitation
    temperature_c: float
    battery_pct: float
    rssi_dbm: float


def condition(stage: Stage, actor: Actor, post: Post, number: int) -> Condition:
    """Give what a sensor finds at its capture `number`."""
    at_s = measured_at(stage, post, number)
    story_s = stage.scene.story(at_s)
    chance = _draw(stage, post, number, 0)
    wander = 1.0 + SPEED_WANDER * float(np.clip(chance.standard_normal(), -2.5, 2.5))
    speed_rpm = actor.machine.rpm * actor.load.at(story_s) * wander
    load = _load_of_heat(actor.load)
    temperature = housing_temperature(load, story_s, stage.scene.ambient_c, actor.rise_c * post.warmth, stage.scene.warming_s)
    aged_s = at_s * BATTERY_AGEING
    return Condition(
        speed_rpm=speed_rpm,
        shaken=excitation_at(actor, post, story_s, speed_rpm),
        temperature_c=temperature + 0.1 * float(np.clip(chance.standard_normal(), -2.5, 2.5)),
        battery_pct=Battery().left_pct(post.battery_pct, aged_s, captures_per_day=24.0),
        rssi_dbm=post.radio.rssi(story_s, chance),
    )


@lru_cache(maxsize=256)
def _load_of_heat(load: Course) -> Course:
    """Give the losses that warm a machine: they grow about with the square of its speed."""
    return Course(tuple((at_s, value**2) for at_s, value in load.knots))


def capture(stage: Stage, actor: Actor, post: Post, number: int, found: Condition) -> Waveform:
    """Measure: the waveform, through sensor and converter, as capture `number`."""
    at_s = measured_at(stage, post, number)
    duration = post.samples / post.fs_hz
    chance = _draw(stage, post, number, 1)
    wave = render(found.shaken, at_s - duration, post.samples, post.fs_hz, chance)
    seen = [AXES.index(axis) for axis in post.axes]
    counts = post.sensor.sample(wave[seen], post.fs_hz, chance)
    taken = post.sensor.clock(stage.utc(at_s) - duration, at_s / stage.speed)
    return Waveform(
        id=f"c{number:06d}",
        t=round(taken, 3),
        fs_hz=post.fs_hz,
        unit="m/s2",
        scale=post.sensor.scale,
        axes={axis: counts[k] for k, axis in enumerate(post.axes)},
        rpm=round(found.speed_rpm, 1) if post.knows_speed else None,
        temperature_c=round(found.temperature_c, 1),
        battery_pct=round(found.battery_pct, 1),
        rssi_dbm=round(found.rssi_dbm),
    )


def spectrum(whole: Waveform) -> Lines:
    """Give what a sensor sends that keeps the waveform to itself: r.m.s. lines, blocks of half the record averaged in power."""
    block = next(iter(whole.axes.values())).size // 2
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(block) / block)
    count = int(block / USABLE) + 1
    lines = {}
    for axis, counts in whole.axes.items():
        wave = whole.scale * (counts - counts.mean())
        pieces = np.stack([wave[start : start + block] for start in (0, block // 2, block)])
        power = np.mean(np.abs(np.fft.rfft(pieces * window)) ** 2, axis=0)
        lines[axis] = np.sqrt(2.0 * power[:count]) / window.sum()
    scale = max(1e-6, *(float(one.max()) / FULL_LINE for one in lines.values()))
    return Lines(
        id=whole.id,
        t=whole.t,
        line_hz=whole.fs_hz / block,
        unit=whole.unit,
        scale=scale,
        averages=3,
        axes={axis: np.rint(one / scale).astype(np.uint16) for axis, one in lines.items()},
        rpm=whole.rpm,
        temperature_c=whole.temperature_c,
        battery_pct=whole.battery_pct,
        rssi_dbm=whole.rssi_dbm,
    )


def readings(stage: Stage, post: Post, number: int, found: Condition) -> bytes:
    """Make the SenML pack that goes with capture `number`; half of the sensors speak JSON, half CBOR."""
    records = [
        Record("temperature", round(found.temperature_c, 1), "Cel"),
        Record("battery", round(found.battery_pct, 1), "%EL"),
        Record("rssi", round(found.rssi_dbm), "dBm"),
    ]
    if post.knows_speed:
        records.append(Record("rpm", round(found.speed_rpm, 1), "1/min"))
    if post.levels_only:
        floor = post.sensor.noise_density * 0.05
        for axis in post.axes:
            level = 1e3 * (velocity_rms(found.shaken, axis) ** 2 + floor**2) ** 0.5
            records.append(Record(f"{axis}/velocity_rms", round(level, 3), "mm/s"))
    at_s = measured_at(stage, post, number)
    taken = post.sensor.clock(stage.utc(at_s), at_s / stage.speed)
    return encode_readings(round(taken, 3), records, as_json=zlib.crc32(post.id.encode()) % 2 == 0)


def messages(stage: Stage, actor: Actor, post: Post, number: int) -> list[Delivery]:
    """Give what comes of one measurement, each message with its own fate on the way; nothing while it is silent."""
    at_s = measured_at(stage, post, number)
    if post.is_silent(stage.scene.story(at_s)):
        return []
    found = condition(stage, actor, post, number)
    topic = f"{stage.root}/sensor/{post.id}"
    sent = []
    if not post.levels_only:
        whole = capture(stage, actor, post, number, found)
        if post.spectra_only:
            sent += [(f"{topic}/spectrum", one) for one in encode_spectrum(spectrum(whole), post.parts, post.as_json)]
        else:
            sent += [(f"{topic}/capture", payload) for payload in encode_capture(whole, post.parts, post.as_json)]
    if post.levels_only or number % READINGS_EVERY == 0:
        sent.append((f"{topic}/reading", readings(stage, post, number, found)))
    fate = _draw(stage, post, number, 2)
    loss = post.radio.loss(found.rssi_dbm)
    deliveries = []
    for where, payload in sent:
        first = True
        for arrival in stage.scene.traffic.arrivals(at_s, loss, fate):
            deliveries.append(Delivery(arrival / stage.speed, where, payload, repeat=not first))
            first = False
    return deliveries
