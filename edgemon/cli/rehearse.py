"""`edgemon rehearse`: other limits, deadbands and delays over the recorded past, by the alarm logic itself, side by side."""

import argparse
import asyncio
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from edgemon.alarms import rehearsal
from edgemon.alarms.rehearsal import Change, Run
from edgemon.alarms.rules import Rules
from edgemon.cli.options import add_config, duration
from edgemon.cli.past import known_events, read_past
from edgemon.cli.recorded_past import LeftOut, found, measurements
from edgemon.cli.recordings import known_unit
from edgemon.cli.rehearse_baselines import approving, named, resting_on
from edgemon.cli.rehearse_words import Rehearsed, document, lines, monthly
from edgemon.cli.report import TIMES_WORDS, read_time
from edgemon.cli.timed_files import How
from edgemon.clock import SystemClock
from edgemon.engine.baselines import Key, in_force, key_of
from edgemon.engine.memory import Setting, setting_of
from edgemon.engine.past import followed, measures_alike
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.baseline import Baseline
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import LATEST, Instant, format_instant
from edgemon.model.level import Measurement
from edgemon.model.machine import Plant
from edgemon.settings.load import load_all, load_plant
from edgemon.store.reader import SqliteReader

ENDINGS = (".png", ".svg")
PERIOD = "90d"
"""Of the store, unless asked for otherwise."""
Measured = Mapping[PointKey, Sequence[Measurement]]


@dataclass(frozen=True, slots=True)
class Past:
    """What was measured, oldest first by point: as the plant file in force has it measured, and as the candidate has."""

    before: Measured
    after: Measured
    left_out: tuple[LeftOut, ...] = ()


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "rehearse",
        help="other limits over the recorded past, beside those in force",
        description=__doc__,
        epilog="Without files: over the readings of the store. Limits are those in force, with what approved baselines lead "
        "to, for the candidate too. A file of known events holds [[event]] tables with machine, t, name, and point where only "
        "one is meant. Exit code: 0 done, 1 something of the recordings could not be used (the rest is), 2 bad usage.",
    )
    add_config(parser)
    said = "recordings instead of the store: of `edgemon record`, or waveforms (.npz, .wav, .csv, .uff) with a time each"
    parser.add_argument("files", metavar="FILE|FOLDER", type=Path, nargs="*", help=said)
    parser.add_argument(
        "--candidate", metavar="FILE", type=Path, help="the plant file to be tried; default: none, only what is"
    )
    said = "the candidate is with this proposed baseline approved; may be repeated"
    parser.add_argument("--approve", metavar="MACHINE/POINT/LEVEL", action="append", default=[], help=said)
    said = f"begin of the period: {TIMES_WORDS}; default {PERIOD}, of recordings all"
    parser.add_argument("--since", metavar="TIME", help=said)
    parser.add_argument("--until", metavar="TIME", help="end of the period, likewise; default now")
    parser.add_argument("--machine", metavar="ID", help="this machine only")
    parser.add_argument("--events", metavar="FILE", type=Path, help="what really happened, as TOML")
    parser.add_argument("--store", metavar="FILE", type=Path, help="another store than gateway.toml names")
    parser.add_argument("--sim", action="store_true", help="over simulated data; otherwise it is left out")
    parser.add_argument("--plot", metavar="FILE", type=Path, help="a picture besides, .png or .svg")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    files = parser.add_argument_group("waveforms", "what the files do not say themselves")
    said = "point of a channel (its name or number) or of files of that name; * is any text; again for each"
    files.add_argument("--place", metavar="NAME=MACHINE/POINT", action="append", default=[], help=said)
    files.add_argument("--begin", metavar="TIME", help="when the first of a folder was taken, where no file or name says it")
    files.add_argument("--every", metavar="TIME", type=duration, help="and how long after it the next: 10s, 5m")
    files.add_argument("--fs", metavar="HZ", type=float, help="sample rate, where the files do not say it")
    files.add_argument("--unit", metavar="UNIT", help="unit of the numbers, where the files do not say it: m/s2, g")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Rehearse and print."""
    if options.plot is not None and options.plot.suffix.lower() not in ENDINGS:
        raise SettingsError(f"a plot is written as {' or '.join(ENDINGS)}", "--plot", "choose one of these endings")
    plant, gateway = load_all(options.config)
    candidate = plant if options.candidate is None else load_plant(options.candidate)
    if options.machine is not None and options.machine not in plant.machine_of:
        raise SettingsError(f"the plant file has no machine {options.machine!r}", "--machine", "see plant.toml")
    known = known_events(options.events, plant) if options.events is not None else ()
    machines = [one for one in plant.machines if options.machine in (None, str(one.id))]
    filed = setting_of(plant, gateway)
    learnt = asyncio.run(_baselines(options, filed))
    proposed = approving(filed, learnt, options.approve, bool(options.files))
    current, tried = in_force(filed, learnt), in_force(setting_of(candidate, gateway), {**learnt, **proposed})
    past = _past(options, current, tried, {one.id for one in machines})
    before, after = _runs(current.rules, past.before), _runs(tried.rules, past.after)
    begin, end = _span(past.before)
    told = Rehearsed(
        since=begin,
        until=end,
        before=before,
        after=after,
        load_before=rehearsal.load(before.values(), begin, end),
        load_after=rehearsal.load(after.values(), begin, end),
        leads_before=rehearsal.leads(before.values(), known),
        leads_after=rehearsal.leads(after.values(), known),
        changes=rehearsal.weightiest(_alone(current, tried, past, before)),
        left_out=past.left_out,
        approved=tuple(sorted(map(named, resting_on(filed, learnt)))),
        approving=tuple(sorted(map(named, proposed))),
    )
    if options.json:
        json.dump(document(told), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(told)))
    if options.plot is not None:
        _draw(told, options.plot)
    return 1 if past.left_out else 0


def _alone(current: Setting, tried: Setting, past: Past, before: Mapping[PointKey, Run]) -> Iterable[Change]:
    """Try each limit that differs by itself; one that is new, on what the candidate has measured."""
    for one in current.plant.machines:
        other = tried.plant.machine_of.get(one.id)
        for change in rehearsal.changes(one, other) if other is not None else ():
            measured = past.after if change.before is None else past.before
            if change.point in before and change.point in measured:
                rules = current.rules[change.point]
                yield rehearsal.alone(rules, change, measured[change.point], before[change.point])


def _past(options: argparse.Namespace, current: Setting, tried: Setting, machines: set[MachineId]) -> Past:
    """Read what was measured. Raises `EdgemonError` where there is nothing."""
    now = SystemClock().now()
    until = read_time(options.until, now, "--until") if options.until is not None else LATEST if options.files else now
    period = options.since or (None if options.files else PERIOD)
    since = 0.0 if period is None else read_time(period, now if until == LATEST else until, "--since")
    if options.files:
        past = _recorded(options, current, tried, machines, since, until)
    else:
        past = asyncio.run(_stored(options, current, tried, machines, since, until))
    if past.before:
        return past
    kind = "simulated" if options.sim else "real"
    if options.files:
        where = ", ".join(str(one) for one in options.files)
        raise EdgemonError(
            f"no {kind} measurement of a point of the plant file", where, "simulated ones with --sim" * (not options.sim)
        )
    span = f"between {format_instant(since)} and {format_instant(until)}"
    raise EdgemonError(f"no {kind} measurement {span}", str(_store(options, current)))


def _store(options: argparse.Namespace, setting: Setting) -> Path:
    return options.store if options.store is not None else setting.gateway.store


async def _baselines(options: argparse.Namespace, filed: Setting) -> Mapping[Key, Baseline]:
    """Read the newest baseline of each level; over recordings none where there is no store yet."""
    store = _store(options, filed)
    if options.files and not store.exists():
        return {}
    reader = await SqliteReader.open(store)
    try:
        return {key_of(one): one for one in await reader.baselines()}
    finally:
        await reader.close()


async def _stored(
    options: argparse.Namespace, current: Setting, tried: Setting, machines: set[MachineId], since: Instant, until: Instant
) -> Past:
    reader = await SqliteReader.open(_store(options, current))
    wanted = [one for plant in (current.plant, tried.plant) for one in plant.machines if one.id in machines]
    points = {**tried.plant.points, **current.plant.points}
    try:
        read = await read_past(reader, wanted, points, since, until, options.sim)
    finally:
        await reader.close()
    before, after = (
        {key: some for key, some in followed(setting, read).items() if key.machine in machines} for setting in (current, tried)
    )
    return Past(before, after)


def _recorded(
    options: argparse.Namespace, current: Setting, tried: Setting, machines: set[MachineId], since: Instant, until: Instant
) -> Past:
    how = _how(options, current.plant)
    files = found(options.files, how)

    def measured(setting: Setting) -> Measured:
        held = measurements(setting, files, how, options.sim)
        kept = {
            key: [one for one in some if since <= one.taken_at <= until]
            for key, some in held.items()
            if key.machine in machines
        }
        return {key: some for key, some in kept.items() if some}

    before = measured(current)
    after = before if measures_alike(current.plant, tried.plant) else measured(tried)
    left_out = tuple(files.lost.values())
    for one in left_out:
        print(f"edgemon: left out: {one}", file=sys.stderr)
    return Past(before, after, left_out)


def _how(options: argparse.Namespace, plant: Plant) -> How:
    try:
        unit = None if options.unit is None else known_unit(options.unit)
    except ValueError as error:
        raise SettingsError(f"unknown unit {error}", "--unit") from error
    begin = None if options.begin is None else read_time(options.begin, SystemClock().now(), "--begin")
    return How(begin, options.every, tuple(_place(word, plant) for word in options.place), options.fs, unit)


def _place(word: str, plant: Plant) -> tuple[str, PointKey]:
    name, _, place = word.rpartition("=")
    machine, _, point = place.partition("/")
    key = PointKey(MachineId(machine), PointId(point))
    if not name or key not in plant.points:
        what = f"the plant file has no point {place!r}" if name else f"{word!r}"
        raise SettingsError(what, "--place", "NAME=MACHINE/POINT, by their ids in plant.toml")
    return name, key


def _draw(told: Rehearsed, out: Path) -> None:
    try:
        from edgemon.report.bars import Pair, picture  # the plotting library is an extra
    except ModuleNotFoundError as error:
        raise EdgemonError("plots need the extra `report`", "--plot", "pip install 'edgemon[report]'") from error
    pairs = [Pair(str(key), _both(told.before[key]), _both(told.after[key])) for key in told.before if key in told.after]
    try:
        out.write_bytes(picture(pairs, out.suffix.lower().removeprefix(".")))
    except OSError as error:
        raise EdgemonError(f"the picture cannot be written: {error.strerror}", str(out), "choose another --plot") from error


def _both(one: Run) -> tuple[float, float]:
    return monthly(one.alerts, one), monthly(one.alarms, one)


def _runs(rules: Mapping[PointKey, Rules], past: Measured) -> dict[PointKey, Run]:
    return {key: rehearsal.run(one, past[key]) for key, one in rules.items() if key in past}


def _span(past: Measured) -> tuple[Instant, Instant]:
    return min(one[0].taken_at for one in past.values()), max(one[-1].taken_at for one in past.values())
