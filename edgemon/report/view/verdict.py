"""The first page: the verdict in words, what it means, what to do, by when; then the findings in short."""

from dataclasses import dataclass, replace
from statistics import median

from edgemon.model.alarm import AlarmState
from edgemon.model.event import AlarmChanged
from edgemon.model.finding import Finding
from edgemon.model.ids import PointKey
from edgemon.model.limit import Severity, Side
from edgemon.model.outlook import CrossingView
from edgemon.report.document import Banner, Block, Bullets, Heading, Paragraph, Section, Tone
from edgemon.report.port import Material
from edgemon.report.view.standing import Assessment, Changed, Coming, Newest, Standing
from edgemon.report.view.words import (
    FAULT_WORDS,
    amount,
    capital,
    counted,
    fault_name,
    level_title,
    limit_amount,
    limit_number,
    number,
    shown_unit,
    span,
    sureness,
    when,
)


@dataclass(frozen=True, slots=True)
class _Words:
    """What a standing is called, means and asks for.

    Source: the meanings of `normal`, `alert` and `alarm` follow the zones A to D of ISO 20816-1:2016 (from memory); what to
    do and by when is common practice, no source, and a proposal only.
    """

    word: str
    tone: Tone
    means: str
    do: str
    by: str


WORDS: dict[Standing, _Words] = {
    Standing.NORMAL: _Words(
        "Normal",
        Tone.NORMAL,
        "The levels watched are in the range in which machines of this kind usually run for years.",
        "No action. Go on measuring.",
        "Next routine report.",
    ),
    Standing.NOT_RUNNING: _Words(
        "Not running",
        Tone.PLAIN,
        "The machine stood still at the end of the period; how it runs cannot be judged from a machine at rest.",
        "Repeat this report once the machine has run at its usual speed and load for some hours.",
        "After the next start.",
    ),
    Standing.WATCH: _Words(
        "Within its limits, with a remark",
        Tone.ALERT,
        "No limit is exceeded at the end of the period, but the measurements show a pattern, a course or an alarm that often "
        "comes before a fault.",
        "Let a vibration analyst look at the evidence; measure more often until that is done.",
        "Analyst's look within two weeks.",
    ),
    Standing.UNKNOWN: _Words(
        "Not known: data is missing",
        Tone.NO_DATA,
        "At least one measurement point says nothing usable. Silence is not a sign of health.",
        "Restore the measurement (sensor, battery, radio link); until then check the machine by hand.",
        "Within one working day.",
    ),
    Standing.ALERT: _Words(
        "Alert: above the alert limit",
        Tone.ALERT,
        "Usually considered unsatisfactory for continuous operation over a long time; a limited time is usually acceptable.",
        "Let a vibration analyst confirm the cause, plan the correction, and measure more often until it is done.",
        "Analyst's look within a week; correction at the next planned stop.",
    ),
    Standing.ALARM: _Words(
        "Alarm: above the alarm limit",
        Tone.ALARM,
        "Levels of this size are usually considered severe enough to damage the machine.",
        "Let a competent person decide whether the machine may go on, runs at reduced speed or load, or is stopped and "
        "corrected; bring a standby machine on line if there is one.",
        "Today, within this shift.",
    ),
}


_NOT_CLEARED = (
    "A level went beyond this limit, and no fit measurement since has cleared it; the newest values are back within it."
)
STANDING_ALONE = {
    Standing.ALERT: ("Alert in force: not cleared yet", "Let a vibration analyst look at the evidence before anything else."),
    Standing.ALARM: (
        "Alarm in force: not cleared yet",
        "Let a competent person decide whether the machine may run on, or be started again, before the cause is known.",
    ),
}
"""What is said where an alarm stands whose level is back: that it is above its limit would contradict the values shown."""
MOST_NAMED = 3
"""Alarms that came and went which the first page names; the others it counts."""
LOW_MEANS = "A level has fallen to the limit that the plant wants it to keep above: drive, load, mount and sensor are in doubt."


def verdict_section(material: Material, assessment: Assessment) -> Section:
    """Make the first section: the analyst's own verdict where there is one, edgemon's beside it."""
    words = _words_of(assessment)
    blocks: list[Block] = []
    own = material.analyst.of("verdict"), material.analyst.of("recommendation"), material.analyst.of("by when")
    for heading, texts in zip(("The analyst's verdict", "The analyst's recommendation", "By when"), own, strict=True):
        if texts:
            blocks.extend((Heading(heading), *paragraphs(texts)))
    if blocks:
        blocks.append(Heading("What the measurements say by themselves"))
    rows = [("What it means", words.means), ("What to do", words.do), ("By when", _by(words.by, assessment))]
    said = "Seen before the silence" if assessment.standing is Standing.UNKNOWN else "Likely fault"
    rows += [(said, _likely(assessment.findings[0]))] if assessment.findings else []
    blocks.append(Banner(words.word, words.tone, _sentence(material, assessment), tuple(rows)))
    blocks.append(Heading("In short"))
    blocks.append(Bullets(tuple(_short(material, assessment))))
    return Section("Verdict and recommendation", tuple(blocks))


def _words_of(assessment: Assessment) -> _Words:
    """Give the words of a standing; where low limits brought it about, what they say of high levels does not hold."""
    words = WORDS[assessment.standing]
    if is_alone(assessment):
        word, do = STANDING_ALONE[assessment.standing]
        return replace(words, word=word, means=_NOT_CLEARED, do=do)
    sides = {one.limit.side for one in assessment.newest if one.severity is not Severity.NORMAL}
    sides |= {change.side for change in assessment.in_force}
    if assessment.standing not in (Standing.ALERT, Standing.ALARM) or Side.BELOW not in sides:
        return words
    if Side.ABOVE in sides:
        return replace(words, word=words.word.replace("above", "beyond"))
    return replace(words, word=words.word.replace("above", "below"), means=LOW_MEANS)


def is_alone(assessment: Assessment) -> bool:
    """Say whether alarms alone make the standing: no newest value is beyond that limit any more."""
    if assessment.standing not in STANDING_ALONE:
        return False
    severity = Severity.ALARM if assessment.standing is Standing.ALARM else Severity.ALERT
    return all(one.severity < severity for one in assessment.newest)


def _by(usual: str, assessment: Assessment) -> str:
    earliest = [one.crossing.earliest for one in assessment.forecasts if one.crossing.earliest is not None]
    if not earliest or assessment.standing is Standing.ALARM:
        return usual
    return f"{usual} In any case before {when(min(earliest))}, when a limit may be crossed if it goes on as it does."


def _likely(finding: Finding) -> str:
    name, meaning = FAULT_WORDS[finding.fault]
    return f"{capital(name)}, seen at {finding.channel} ({sureness(finding.confidence)}). {meaning} {finding.caution}"


def _sentence(material: Material, assessment: Assessment) -> str:
    machine, worst = material.machine.name, assessment.worst
    if assessment.standing is Standing.UNKNOWN:
        names = ", ".join(point.point.name for point in assessment.silent)
        return f"{machine}: no usable data from {names} at the end of the period."
    if is_alone(assessment):
        return _standing_alone(material, assessment)
    if assessment.standing is Standing.NOT_RUNNING or worst is None:
        return f"{machine} stood still." if assessment.is_running is False else f"{machine}: no level has a limit."
    return f"{machine}: {describe(worst)}."


def _standing_alone(material: Material, assessment: Assessment) -> str:
    """Name the gravest alarm in force, what it was raised by, and what its level is now."""
    change = max(assessment.in_force, key=lambda one: (one.severity, one.at))
    newest = next((one for one in assessment.newest if _is_of(one, change)), None)
    point = next((one for one in material.machine.points if one.key.point == change.alarm.point), None)
    title = level_title(change.alarm.level, None if point is None else point.kind_of(change.alarm.level))
    where = str(change.alarm.point) if point is None else point.name
    was = "" if change.value is None or not change.unit else f" at {amount(change.value, change.unit)}"
    limit = "" if change.limit is None else f" (limit {limit_amount(change.limit, change.unit, change.side)})"
    now = "" if newest is None else f"; the newest value is {amount(newest.value.value, newest.limit.unit)}"
    word = f"{change.severity.word} of {title} at {where}"
    return f"{material.machine.name}: {word}, raised{was}{limit} on {when(change.at)}, has not cleared{now}."


def _is_of(one: Newest, change: AlarmChanged) -> bool:
    return one.point.point.key.point == change.alarm.point and one.level.name == change.alarm.level


def describe(one: Newest) -> str:
    """Say how one level stands against its limits."""
    limit, value = one.limit, one.value.value
    text = f"{level_title(one.level.name, one.level.kind)} at {one.point.point.name} is {amount(value, limit.unit)}"
    alert, alarm = limit_amount(limit.alert, limit.unit), limit_amount(limit.alarm, limit.unit)
    bad, good = ("below", "above") if limit.side is Side.BELOW else ("above", "below")
    if limit.alarm is None or limit.alert is None:
        side = bad if one.severity is not Severity.NORMAL else good
        word, bound = ("alarm", alarm) if limit.alert is None else ("alert", alert)
        return f"{text}, {side} its {word} limit of {bound}"
    if one.severity is Severity.ALARM:
        return f"{text}, {bad} its alarm limit of {alarm} (alert {alert})"
    if one.severity is Severity.ALERT:
        return f"{text}, {bad} its alert limit of {alert} and {good} its alarm limit of {alarm}"
    return f"{text}, {good} its alert limit of {alert} (alarm {alarm})"


def _short(material: Material, assessment: Assessment) -> list[str]:
    points = {point.key: point for point in material.machine.points}
    items = [_count_beyond(assessment)] if assessment.newest else []
    if assessment.worst is not None and (course := course_of(assessment.worst)):
        items.append(course)
    for change in sorted(assessment.in_force, key=lambda change: change.at):
        known = "not acknowledged yet" if change.to_state is AlarmState.UNACK else "acknowledged"
        point = points.get(PointKey(change.alarm.machine, change.alarm.point))
        title = level_title(change.alarm.level, None if point is None else point.kind_of(change.alarm.level))
        what = f"{change.alarm.point if point is None else point.name}, {title}"
        items.append(f"{change.severity.word.capitalize()} in force since {when(change.at)}: {what}; {known}.")
    items += [_returned(material, assessment)] if assessment.returned else []
    items += [changed_line(one) for one in assessment.changed]
    items += [f"{finding_line(finding)}." for finding in assessment.findings]
    items += [forecast_line(coming) for coming in assessment.forecasts]
    if assessment.hidden:
        items.append(
            f"{counted(len(assessment.hidden), 'alarm')} shelved, suppressed, latched or out of service; see Alarm history."
        )
    if assessment.silent and assessment.standing is not Standing.UNKNOWN:
        names_silent = ", ".join(point.point.name for point in assessment.silent)
        items.append(
            f"No usable data at the end of the period from {names_silent}; what is said of them is their last known state."
        )
    if material.sim:
        items.append("All data in this report is simulated; it says nothing about a real machine.")
    return items


def _returned(material: Material, assessment: Assessment) -> str:
    """Count what came and went within the period, by point and level, and what of it nobody has acknowledged."""
    names = {point.key: point for point in material.machine.points}
    counts: dict[str, int] = {}
    for one in sorted(assessment.returned, key=lambda each: -each.severity):
        point = names.get(PointKey(one.alarm.machine, one.alarm.point))
        title = level_title(one.alarm.level, None if point is None else point.kind_of(one.alarm.level))
        name = f"{one.severity.word} of {one.alarm.point if point is None else point.name}, {title}"
        counts[name] = counts.get(name, 0) + 1
    said = [name if count == 1 else f"{name} ({count} times)" for name, count in counts.items()]
    more = f" and {len(said) - MOST_NAMED} more" if len(said) > MOST_NAMED else ""
    open_ones = sum(one.acknowledged_at is None for one in assessment.returned)
    left = f"; {open_ones} not acknowledged" if open_ones else ""
    return f"Came and went within the period: {'; '.join(said[:MOST_NAMED])}{more}{left}; see Alarm history."


def changed_line(one: Changed) -> str:
    """Say how far a level lies off its baseline."""
    unit = shown_unit(one.outlook.unit)
    by, allowed = f"{'+' if one.by >= 0.0 else '-'}{number(abs(one.by))} {unit}", number(one.baseline.change or 0.0)
    where = f"{capital(one.outlook.title)} at {one.point.point.name}"
    return f"{where} is {by} off its approved baseline: a significant change (more than 25 % of B/C, {allowed} {unit})."


def _count_beyond(assessment: Assessment) -> str:
    beyond = [one for one in assessment.newest if one.severity is not Severity.NORMAL]
    total = counted(len(assessment.newest), "level")
    if not beyond:
        return f"None of {total} with a limit is beyond it."
    alarms = sum(one.severity is Severity.ALARM for one in beyond)
    return (
        f"{len(beyond)} of {total} with a limit are beyond it: {alarms} beyond alarm, {len(beyond) - alarms} beyond alert only."
    )


def course_of(one: Newest) -> str:
    """Say how a level moved between the first and last tenth of its fit values; empty where there are too few."""
    fit = [value for value in one.level.values if value.fit]
    tenth = len(fit) // 10
    if tenth < 1:
        return ""
    first, last = (median(value.value for value in part) for part in (fit[:tenth], fit[-tenth:]))
    title, unit = level_title(one.level.name, one.level.kind), one.limit.unit
    how = "is about as it was" if abs(last - first) < 0.1 * abs(first) else "rose" if last > first else "fell"
    took = span(fit[-1].t - fit[0].t)
    what = f"{capital(title)} at {one.point.point.name} {how}"
    return f"{what}: {amount(first, unit)} at first, {amount(last, unit)} at last, in {took}."


def finding_line(finding: Finding) -> str:
    """Name a finding, where, and how sure."""
    more = f" ({finding.detail})" if finding.detail else ""
    return f"{capital(fault_name(finding.fault))}{more}, seen at {finding.channel}, {sureness(finding.confidence)}"


def forecast_line(coming: Coming) -> str:
    """Say when a limit is crossed if it goes on, and how wide the doubt is."""
    outlook, crossing = coming.outlook, coming.crossing
    of = f"its {crossing.severity} limit of {limit_number(crossing.limit)} {shown_unit(outlook.unit)}".rstrip()
    where = f"{outlook.title} at {coming.point.point.name}"
    return f"If it goes on as it does, {where} reaches {of}: {times_of(crossing)}."


def times_of(crossing: CrossingView) -> str:
    """Write the times of a crossing; empty where there is no forecast."""
    times = (("earliest", crossing.earliest), ("most likely", crossing.likely), ("latest", crossing.latest))
    return ", ".join(f"{word} {when(at)}" for word, at in times if at is not None)


def paragraphs(texts: tuple[str, ...]) -> list[Block]:
    """Make blocks of what a person wrote: paragraphs, and lists of those that begin with a dash."""
    blocks: list[Block] = []
    items: list[str] = []
    for text in texts:
        if text.startswith("- "):
            items.append(text[2:])
            continue
        if items:
            blocks.append(Bullets(tuple(items)))
            items = []
        blocks.append(Paragraph(text))
    return blocks + ([Bullets(tuple(items))] if items else [])
