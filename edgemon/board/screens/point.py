"""Level 3: one point, what it measured and how that looks: trend, waveform, spectrum, envelope spectrum."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.acknowledge import acknowledge
from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen, bindings, why_not
from edgemon.board.screens.collection import collect
from edgemon.board.theme import Role
from edgemon.board.view import before, figures, history
from edgemon.board.view import point as view
from edgemon.board.view.ahead import SHARE, ahead, told
from edgemon.board.view.alarms import listed
from edgemon.board.view.cells import Row, Span, fit_row, safe, wrap
from edgemon.board.view.chart import across, chart_of_bins, worst_word
from edgemon.board.view.collection import on_words
from edgemon.board.view.diagnosis import diagnosis
from edgemon.board.view.machine import LevelAt
from edgemon.board.view.outlook import outlook
from edgemon.board.view.point import Marks, Mode
from edgemon.errors import EdgemonError, LinkRefused
from edgemon.model.instant import Instant
from edgemon.model.look import EnvelopeRequest, SpectrumRequest, SpectrumView, WaveformRequest, WaveformView, Which
from edgemon.model.outlook import OutlookView
from edgemon.model.search import Search
from edgemon.model.snapshot import JournalView, LevelView, MachineView, PointView, TrendBins

DAY_S = 86_400.0
SPANS_S = (900.0, 3600.0, 8 * 3600.0, DAY_S, 7 * DAY_S, 30 * DAY_S, 91 * DAY_S, None)
"""Spans of a trend: from a quarter of an hour to a quarter of a year; None: all there is."""
MOST_EVENTS = 500
ZOOMS = (1, 2, 4, 8, 16)
"""A spectrum's highest frequency, and a waveform's length, divided by."""
MODES = tuple(Mode)
ASK_AGAIN_S = 5.0
FORESEE_AGAIN_S = 60.0
"""A forecast reads thousands of values: asked for again so seldom."""


class PointScreen(BoardScreen):
    """The point opened, at the level that was selected."""

    NAME = "point"
    BINDINGS = bindings(keys.POINT)

    def __init__(self, desk: Desk, machine: str, at: LevelAt, mode: Mode = Mode.TREND) -> None:
        super().__init__(desk)
        self.machine, self.at, self.mode = machine, at, mode
        self.marks = Marks()
        self._span, self._zoom = 1, 0
        self._cursor = 0
        self._columns = 8
        self._past: TrendBins | None = None
        self._coming: OutlookView | None = None
        self._foreseen_at: float | None = None
        self._events: tuple[JournalView, ...] = ()
        self._wave: WaveformView | None = None
        self._lines: SpectrumView | None = None
        self._before: before.Before | None = None
        self._before_of: tuple[object, ...] = ()
        self._why = ""
        self._asked: tuple[object, ...] = ()

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give head, picture, read-out, and what there is room for below."""
        found = self._found()
        if found is None:
            return [fit_row([Span(" This point is no longer part of the plant file.")], width)]
        machine, point, level = found
        self._columns = self._across(width) if self.mode is Mode.TREND else view.room(width)
        self._cursor = min(self._cursor, self._columns - 1)
        self._ask(point)
        head = view.head(machine, point, self.mode, self.desk.look, width)
        tall = max(4, height // 2)
        match self.mode:
            case Mode.TREND:
                under = self._trend(level, width, tall)
            case Mode.WAVEFORM:
                under = self._waveform(width, tall)
            case Mode.SPECTRUM | Mode.ENVELOPE:
                under = self._spectrum(width, tall, height - len(head) - tall - 4)
        if point.diagnosis is not None:
            under += diagnosis(point.diagnosis, self.desk.picture.now, self.desk.look, width)
        sensor = self.desk.picture.sensors.get(point.sensor)
        fast = on_words(None if sensor is None else sensor.collection)
        return [*head, *(self._said(fast, width, Role.ALERT) if fast else []), *under][:height]

    def _across(self, width: int) -> int:
        """Give the columns of the past; what is forecast takes its part of the chart."""
        return across(width) - (across(width) // SHARE if told(self._coming) else 0)

    def _found(self) -> tuple[MachineView, PointView, LevelView | None] | None:
        machine = self.desk.picture.machine(self.machine)
        point = next((one for one in machine.points if one.point == self.at.point), None) if machine is not None else None
        if machine is None or point is None:
            return None
        return machine, point, next((one for one in point.levels if one.name == self.at.level), None)

    def _trend(self, level: LevelView | None, width: int, tall: int) -> list[Row]:
        look, past, span = self.desk.look, self._past, SPANS_S[self._span]
        if level is None:
            return [*self._said(" This level has no value yet.", width)]
        if past is None:
            return [*self._said(f" {self._why or 'The trend is being fetched.'}", width)]
        told = "all there is" if span is None else f"the last {figures.spoken(span)}"
        stretch = history.stretch((past.until - past.since) / past.columns)
        unit = figures.unit(level.unit, look.glyphs)
        title = f" {safe(level.title)}, {unit}, {told}; {worst_word(level)} of each {stretch}"
        coming = ahead(self._coming, past.until, past.until - past.since, across(width) - self._columns)
        read = history.read_out(past, self._events, self._cursor, self._columns, unit)
        return [
            *self._said(title, width),
            *chart_of_bins(level, past, self._cursor, look, width, tall, coming),
            history.mark_row(past, self._events, self._columns, width),
            *[row for line in read for row in self._said(line, width, Role.BRIGHT)],
            *self._said(history.facts(past, unit), width, Role.TEXT),
            *outlook(None, self._coming, look, width),
        ]

    def _waveform(self, width: int, tall: int) -> list[Row]:
        shown, look = self._wave, self.desk.look
        if shown is None:
            return [*self._said(f" {self._why or 'The waveform is being fetched.'}", width)]
        end = (shown.start_s + shown.step_s * max(0, len(shown.low) - 1)) * 1e3
        return [
            *self._said(f" {view.source_words(shown)}", width),
            *view.lanes(shown, self._cursor, look, width, tall),
            view.axis_row(f"{shown.start_s * 1e3:.4g} ms", f"{end:.4g} ms", self._columns, width),
            *self._said(f" {view.waveform_words(shown, self._cursor, self._columns, look)}", width, Role.BRIGHT),
            *self._said(f" {view.waveform_facts(shown, look)}", width, Role.TEXT),
        ]

    def _spectrum(self, width: int, tall: int, left: int) -> list[Row]:
        shown, look = self._lines, self.desk.look
        if shown is None:
            return [*self._said(f" {self._why or 'The spectrum is being fetched.'}", width)]
        line = view.line_at(self._cursor, shown.amplitude, self._columns)
        at_x = self._x(shown, line)
        marked = view.marks(shown, self.marks, at_x, self._columns)
        last_x = shown.first_x + shown.step_x * max(0, len(shown.amplitude) - 1)
        known = self._before if self.marks.baseline else None
        across_ = view.tops(known.high, self._columns) if known is not None else ()
        was = before.at_line(known, line, shown.unit, look) if known is not None else ""
        rows = [
            *self._said(f" {view.source_words(shown)}", width),
            *view.stems(view.tops(shown.amplitude, self._columns), self._cursor, shown.unit, look, width, tall, across_),
            view.mark_row(marked, self._columns, width),
            view.axis_row(f"{shown.first_x:.4g}", f"{last_x:.4g} {shown.axis}", self._columns, width),
            *self._said(f" {view.spectrum_words(shown, line, look)}{was}", width, Role.BRIGHT),
            *self._said(f" {view.spectrum_facts(shown, look)}", width, Role.TEXT),
            *(self._said(f" {before.facts(known)}", width) if known is not None else []),
        ]
        named = view.legend(shown, look, width) if self.marks.faults else []
        return rows + named + view.peaks(shown, look, width, max(0, min(12, left - len(named))))

    def _x(self, shown: SpectrumView, line: int | None) -> float | None:
        if line is None:
            return None
        peak = view.peak_near(shown, line)
        return peak.x if peak is not None else shown.first_x + line * shown.step_x

    def _said(self, text: str, width: int, role: Role = Role.DIM) -> list[Row]:
        lines = wrap(text.strip(), max(10, width - 2))
        return [fit_row([Span(f" {line}", role)], width) for line in lines]

    def _ask(self, point: PointView) -> None:
        newest: object = int(self.desk.clock.elapsed() / ASK_AGAIN_S) if self.mode is Mode.TREND else point.capture
        asked = (self.mode, self.at, self._span, self._zoom, self._columns, newest)
        if asked == self._asked or self.desk.picture.lost is not None:
            return
        if self._asked[:1] != asked[:1]:
            self._why = ""
        self._asked = asked
        elapsed = self.desk.clock.elapsed()
        is_due = self._foreseen_at is None or elapsed - self._foreseen_at >= FORESEE_AGAIN_S
        if self.mode is Mode.TREND and is_due:
            self._foreseen_at = elapsed
            self.fetch(self._foresee, "outlook")
        self.fetch(partial(self._fetch, asked), "look")

    async def _fetch(self, asked: tuple[object, ...]) -> None:
        source, now, zoom = self.desk.source, self.desk.picture.now, ZOOMS[self._zoom]
        where = (self.machine, self.at.point)
        try:
            if self.mode is Mode.TREND:
                await self._fetch_trend(now)
            elif self.mode is Mode.WAVEFORM:
                whole = await source.waveform(*where, Which(), WaveformRequest(columns=2 * self._columns))
                if zoom > 1:
                    length = whole.step_s * len(whole.low) / zoom
                    whole = await source.waveform(*where, Which(), WaveformRequest(columns=2 * self._columns, length_s=length))
                self._wave = whole
            else:
                await self._fetch_lines(zoom)
        except EdgemonError as error:
            self._wave = self._lines = None
            self._why = why_not(error)
        if asked == self._asked:
            self.redraw()

    async def _fetch_lines(self, zoom: int) -> None:
        source, where = self.desk.source, (self.machine, self.at.point)
        wanted = EnvelopeRequest() if self.mode is Mode.ENVELOPE else SpectrumRequest()
        shown = await source.spectrum(*where, Which(), wanted)
        if zoom > 1:
            wanted = replace(wanted, fmax_hz=shown.high_hz / zoom)
            shown = await source.spectrum(*where, Which(), wanted)
        self._lines = shown
        baseline = before.approved(await source.baselines(), *where)
        asked = (self.mode, zoom, baseline, shown.source.capture)
        if baseline is None or asked == self._before_of:
            return
        self._before, self._before_of = None, asked
        self.redraw()  # what is new does not wait for what was
        found = []
        for instant in before.instants(baseline):
            with suppress(LinkRefused):  # nothing of that time is stored any more
                found.append(await source.spectrum(*where, Which(at=instant), wanted))
        self._before = before.before(shown, found, baseline)

    async def _fetch_trend(self, now: Instant) -> None:
        source, span = self.desk.source, SPANS_S[self._span]
        since = None if span is None else now - span
        past = await source.trend_bins(self.machine, self.at.point, self.at.level, since, now, self._columns)
        search = Search(since=past.since, until=past.until, kinds=history.KINDS, machine=self.machine)
        self._past, self._events = past, await source.journal(MOST_EVENTS, search=search)

    async def _foresee(self) -> None:
        try:
            self._coming = await self.desk.source.forecast(self.machine, self.at.point, self.at.level)
        except EdgemonError as error:
            self.say(why_not(error))
            return
        self.redraw()

    def subject(self) -> tuple[str, str]:
        """Give the machine and the point opened."""
        return self.machine, self.at.point

    def action_mode(self, number: int) -> None:
        """Look at something else."""
        if MODES[number] is not self.mode:
            self.mode, self._lines, self._wave = MODES[number], None, None
            self._before, self._before_of = None, ()
        self.redraw()

    def action_move(self, down: int, right: int) -> None:
        """Move the cursor."""
        self._cursor = max(0, min(self._cursor + right, self._columns - 1))
        self.redraw()

    def action_page(self, by: int) -> None:
        """Move the cursor by a tenth of the picture."""
        self.action_move(0, by * max(1, self._columns // 10))

    def action_edge(self, end: int) -> None:
        """Move the cursor to the beginning or the end."""
        self.action_move(0, end * self._columns)

    def action_peak(self) -> None:
        """Move the cursor to the next peak to the right, or to the first again."""
        shown = self._lines
        if shown is None or not shown.peaks or shown.step_x <= 0.0:
            return
        count = len(shown.amplitude)
        at = sorted({view.column((peak.x - shown.first_x) / shown.step_x, count, self._columns) for peak in shown.peaks})
        self._cursor = next((one for one in at if one > self._cursor), at[0])
        self.redraw()

    def action_zoom(self, by: int) -> None:
        """Show less, or more: of time, or of frequency."""
        if self.mode is Mode.TREND:
            span = max(0, min(self._span - by, len(SPANS_S) - 1))
            self._past = None if span != self._span else self._past
            self._span = span
        else:
            self._zoom = max(0, min(self._zoom + by, len(ZOOMS) - 1))
        self.redraw()

    def action_mark(self, which: str) -> None:
        """Show marks, or hide them."""
        self.marks = replace(self.marks, **{which: not getattr(self.marks, which)})
        self.redraw()

    def action_acknowledge(self) -> None:
        """Ask about the gravest alarm of the point."""
        machine = self.desk.picture.machine(self.machine)
        acknowledge(self, [one for one in listed([machine]) if one.point == self.at.point] if machine is not None else [])

    def action_collect(self) -> None:
        """Ask about collecting faster here, or ending that."""
        found = self._found()
        if found is not None:
            collect(self, found[0], found[1])

    def action_diagnose(self) -> None:
        """Ask about having the newest capture diagnosed."""
        found = self._found()
        if found is None:
            return
        machine, point, _ = found
        asks = f"Diagnose the newest capture of {safe(machine.name)}, {safe(point.name)}?"
        question = Question(asks, "the daemon works on it for a moment; what it finds is journalled with your name")
        ask(self, question, lambda _: self.desk.source.diagnose(self.machine, self.at.point), machine=self.machine)
