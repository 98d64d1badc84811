"""How many points a second the alarm core judges on one core, beside a floor measured in the same run.

The floor is a loop that only looks each point's state up and compares its value with its two limits: what any alarm logic must
at least do. Both take turns; processor time, and the median of the ratios within a turn. Run it: `python -m tests.bench.judge`.
"""

from statistics import median
from time import process_time

from edgemon.alarms.judge import judge, tick
from edgemon.alarms.rules import Rules
from edgemon.model.alarm import PointState
from edgemon.model.ids import AreaId, MachineId, SensorId
from edgemon.model.level import LEVEL_KINDS, Level, Measurement
from edgemon.model.limit import Limit
from edgemon.model.machine import Machine, Point, point_key
from edgemon.units import Quantity

POINTS = 500
ROUNDS = 20
TURNS = 7


def make(number: int) -> Rules:
    """Make a point with four limits."""
    limits = (
        Limit("velocity_rms", Quantity.VELOCITY, "mm/s", 2.8e-3, 4.5e-3, 1e-4),
        Limit("acceleration_rms", Quantity.ACCELERATION, "m/s2", 20.0, 40.0, 1.0),
        Limit("envelope_rms", Quantity.ACCELERATION, "m/s2", 5.0, 10.0, 0.5),
        Limit("temperature", Quantity.TEMPERATURE, "Cel", 80.0, 95.0, 2.0),
    )
    key = point_key(f"m-{number}", "p")
    point = Point(key, "p", SensorId(f"s-{number}"), "x", limits, 900.0)
    return Rules(point, Machine(MachineId(f"m-{number}"), "m", AreaId("a"), (point,), standstill_rpm=50.0))


def measured(rules: Rules, at: float, value: float) -> Measurement:
    """Make one measurement of all ten levels of the house, `value` times the velocity's alert limit."""
    levels = tuple(
        Level(name, 2.8e-3 * value if kind.quantity is Quantity.VELOCITY else value, kind.quantity, kind.detector)
        for name, kind in LEVEL_KINDS.items()
    )
    return Measurement(rules.point.key, at, at, levels, rpm=2975.0)


def floor(points: list[Rules], rounds: list[list[Measurement]]) -> float:
    """Give the seconds a trivial comparison of the same values takes."""
    began = process_time()
    beyond = 0
    for measurements in rounds:
        for rules, measurement in zip(points, measurements, strict=True):
            for level in measurement.levels:
                limit = rules.limits.get(level.name)
                if limit is not None and (level.value >= (limit.alert or 0.0) or level.value >= (limit.alarm or 0.0)):
                    beyond += 1
    assert beyond >= 0
    return process_time() - began


def core(points: list[Rules], rounds: list[list[Measurement]]) -> tuple[float, int]:
    """Give the seconds the alarm core takes, and how many events came of it."""
    states = [PointState(rules.point.key) for rules in points]
    events = 0
    began = process_time()
    for measurements in rounds:
        for number, (rules, measurement) in enumerate(zip(points, measurements, strict=True)):
            states[number], happened = judge(rules, states[number], measurement, measurement.received_at)
            events += len(happened)
    return process_time() - began, events


def ticking(points: list[Rules]) -> float:
    """Give the seconds one tick over all points takes where nothing is due, each with the records of its limits."""
    states = [judge(rules, PointState(rules.point.key), measured(rules, 0.0, 0.5), 0.0)[0] for rules in points]
    began = process_time()
    for rules, state in zip(points, states, strict=True):
        tick(rules, state, 1.0)
    return process_time() - began


def main() -> None:
    """Measure and print."""
    points = [make(number) for number in range(POINTS)]
    judged = POINTS * ROUNDS
    for title, wave in (("all normal", (0.5, 0.6)), ("alarms come and go", (0.5, 0.5, 2.0, 2.0))):
        rounds = [[measured(rules, 60.0 * turn, wave[turn % len(wave)]) for rules in points] for turn in range(1, ROUNDS + 1)]
        turns = [(floor(points, rounds), core(points, rounds)) for _ in range(TURNS)]
        took, ratio = min(spent for _, (spent, _) in turns), median(spent / least for least, (spent, _) in turns)
        cost = f"{1e6 * took / judged:.1f} us a point, {ratio:.1f} times the floor"
        print(f"{title}: {judged / took:,.0f} points/s, {cost}, {turns[0][1][1]} events")
    print(f"tick over {POINTS} points with nothing due: {1e3 * ticking(points):.2f} ms")


if __name__ == "__main__":
    main()
