"""The pages to be read: what is being simulated and why, the journal, the help, and the question before an acknowledgement."""

import itertools
from collections.abc import Iterable, Sequence

from edgemon.board.keys import HELPED
from edgemon.board.theme import MARKS, Look, Role, Show
from edgemon.board.view import figures, status
from edgemon.board.view.banner import CAUTION
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row, safe, width_of, wrap
from edgemon.model.command import Person
from edgemon.model.snapshot import AlarmView, JournalView, MachineView, NoteView

_TWO_COLUMNS = 180
"""Cells from which on keys and marks stand side by side."""

_MEANING = 21
"""Cells before the meaning of a mark."""

CAUTIONS = (
    f"{CAUTION} It must not be the only means of stopping a machine or of warning a person.",
    "Limits from a standard are a starting point for a competent person, subject to the maker's instructions and local codes.",
    "A simulated or proof alarm is announced to the control room before it is raised.",
)
"""What the help page says before anything else."""


def notes(told: Sequence[NoteView], machines: Sequence[MachineView], look: Look, width: int) -> list[Row]:
    """Write what is being simulated, the newest first."""
    names = {machine.id: safe(machine.name) for machine in machines}
    simulated = sum(machine.sim for machine in machines)
    rows = [
        _line(f" What is being simulated, and why ({simulated} of {len(machines)} machines)", width, Role.BRIGHT),
        blank(width),
    ]
    if not told:
        text = (
            "Nobody has said what is being played."
            if simulated
            else "Nothing is being simulated: all data comes from the plant's sensors."
        )
        return [*rows, _line(f" {text}", width)]
    for note in sorted(told, key=lambda note: note.at, reverse=True):
        whose = f"  {names.get(note.machine, safe(note.machine))}" if note.machine else ""
        head = [Span(f" {figures.clock(note.at)}  ", Role.DIM), Span(safe(note.title, 120), Role.BRIGHT), Span(whose, Role.DIM)]
        rows.append(fit_row(head, width, look.glyphs.ellipsis))
        rows.extend(_line(f"           {line}", width) for line in wrap(safe(note.text, 2000), min(100, max(10, width - 13))))
        rows.append(blank(width))
    return rows


def journal(entries: Sequence[JournalView], look: Look, width: int) -> list[Row]:
    """Write journal entries as they come; a long one goes on in the rows below, so that nothing of it is cut off."""
    rows = [_line(" Journal, newest first (UTC)", width, Role.BRIGHT), blank(width)]
    kind = min(26, max([8, *(len(safe(entry.kind)) for entry in entries)]))
    for entry in entries:
        named = fit(safe(entry.kind), kind, look.glyphs.ellipsis)
        head = Span(f" {figures.stamp(entry.t)}  {named}  ", Role.DIM)
        room = max(20, width - width_of(head.text) - 1)
        for line in wrap(safe(entry.text, 600), room) or [""]:
            rows.append(fit_row([head, Span(line, Role.TEXT)], width, look.glyphs.ellipsis))
            head = Span(" " * width_of(head.text))
    return rows if entries else [*rows, _line(" No entries yet.", width)]


def help_page(person: Person | None, look: Look, width: int) -> list[Row]:
    """Write the cautions, every key, and every mark."""
    rows: list[Row] = []
    for caution in CAUTIONS:
        rows.extend(_line(f" {line}", width, Role.BRIGHT) for line in wrap(caution, max(10, width - 2)))
    who = (
        f"You are {safe(person.name)} ({person.role}) at {safe(person.station)}."
        if person is not None
        else "The daemon has not said who you are."
    )
    rows.extend((blank(width), _line(f" {who}", width), blank(width)))
    if width < _TWO_COLUMNS:
        return [*rows, *_keys(width), blank(width), *_signs(look, width)]
    left, right = _keys(width // 2), _signs(look, width - width // 2)
    beside = itertools.zip_longest(left, right, fillvalue=())
    return rows + [(*(one or blank(width // 2)), *(other or blank(width - width // 2))) for one, other in beside]


def _keys(width: int) -> list[Row]:
    rows: list[Row] = []
    for title, keys in HELPED:
        rows.extend([blank(width)] if rows else [])
        rows.append(_line(f" {title}", width, Role.BRIGHT))
        rows.extend(fit_row([Span(f"   {fit(key.cap, 10)} ", Role.TEXT), Span(key.help, Role.DIM)], width) for key in keys)
    return rows


def _signs(look: Look, width: int) -> list[Row]:
    return [_line(" Marks", width, Role.BRIGHT), *_marks(look, width), blank(width), *_reading(look, width)]


def _marks(look: Look, width: int) -> Iterable[Row]:
    meaning = {
        Show.ALARM: "beyond the alarm limit; flashes until acknowledged",
        Show.ALERT: "beyond the alert limit; for the analyst, calls no operator unless the site wants it",
        Show.LATCHED: "back within its limit, held until reset",
        Show.RETURNED: "back to normal before anyone acknowledged it",
        Show.NO_DATA: "nothing is known: silent, late or never heard; never means normal",
        Show.DOUBTFUL: "the newest data has flaws and changed no state",
        Show.NEAR: f"from {100 * status.NEAR:.0f} % of an alert limit on (a temperature: from {status.NEAR_K:.0f} K off it),"
        " or beyond it but not yet confirmed",
        Show.OUT_OF_SERVICE: "an engineer took it out of service",
        Show.SHELVED: "hidden for a limited time, with a reason",
        Show.SUPPRESSED: "hidden by design",
        Show.STOPPED: "not running",
        Show.NORMAL: "within limits",
    }
    for show, mark in MARKS.items():
        head = [Span("   "), *status.tag(show, look, calling=False), Span(fit(mark.word, 15), mark.role)]
        for line in wrap(meaning[show], max(10, width - _MEANING - 1)):
            yield fit_row([*head, Span(line, Role.DIM)], width)
            head = [Span(" " * _MEANING)]


def _reading(look: Look, width: int) -> list[Row]:
    filled, track = figures.bar(0.3, 24, look.glyphs)
    text = (
        "The bar is the level nearest its alarm limit, or the one for which the machine is near a limit, in alert or in alarm;"
        " on one scale for all machines: the first half is up to the alert"
        " limit (1), the next quarter up to the alarm limit (2), the end is twice the alarm limit. A low limit (<) is seen"
        " from above: the bar grows as the value falls. Ages are in coarse steps."
        " A ? beside a state says that it rests on data no longer good; a ~ after a name, where only some machines are"
        " simulated, that this one is."
    )
    rows = [fit_row([Span("   "), Span(filled, Role.TEXT), Span(track, Role.RULE)], width)]
    return rows + [_line(f"   {line}", width, Role.DIM) for line in wrap(text, max(10, width - 5))]


def question(alarm: AlarmView, person: Person, look: Look, width: int) -> list[Row]:
    """Write the question that comes before an acknowledgement: which alarm, and who says so."""
    mark = status.tag(status.of_alarm(alarm), look, calling=False)
    unit = figures.unit(alarm.unit, look.glyphs)
    bound = figures.limit(alarm.limit, alarm.side)
    value = f"{figures.number(alarm.value)} {unit}, limit {bound} {unit}" if alarm.value is not None else ""
    kind = ", PROOF: no real alarm" if alarm.proof else ", simulated" if alarm.sim else ""
    lines = [
        [Span(" Acknowledge this alarm?", Role.BRIGHT)],
        [],
        [Span(" "), *mark, Span(safe(alarm.machine_name), Role.BRIGHT), Span("  "), Span(alarm.severity, mark[0].role)],
        [Span(f"    {safe(alarm.point_name)}: {safe(alarm.title)}")],
        [Span(f"    {value}")],
        [Span(f"    raised {figures.stamp(alarm.raised_at)} UTC{kind}", Role.DIM)],
        [],
        [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
        [],
        [
            Span(" y", Role.BRIGHT),
            Span(" yes, I have noticed it     ", Role.DIM),
            Span("esc", Role.BRIGHT),
            Span(" no", Role.DIM),
        ],
    ]
    return [fit_row(spans, width, look.glyphs.ellipsis) for spans in lines]


def _line(text: str, width: int, role: Role = Role.TEXT) -> Row:
    return fit_row([Span(text, role)], width)
