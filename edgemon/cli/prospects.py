"""Where the levels of a report are heading and what they usually are: from the store alone, by the daemon's own rules."""

from collections.abc import Mapping
from dataclasses import replace

from edgemon.daemon.learning import STRETCH, read_values, repaired_at
from edgemon.engine.baseline_views import Told, baseline_views
from edgemon.engine.baselines import Key, key_of, learn, learnable
from edgemon.engine.memory import Setting
from edgemon.engine.outlook import MOST, outlook
from edgemon.model.baseline import Baseline, BaselineState, Refusal
from edgemon.model.ids import PointKey
from edgemon.model.instant import EARLIEST, LATEST, Instant
from edgemon.model.level import LevelKind
from edgemon.model.machine import Machine, Point, point_key
from edgemon.model.outlook import BaselineView
from edgemon.report.port import LevelMaterial
from edgemon.store.port import Reader


def watched(
    filed: Setting, baselines: tuple[Baseline, ...], machine: Machine, sim: bool
) -> tuple[Setting, dict[Key, Baseline]]:
    """Give the plant file's setting as the gateway that wrote the store had it, and the machine's baselines.

    Notes
    -----
    Baselines are made of the kind of data that a gateway watches: where there are simulated ones, it watched simulated data.
    """
    own = {key_of(one): one for one in baselines if one.point.machine == machine.id and one.sim is sim}
    is_simulated = filed.gateway.simulated or (sim and bool(own))
    return replace(filed, gateway=replace(filed.gateway, simulated=is_simulated)), own


async def with_prospects(
    reader: Reader,
    levels: tuple[LevelMaterial, ...],
    machine: Machine,
    point: Point,
    known: Mapping[Key, Baseline],
    until: Instant,
    sim: bool,
) -> tuple[LevelMaterial, ...]:
    """Say where levels are heading by the end of the period, from the newest values up to then, however old."""
    found = []
    for level in levels:
        kind = point.kind_of(level.name)
        if level.limit is not None and level.values and kind is not None:
            since = repaired_at(known.get((point.key, level.name, sim)))
            begin = EARLIEST if since is None else since
            read = await read_values(reader, machine, point.key, kind, begin, until, sim, MOST)
            level = replace(level, outlook=outlook(machine, point, kind, *read, until, since, sim))
        found.append(level)
    return tuple(found)


async def baselines_of(
    reader: Reader, filed: Setting, setting: Setting, machine: Machine, known: Mapping[Key, Baseline], sim: bool
) -> dict[tuple[PointKey, str], BaselineView]:
    """Show the machine's baselines, and how far the first stretch of values is that the others are learnt from."""
    learning: dict[Key, Told] = {}
    for point in filed.plant.machine_of[machine.id].points:
        for kind in learnable(point):
            one = known.get((point.key, kind.name, sim))
            if one is None or one.state is BaselineState.RETIRED:
                learning[point.key, kind.name, sim] = await _told(reader, machine, point.key, kind, one, sim)
    views = baseline_views(filed, setting, known, learning)
    return {(point_key(view.machine, view.point), view.level): view for view in views}


async def _told(reader: Reader, machine: Machine, point: PointKey, kind: LevelKind, known: Baseline | None, sim: bool) -> Told:
    retired = None if known is None else known.retired_at or known.learnt_since
    begin, repaired = EARLIEST if retired is None else retired, repaired_at(known)
    read = await read_values(reader, machine, point, kind, begin, LATEST, sim, STRETCH, earliest=True)
    learnt = learn(machine, point, kind, *read, now=LATEST, learnt_since=repaired, sim=sim)
    refused = learnt.outcome
    note = f"{refused.reason.value} ({refused.text})" if isinstance(refused, Refusal) else "enough is there to propose one"
    return Told(learnt.count, note)
