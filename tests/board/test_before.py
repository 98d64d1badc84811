"""A spectrum set against those of the baseline: worked out by hand; what does not fit is left out."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.theme import Look
from edgemon.board.view.before import approved, at_line, before, facts, instants
from edgemon.board.view.cells import row_text
from edgemon.board.view.point import stems
from edgemon.daemon.looking import Looking
from edgemon.errors import LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.instant import Instant
from edgemon.model.look import SpectrumRequest, SpectrumView, Which
from edgemon.model.outlook import BaselineView
from tests.board.driving import plant
from tests.board.test_point import looking, opened, spectrum
from tests.support import sites
from tests.support.captures import capture
from tests.support.plants import plant as plant_of_one
from tests.support.rig import START, Inline, Rig, running
from tests.support.seated import Seated

DAY = 86_400.0
FIRST, LAST = sites.NOW - 40 * DAY, sites.NOW - 30 * DAY
KNOWN = BaselineView(
    "booster-3", "pump-de-h", "velocity_rms", "velocity r.m.s.", "mm/s", "approved", 20, 20,
    first_at=FIRST, last_at=LAST, approved_by="ann", approved_at=LAST,
)  # fmt: skip


def then(t: Instant, times: float, capture: str = "") -> SpectrumView:
    """The spectrum at another time, every line so many times as high."""
    one = spectrum()
    return replace(
        one,
        source=replace(one.source, t=t, capture=capture or f"c-{t}"),
        amplitude=tuple(times * line for line in one.amplitude),
    )


def test_each_line_has_its_lowest_and_highest_and_a_capture_counts_once() -> None:
    found = [then(FIRST, 0.5), then(FIRST, 0.5), then(LAST, 0.25)]
    was = before(spectrum(), found, KNOWN)
    assert was is not None
    assert (was.captures, was.first_at, was.last_at) == (2, FIRST, LAST)
    assert (was.low[20], was.high[20]) == (0.5, 1.0)
    assert at_line(was, 20, "mm/s", Look()) == "; in the baseline 0.5 to 1 mm/s"
    assert "the highest of 2 captures of 2026-01-21 to 2026-01-31" in facts(was)


def test_what_is_of_another_time_or_has_other_lines_is_left_out() -> None:
    shown = spectrum()
    other = replace(then(FIRST, 1.0), amplitude=(1.0, 2.0))
    finer = replace(then(FIRST, 1.0), step_x=1.25)
    assert before(shown, [then(FIRST - 10.0, 1.0), then(sites.NOW, 1.0), other, finer, shown], KNOWN) is None
    assert before(shown, [], KNOWN) is None


def test_only_an_approved_baseline_is_a_measure() -> None:
    learning = replace(KNOWN, state="learning")
    elsewhere = replace(KNOWN, point="motor-de-h")
    assert approved([learning, elsewhere], "booster-3", "pump-de-h") is None
    newer = replace(KNOWN, level="envelope_rms", approved_at=LAST + DAY)
    assert approved([KNOWN, newer], "booster-3", "pump-de-h") is newer
    assert instants(KNOWN)[0] == FIRST
    assert instants(KNOWN)[-1] == LAST
    assert len(instants(KNOWN)) == 5
    assert instants(replace(KNOWN, first_at=None)) == []


def test_the_line_lies_across_and_what_stands_out_is_above_it() -> None:
    rows = [row_text(row)[9:13] for row in stems([8.0, 1.0, 0.0, 4.0], 0, "mm/s", Look(), 14, 8, [2.5, 2.5, 2.5, 2.5])]
    assert [row[0] for row in rows] == ["█"] * 5 + ["╌"] + ["█"] * 2  # eight rows of one: the line lies in the third from below
    assert [row[1] for row in rows] == [" "] * 5 + ["╌", " ", "█"]
    assert [row[2] for row in rows] == [" "] * 5 + ["╌", " ", " "]


class Remembering(MemorySource):
    """Gives half as high lines for the first day of the baseline, and nothing for the others."""

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        if which.at is not None and which.at > FIRST + DAY:
            raise LinkRefused("no capture is stored")
        self.looked.append(wanted)
        return then(which.at, 0.5) if which.at is not None else spectrum()


@pytest.mark.parametrize("key", ["3", "4"])
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_screen_sets_todays_lines_against_the_baseline(size: tuple[int, int], key: str) -> None:
    source = Remembering()
    source.past, source.known = looking().past, (KNOWN,)
    async with plant(size, source) as one:
        text = await opened(one, key)
        await one.press("tab")
        text = " ".join(one.text().split())
        assert "the baseline, 1 capture of 2026-01-21" in text
        assert "in the baseline 1 to 1 mm/s" in text
        await one.press("v")
        assert "baseline" not in "\n".join(one.lines("body"))


async def test_captures_of_the_baseline_are_found_in_the_store_of_a_real_core() -> None:
    rig = Rig(plant_of_one(stale_after_s=1e6))
    rig.hub.looking = Looking(lambda: rig.path.setting, rig.store, Inline())
    async with running(rig):
        for speed in (1.0, 2.0, 9.0, 5.0):
            await rig.send(capture(rig.clock.now(), speed))
            await rig.pass_time(10.0)
        source = Seated(rig.hub, Person("night shift", Role.OPERATOR, "desk 2"))
        here = replace(KNOWN, machine="hp-pump-1", point="pump-de-h", first_at=START, last_at=START + 10.0)
        now = await source.spectrum(here.machine, here.point, Which(), SpectrumRequest())
        then_ = [await source.spectrum(here.machine, here.point, Which(at=at), SpectrumRequest()) for at in instants(here)]
    was = before(now, then_, here)
    assert was is not None
    assert was.captures == 2  # five instants, two captures; the one of 9 mm/s came after the baseline
    at = max(range(len(now.amplitude)), key=lambda line: now.amplitude[line])
    assert (was.low[at] / now.amplitude[at], was.high[at] / now.amplitude[at]) == pytest.approx((1 / 5, 2 / 5), rel=0.02)
