"""Alarms put together by occurrence: by hand, from changes as the journal has them, and from what the alarm logic tells."""

from dataclasses import replace

from edgemon.api.view import words
from edgemon.model.alarm import AlarmState
from edgemon.model.command import Acknowledge, RemoveFromService, ReturnToService, Shelve
from edgemon.model.event import AlarmChanged
from edgemon.model.limit import Limit, Severity
from edgemon.model.snapshot import TrendPoint
from edgemon.report.document import Picture, Table, Tone, TrendPlot
from edgemon.report.port import Happening, LevelMaterial
from edgemon.report.view.figures import evidence_sections
from edgemon.report.view.occurrences import occurrence_table, occurrences
from edgemon.report.view.standing import assess
from tests.alarms.making import Bench, key, limit, rules
from tests.report import making

SINCE = making.SINCE


WAYS = {
    "RAISED": (AlarmState.NORM, AlarmState.UNACK),
    "LEVEL_UP": (AlarmState.UNACK, AlarmState.UNACK),
    "ACK": (AlarmState.UNACK, AlarmState.ACKED),
    "CLEARED": (AlarmState.ACKED, AlarmState.NORM),
    "SHELVED": (AlarmState.NORM, AlarmState.SHLVD),
}


def change(what: str, severity: Severity, after_s: float, number: int = 1, **more: object) -> AlarmChanged:
    begin, to = WAYS[what]
    event = making.changed(what, to, severity, SINCE + after_s).event
    assert isinstance(event, AlarmChanged)
    return replace(event, from_state=begin, occurrence=number, **more)  # type: ignore[arg-type]


FIRST = (
    change("RAISED", Severity.ALERT, 100.0, value=0.0030, limit=0.0028),
    change("LEVEL_UP", Severity.ALARM, 200.0, 2, value=0.0046, limit=0.0045),
    change("ACK", Severity.ALARM, 260.0, 2, by="B. Operator", value=None, limit=None),
    change("CLEARED", Severity.NORMAL, 3800.0, 2, value=0.0020, limit=0.0045),
)
SECOND = (change("RAISED", Severity.ALERT, 9000.0, 3, value=0.0029, limit=0.0028),)


def table_of(
    *events: AlarmChanged, earlier: tuple[AlarmChanged, ...] = (), values: tuple[TrendPoint, ...] = ()
) -> Table | None:
    made = making.material()
    level = LevelMaterial("velocity_rms", making.VELOCITY, values)
    (point,) = made.points
    told = [tuple(Happening(event, "told") for event in part) for part in (events, earlier)]
    return occurrence_table(replace(made, points=(replace(point, levels=(level,)),), history=told[0], earlier=told[1]))


def test_a_row_each_time_one_was_raised() -> None:
    table = table_of(*FIRST, *SECOND)
    assert table is not None
    assert [row[1:] for row in table.rows] == [
        (
            "2026-02-23 06:31:40",
            "Alarm",
            "4.60 mm/s",
            "4.5 mm/s",
            "B. Operator, 2026-02-23 06:34:20",
            "2026-02-23 07:33:20, after 62 minutes",
        ),
        ("2026-02-23 09:00:00", "Alert", "2.90 mm/s", "2.8 mm/s", "not acknowledged", "still there"),
    ]
    assert table.rows[0][0] == "Pump DE horizontal: velocity r.m.s."
    assert table.tones == (Tone.ALARM, Tone.ALERT)


def test_the_highest_value_is_that_of_the_trend_between_raising_and_return() -> None:
    values = tuple(
        TrendPoint(SINCE + at, value, fit)
        for at, value, fit in ((50.0, 0.009, True), (300.0, 0.0061, True), (400.0, 0.0099, False), (5000.0, 0.008, True))
    )
    table = table_of(*FIRST, values=values)
    assert table is not None
    assert table.rows[0][3] == "6.10 mm/s"  # before, unfit and after do not count


def test_what_was_raised_before_the_period_and_is_still_there_is_told() -> None:
    before = change("RAISED", Severity.ALERT, -5000.0)
    over = (change("RAISED", Severity.ALARM, -9000.0, 7), change("CLEARED", Severity.NORMAL, -8000.0, 7))
    table = table_of(earlier=(*over, before))
    assert table is not None
    assert [(row[1], row[6]) for row in table.rows] == [("2026-02-23 05:06:40", "still there")]
    (cut,) = occurrences((change("CLEARED", Severity.NORMAL, 10.0, 3),), SINCE)
    assert cut.raised_at is None
    assert table_of() is None


def told_of(bench: Bench) -> list[tuple[float | None, str, float | None, float | None, str]]:
    """What the alarm logic itself journalled, put together."""
    events = [one for one in bench.events if isinstance(one, AlarmChanged) and one.alarm == key()]
    return [
        (one.raised_at, one.severity.word, one.acknowledged_at, one.returned_at, one.ended_by)
        for one in occurrences(events, 0.0)
    ]


def watched(*limits: Limit) -> Bench:
    return Bench(rules(*(limits or (limit(),)), stale_after_s=1e6, realarm_s=50.0))


def test_a_rise_and_a_repeated_call_are_of_the_occurrence_that_they_announce_anew() -> None:
    bench = watched()
    bench.measure(0.0, 5.0)
    bench.command(Acknowledge(key(), 1), 1.0)
    bench.measure(2.0, 8.0)
    assert told_of(bench) == [(0.0, "alarm", None, None, "")], "the acknowledgement was of the alert"
    bench.command(Acknowledge(key(), 2), 3.0)
    bench.tick(60.0)
    bench.command(Acknowledge(key(), 3), 61.0)
    bench.measure(62.0, 3.0)
    assert told_of(bench) == [(0.0, "alarm", 61.0, 62.0, "")]
    for t, value in ((70.0, 5.0), (71.0, 3.0), (72.0, 5.0)):
        bench.measure(t, value)
    assert told_of(bench)[1:] == [(70.0, "alert", None, 71.0, ""), (72.0, "alert", None, None, "")]


def test_what_ended_while_it_was_hidden_is_not_said_to_be_still_there() -> None:
    bench = watched()
    bench.measure(0.0, 8.0)
    bench.command(RemoveFromService(key(), "sensor swap"), 1.0)
    bench.measure(2.0, 3.0)
    bench.command(ReturnToService(key()), 3.0)
    bench.measure(10.0, 5.0)
    bench.command(Shelve(key(), 5.0, "bracket"), 11.0)
    bench.measure(12.0, 3.0)
    bench.tick(17.0)
    bench.measure(20.0, 8.0, rpm=2975.0)
    bench.command(Acknowledge(key(), bench.record().occurrence), 21.0)
    bench.measure(22.0, 3.0, rpm=0.0)
    bench.measure(30.0, 8.0, rpm=2975.0)
    bench.measure(31.0, 3.0, rpm=0.0)
    bench.command(Acknowledge(key(), bench.record().occurrence), 32.0)
    assert told_of(bench) == [
        (0.0, "alarm", None, 3.0, "returned to service"),
        (10.0, "alert", None, 16.0, "shelf expired"),
        (20.0, "alarm", 21.0, 22.0, "machine not running (speed)"),
        (30.0, "alarm", 32.0, 32.0, "suppressed by design"),
    ]


def test_a_shelf_that_an_escalation_breaks_hides_nothing() -> None:
    bench = watched()
    bench.measure(0.0, 5.0)
    bench.command(Shelve(key(), 100.0, "bracket"), 1.0)
    bench.measure(2.0, 8.0)
    assert told_of(bench) == [(0.0, "alarm", None, None, "")]


def test_one_whose_limit_was_taken_out_is_closed_not_back() -> None:
    before = watched(limit(), limit("kurtosis", 5.0, 8.0))
    before.measure(0.0, 8.0, kurtosis=3.0)
    after = Bench(rules(limit("kurtosis", 5.0, 8.0)), before.state, before.events)
    after.restart(1.0)
    assert told_of(after) == [(0.0, "alarm", None, 1.0, "no limit is set any more")]
    (closed,) = [one for one in after.events if isinstance(one, AlarmChanged) and one.change == "CLEARED"]
    assert "closed" in words(closed)
    assert "returned" not in words(closed)


def test_shelving_alone_is_no_occurrence() -> None:
    assert occurrences((change("SHELVED", Severity.NORMAL, 10.0),), SINCE) == ()


def test_forecasts_stand_in_the_trend_plot() -> None:
    made = making.material(0.0026, 0.0021)
    level = replace(made.points[0].levels[0], outlook=making.outlook())
    made = replace(made, points=(replace(made.points[0], levels=(level,)),))
    blocks = [block for section in evidence_sections(made, assess(made)) for block in section.blocks]
    pictures = [block for block in blocks if isinstance(block, Picture)]
    plot = pictures[0].plot
    assert isinstance(plot, TrendPlot)
    (crossing,) = plot.crossings
    day = 86_400.0
    assert (crossing.value, crossing.tone) == (4.5, Tone.ALARM)
    assert (crossing.earliest, crossing.likely, crossing.latest) == tuple(making.UNTIL + k * day for k in (3, 5, 9))
    assert "forecast" in pictures[0].caption
