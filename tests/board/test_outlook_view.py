"""Baseline and forecast of the level selected, as rows of the machine screen."""

from dataclasses import replace

from edgemon.board.theme import Look
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.outlook import outlook
from edgemon.model.outlook import BaselineView, CrossingView, OutlookView, ShiftView

NOW = 1_700_000_000.0
LEARNING = BaselineView("m", "p", "velocity_rms", "velocity r.m.s.", "mm/s", "learning", 7, 20)
KNOWN = replace(LEARNING, state="approved", count=20, baseline=1.0, alert_follows=1.7, approved_by="ann", approved_at=NOW)
COMING = CrossingView("alert", 2.8, NOW + 7200.0, NOW + 10_800.0, NOW + 36_000.0, 0.9, "linear", "", "rises")
NONE = CrossingView("alarm", 4.5, None, None, None, 0.9, "", "no trend that is sure enough", "p 0.3")


def coming(*forecasts: CrossingView) -> OutlookView:
    return OutlookView(
        "m", "p", "velocity_rms", "velocity r.m.s.", "mm/s", NOW, 100, {}, None, None, 2.0, None, None, forecasts, False
    )


def said(baseline: BaselineView | None, ahead: OutlookView | None, width: int = 120) -> list[str]:
    rows = outlook(baseline, ahead, Look(), width)
    assert all(row_width(row) == width for row in rows)
    return [row_text(row).strip() for row in rows]


def test_a_baseline_says_how_far_it_is() -> None:
    assert said(LEARNING, None) == ["baseline learning 7 of 20 values"]
    proposed = replace(KNOWN, state="proposed", approved_by="", approved_at=None)
    assert said(proposed, None) == ["baseline proposed, needs approval by an engineer: 1.00 mm/s, alert 1.70 once approved"]
    assert said(KNOWN, None) == ["baseline in force since 2023-11-14: 1.00 mm/s, alert 1.70, approved by ann"]
    doubted = said(replace(proposed, doubt="learnt in zone D: see to the machine first, then learn it anew"), None, 80)
    assert doubted == ["baseline proposed: 1.00 mm/s, but learnt in zone D: see to the machine first, …"]


def test_a_baseline_that_was_approved_against_a_doubt_still_says_so() -> None:
    told = said(replace(KNOWN, doubt="learnt in zone D: see to the machine first, then learn it anew"), None)
    assert told == ["baseline in force since 2023-11-14: 1.00 mm/s, alert 1.70; learnt in zone D, approved by ann"]


def test_a_significant_change_from_the_baseline_is_told() -> None:
    known = replace(KNOWN, change=0.7)
    moved, still = coming(), replace(coming(), value=1.6)
    assert said(known, moved)[0].startswith(
        "baseline in force since 2023-11-14: 1.00 mm/s, alert 1.70; now +1.00 mm/s, a significant change"
    )
    assert said(replace(known, baseline=3.0), moved)[0].count("now -1.00 mm/s, a significant change")
    assert "significant" not in said(known, still)[0]


def test_a_forecast_has_an_interval_or_a_reason() -> None:
    told = said(None, coming(COMING, NONE))
    assert told == ["forecast alert in 3h (2h to 10h); alarm no forecast: no trend that is sure enough"]
    assert said(None, coming(NONE, NONE)) == ["forecast alert and alarm: no forecast: no trend that is sure enough"]


def test_a_lasting_shift_has_a_row_that_fits_eighty_columns() -> None:
    shift = ShiftView(NOW, 1.2, 2.1, 0.7, 20, 469.1)
    row = said(None, replace(coming(COMING), shift=shift), 80)[1]
    assert row == "shifted since 2023-11-14 22:13 by +0.90 mm/s (CUSUM chart)"
    assert said(None, replace(coming(), shift=replace(shift, after=0.9)), 120)[0].startswith(
        "shifted since 2023-11-14 22:13 by -0.30"
    )


def test_rows_are_cut_to_a_small_terminal_and_absent_where_nothing_is_known() -> None:
    assert len(said(KNOWN, coming(COMING, NONE), 40)) == 2
    assert said(None, None) == []
    hostile = replace(KNOWN, approved_by="a\x1b[31mb")
    assert "\x1b" not in said(hostile, None)[0]
