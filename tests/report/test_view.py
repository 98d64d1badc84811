"""What a report says, read as plain text."""

from dataclasses import replace

import pytest

from edgemon.model.alarm import AlarmState
from edgemon.model.baseline import Baseline, BaselineApproved
from edgemon.model.level import Detector, LevelSpec
from edgemon.model.limit import Severity, Zones
from edgemon.model.outlook import BaselineView, CrossingView, ShiftView
from edgemon.model.snapshot import TrendPoint
from edgemon.report import text
from edgemon.report.analyst import parse
from edgemon.report.document import Picture, SpectrumPlot, TrendPlot, WaveformPlot
from edgemon.report.port import LevelMaterial, Material, PointMaterial
from edgemon.report.view import document_of
from edgemon.report.view.standing import Standing, assess
from edgemon.units import Quantity
from tests.report import making
from tests.report.making import UNTIL, changed, material


def said(made: Material) -> str:
    """Give the report as one long line, so that line ends do not matter."""
    return " ".join(text.render(document_of(made)).split())


def with_level(made: Material, level: LevelMaterial) -> Material:
    return replace(made, points=(replace(made.points[0], levels=(level,)),))


def test_every_section_is_there_and_the_verdict_comes_first() -> None:
    titles = [section.title for section in document_of(material()).sections]
    assert titles == [
        "Verdict and recommendation",
        "What was found",
        "Evidence: Pump DE horizontal",
        "Measured values and limits",
        "Trend, forecast and baseline",
        "What else it could be",
        "How good the data is",
        "Alarm history",
        "What was measured, and how",
        "Cautions",
        "The analyst's remarks and sign-off",
    ]


@pytest.mark.parametrize(
    ("value", "standing", "word"),
    [
        (0.0020, Standing.NORMAL, "NORMAL"),
        (0.0028, Standing.ALERT, "ALERT: ABOVE THE ALERT LIMIT"),
        (0.0044, Standing.ALERT, "ALERT: ABOVE THE ALERT LIMIT"),
        (0.0045, Standing.ALARM, "ALARM: ABOVE THE ALARM LIMIT"),
    ],
)
def test_the_standing_follows_the_newest_value(value: float, standing: Standing, word: str) -> None:
    made = material(value)
    assert assess(made).standing is standing
    assert word in said(made)


def test_values_limits_detector_band_and_origin_are_told() -> None:
    page = said(material(0.0031, 0.0010))
    assert "Pump DE horizontal | velocity r.m.s., 10-1000 Hz | 3.10 mm/s | 3.10 mm/s | 2.8 mm/s | 4.5 mm/s | alert" in page
    assert making.ORIGIN in page
    assert "above its alert limit of 2.8 mm/s and below its alarm limit of 4.5 mm/s" in page
    assert "Pump DE horizontal | temperature | 61.0 °C | 61.0 °C | 90 °C | 105 °C | normal | plant file" in page
    assert "Velocity r.m.s. at Pump DE horizontal rose:" in page


def test_an_alarm_in_force_decides_though_the_newest_value_is_lower() -> None:
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALARM, UNTIL - 500.0)
    made = material(history=(raised,))
    assert assess(made).standing is Standing.ALARM
    page = said(made)
    assert "Alarm in force since 2026-03-02 06:21:40 UTC: Pump DE horizontal, velocity r.m.s.; not acknowledged yet." in page
    assert "ALARM IN FORCE: NOT CLEARED YET" in page
    assert (
        "High-pressure pump 1: alarm of velocity r.m.s. at Pump DE horizontal, raised at 4.60 mm/s (limit 4.5 mm/s) on "
        "2026-03-02 06:21:40 UTC, has not cleared; the newest value is 2.00 mm/s."
    ) in page
    assert "Levels of this size" not in page


def test_an_alarm_raised_before_the_period_is_still_in_force() -> None:
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALERT, making.SINCE - 9.0)
    acknowledged = changed("ACK", AlarmState.ACKED, Severity.ALERT, making.SINCE - 5.0)
    made = material(earlier=(raised, acknowledged))
    assert assess(made).standing is Standing.ALERT
    assert "No alarm was raised or cleared in the period" in said(made)


def test_an_alarm_that_cleared_is_history() -> None:
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALARM, UNTIL - 500.0)
    cleared = changed("CLEARED", AlarmState.RTNUN, Severity.NORMAL, UNTIL - 400.0)
    made = material(history=(raised, cleared))
    assert assess(made).standing is Standing.WATCH  # nobody has acknowledged it
    seen = changed("ACK", AlarmState.ACKED, Severity.ALARM, UNTIL - 450.0)
    assert assess(material(history=(raised, seen, cleared))).standing is Standing.NORMAL
    assert "2026-03-02 06:21:40 | Pump DE horizontal velocity_rms: alarm raised" in said(made)


def test_a_shelved_alarm_hides_nothing_from_the_report() -> None:
    shelved = changed("SHELVED", AlarmState.SHLVD, Severity.ALARM, UNTIL - 400.0)
    page = said(material(0.0050, history=(shelved,)))
    assert "ALARM: ABOVE THE ALARM LIMIT" in page
    assert "1 alarm shelved, suppressed, latched or out of service" in page


def test_silence_is_never_normal() -> None:
    level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.0020, end=UNTIL - 4000.0))
    made = with_level(material(), level)
    assert assess(made).standing is Standing.UNKNOWN
    assert "NOT KNOWN: DATA IS MISSING" in said(made)
    assert "Pump DE horizontal is silent: its last usable value is of 2026-03-02 05:23:20 UTC." in said(made)


def test_a_finding_does_not_pass_for_the_cause_of_silence() -> None:
    level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.0020, end=UNTIL - 4000.0))
    made = with_level(material(sensors=(making.sensor(diagnosis=making.diagnosis(making.finding())),)), level)
    page = said(made)
    assert "Seen before the silence: Bearing damage" in page
    assert "Likely fault" not in page


def test_unfit_values_are_told_and_never_judged() -> None:
    *good, last = making.values(0.0020)
    wild = TrendPoint(last.t, 0.0900, False)
    made = with_level(material(), LevelMaterial("velocity_rms", making.VELOCITY, (*good, wild)))
    page = said(made)
    assert assess(made).standing is Standing.NORMAL
    assert "1 measurement from unfit captures, shown in the trend and never judged" in page
    assert "| 2.00 mm/s | 2.00 mm/s |" in page


def test_a_point_that_never_spoke_has_no_data() -> None:
    other = making.point("motor-de-h", "Motor DE horizontal")
    made = material()
    silent = PointMaterial(other, (LevelMaterial("velocity_rms", making.VELOCITY, ()),))
    made = replace(made, machine=making.machine(making.point(), other), points=(*made.points, silent))
    page = said(made)
    assert "Motor DE horizontal | velocity r.m.s., 10-1000 Hz | – | – | 2.8 mm/s | 4.5 mm/s | no data" in page
    assert "it gave no usable value in the period" in page


def test_a_finding_without_a_limit_crossed_is_a_remark_with_alternatives() -> None:
    made = material(sensors=(making.sensor(diagnosis=making.diagnosis(making.finding())),))
    page = said(made)
    assert assess(made).standing is Standing.WATCH
    assert "Likely fault: Bearing damage, outer race, seen at Pump DE horizontal (confidence 87 %)." in page
    assert (
        "Line of the outer race (177.7 Hz; 3.58 x running speed; 1.2 mm/s r.m.s.; 21 times its surroundings; harmonics 1, 2)"
        in page
    )
    assert "Looseness: A part can move that should sit tight" in page
    assert "for a qualified analyst to confirm" in page


def test_a_weak_finding_is_not_a_cause() -> None:
    made = material(sensors=(making.sensor(diagnosis=making.diagnosis(making.finding(0.3))),))
    assert assess(made).standing is Standing.NORMAL
    assert "Likely fault" not in said(made)


def test_nobody_is_told_that_nothing_was_found_where_nobody_looked() -> None:
    assert "No diagnosis is part of this report" in said(material())
    page = said(material(sensors=(making.sensor(diagnosis=making.diagnosis()),)))
    assert "No fault pattern stands out." in page
    assert "No gears are known" in page


def test_a_forecast_moves_the_date() -> None:
    level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.0027, 0.0010), outlook=making.outlook())
    page = said(with_level(material(), level))
    assert "In any case before 2026-03-05 06:30:00 UTC" in page
    assert "earliest 2026-03-05 06:30:00 UTC, most likely 2026-03-07 06:30:00 UTC, latest 2026-03-11 06:30:00 UTC" in page


def test_where_there_is_no_forecast_the_reason_is_told() -> None:
    none = CrossingView("alert", 2.8, None, None, None, 0.9, "", "no trend that is sure enough", "p 0.3")
    level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.0020), outlook=making.outlook(none))
    page = said(with_level(material(), level))
    assert (
        "100 values about 2975 r/min, 3 left out | alert 2.8 mm/s | No forecast: no trend that is sure enough (p 0.3)." in page
    )


def test_a_lasting_shift_is_told() -> None:
    shift = ShiftView(making.UNTIL, 1.2, 2.1, 0.7, 20, 469.1)
    ahead = replace(making.outlook(), shift=shift)
    page = said(with_level(material(), LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.0020), outlook=ahead)))
    assert (
        "level has shifted since 2026-03-02 06:30:00 by +0.900 mm/s (CUSUM chart, which errs once in about 469 values)" in page
    )


@pytest.mark.parametrize(("newest", "zone"), [(1.4e-3, "A"), (2.0e-3, "B"), (3.0e-3, "C"), (4.6e-3, "D")])
def test_the_zone_of_the_newest_value_is_told_where_the_limits_have_zones(newest: float, zone: str) -> None:
    # ISO 10816-3:2009 Table A.2, group 2 rigid: 1.4, 2.8, 4.5 mm/s (two independent reprints agree)
    limit = replace(making.VELOCITY, zones=Zones(0.0028, 0.0045, "a class", 0.0014))
    page = said(with_level(material(), LevelMaterial("velocity_rms", limit, making.values(newest))))
    assert f", zone {zone} |" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_baselines_and_the_limits_they_changed_are_told_and_drawn() -> None:
    zones = Zones(0.0028, 0.0045, "a class")
    limit = replace(making.VELOCITY, alert=0.0017, zones=zones)
    one = Baseline(
        making.point().key,
        "velocity_rms",
        Quantity.VELOCITY,
        20,
        UNTIL - 9e4,
        UNTIL - 8e4,
        0.001,
        0.001,
        1e-5,
        2975.0,
        None,
        UNTIL,
    )
    view = BaselineView("hp-pump-1", "pump-de-h", "velocity_rms", "velocity r.m.s.", "mm/s", "approved", 20, 20, 1.0)
    view = replace(view, approved_by="ann", approved_at=UNTIL - 5000.0, alert_follows=1.7, note="rule")
    event = BaselineApproved(UNTIL - 5000.0, one, "mm/s", 0.0017, "rule", "ann", "office", "quiet week")
    level = LevelMaterial("velocity_rms", limit, making.values(0.0012), baseline=view)
    made = with_level(material(history=(making.happening(event, "approved"),)), level)
    page = said(made)
    assert "in force: approved by ann on 2026-03-02 05:06:40 | 1.00 mm/s (20 values) | 1.7 mm/s: rule" in page
    assert "2026-03-02 05:06:40 | Pump DE horizontal | velocity r.m.s. | baseline 1.00 mm/s approved | 1.7 mm/s" in page
    assert "ann: quiet week" in page
    trend = next(block.plot for part in document_of(made).sections for block in part.blocks if isinstance(block, Picture))
    assert isinstance(trend, TrendPlot)
    steps = trend.limits[0].steps
    assert [at for at, _ in steps] == [0.0, UNTIL - 5000.0]
    assert [value for _, value in steps] == pytest.approx([2.8, 1.7])
    assert [line.label for line in trend.limits] == ["alert 1.7 mm/s", "alarm 4.5 mm/s", "baseline 1.00 mm/s"]
    doubted = with_level(material(), replace(level, baseline=replace(view, state="proposed", doubt="learnt in zone D")))
    assert "needs an engineer's approval; but learnt in zone D |" in said(doubted)


def test_a_significant_change_from_the_baseline_is_a_remark() -> None:
    """Criterion II, ISO 10816-3:2009 5.3: more than 25 % of B/C (2.8 mm/s) in either direction, without any limit crossed."""
    view = BaselineView("hp-pump-1", "pump-de-h", "velocity_rms", "velocity r.m.s.", "mm/s", "approved", 20, 20, 1.0)
    view = replace(view, change=0.7)
    for value, is_told in ((1.8, True), (1.6, False)):
        seen = replace(making.outlook(), value=value, forecasts=())
        level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(value * 1e-3), outlook=seen, baseline=view)
        made = with_level(material(), level)
        assert assess(made).standing is (Standing.WATCH if is_told else Standing.NORMAL)
        line = "Velocity r.m.s. at Pump DE horizontal is +0.800 mm/s off its approved baseline: a significant change (more than"
        assert (line in said(made)) is is_told


def test_an_alarm_that_came_and_went_is_told_on_the_first_page() -> None:
    gone = (
        making.changed("RAISE", AlarmState.UNACK, Severity.ALARM, UNTIL - 5000.0),
        making.changed("RETURN", AlarmState.RTNUN, Severity.NORMAL, UNTIL - 4000.0),
    )
    made = material(history=gone)
    assert assess(made).standing is Standing.WATCH
    page = said(made)
    assert (
        "Came and went within the period: alarm of Pump DE horizontal, velocity r.m.s.; 1 not acknowledged; see Alarm" in page
    )
    assert assess(material()).standing is Standing.NORMAL


def test_simulated_data_is_marked_everywhere() -> None:
    document = document_of(material(sim=True))
    page = text.render(document)
    assert document.sim
    assert page.startswith("SIMULATED DATA")
    assert "All data in this report is SIMULATED. Nothing in it may be acted on." in page
    assert "SIMULATED" not in text.render(document_of(material())).upper()


def test_late_and_lost_data_battery_and_link_are_told() -> None:
    weak = making.sensor(
        battery_pct=(TrendPoint(UNTIL, 12.0, True),),
        rssi_dbm=(TrendPoint(UNTIL, -97.0, True),),
        unfit=("12 samples at the end",),
    )
    page = said(material(history=(making.late(), making.stale()), sensors=(weak,)))
    assert "s-0009: battery low, 12 %." in page
    assert "s-0009: weak radio signal, -97 dBm" in page
    assert "a capture is not used: 12 samples at the end." in page
    assert "1 measurement came late" in page
    assert "data stale from" in page
    assert "100 captures of about 100 due (every 300 s)" in page


def test_the_analyst_comes_first_and_signs_last() -> None:
    own = parse(
        b"# Verdict\nRun on.\n- order the seal\n\n# Notes\n- new seal\n\n# Sign-off\nvibration analyst, category III\n",
        "reports/x.txt",
    )
    document = document_of(material(0.0050, analyst=own))
    page = text.render(document)
    assert page.index("Run on.") < page.index("ALARM: ABOVE THE ALARM LIMIT")
    assert page.index("new seal") < page.index("vibration analyst, category III") < page.index("Signature:")
    assert "\n- order the seal\n" in page
    assert "No remarks were written" not in page


def test_without_remarks_the_report_says_where_they_go_and_leaves_room() -> None:
    page = said(material(analyst=parse(b"", "DIR/reports/hp-pump-1.txt")))
    assert "taken from the text file DIR/reports/hp-pump-1.txt" in page
    assert "Name and qualification: ____" in page


def test_the_cautions_are_there() -> None:
    page = said(material())
    assert "edgemon monitors; it does not protect." in page
    assert "local codes" in page
    assert "A qualified vibration analyst confirms it" in page


def test_pictures_show_units_limits_events_and_marked_lines() -> None:
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALERT, UNTIL - 500.0)
    document = document_of(material(0.0031, history=(raised,)))
    pictures = [block.plot for section in document.sections for block in section.blocks if isinstance(block, Picture)]
    trend, _, velocity, envelope, wave = pictures
    assert isinstance(trend, TrendPlot)
    assert trend.y_label == "Velocity r.m.s. in mm/s"
    assert trend.values[-1] == pytest.approx(3.1)
    assert [line.label for line in trend.limits] == ["alert 2.8 mm/s", "alarm 4.5 mm/s"]
    assert [mark.at for mark in trend.marks] == [UNTIL - 500.0]
    assert isinstance(velocity, SpectrumPlot)
    assert [marker.label for marker in velocity.markers] == ["1x", "2x", "3x", "4x", "5x", "6x"]
    # closed form: 5 / (2 pi 49.58 sqrt 2) m/s r.m.s.; between two lines a Hann window reads 15 % low at worst (Harris 1978)
    assert velocity.amplitude.max() == pytest.approx(1000.0 * 5.0 / (2 * 3.141592654 * 49.583 * 2**0.5), rel=0.15)
    assert velocity.before is not None
    assert isinstance(envelope, SpectrumPlot)
    assert [marker.label for marker in envelope.markers] == ["1x", "BPFO"]
    assert isinstance(wave, WaveformPlot)
    assert wave.turn_s == pytest.approx(60.0 / 2975.0)


def test_a_level_of_ones_own_goes_by_its_title_everywhere() -> None:
    spec = LevelSpec("velocity_1x", Quantity.VELOCITY, Detector.RMS, 0.5, 1.5, True, "velocity at 1 x")
    point = replace(making.point(), levels=(spec,))
    limit = replace(making.VELOCITY, level="velocity_1x")
    ahead = replace(making.outlook(), level="velocity_1x", title=spec.title)
    level = LevelMaterial("velocity_1x", limit, making.values(0.0030), outlook=ahead, kind=spec.kind)
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALARM, UNTIL - 600.0, "velocity_1x")
    made = material(machine=making.machine(point), history=(replace(raised, text="raised"),))
    page = said(replace(made, points=(replace(made.points[0], point=point, levels=(level,)),)))
    assert "Velocity at 1 x over time" in page
    assert "Pump DE horizontal, velocity at 1 x; not acknowledged yet" in page
    assert "velocity_1x" not in page
