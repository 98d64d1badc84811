"""Baselines in a rehearsal: which limits rest on, and a proposal as if an engineer had approved it."""

from collections.abc import Iterable, Mapping

from edgemon.engine.baselines import Key, in_force, key_of, obey
from edgemon.engine.memory import Setting
from edgemon.errors import ParameterError, SettingsError
from edgemon.model.baseline import Baseline, BaselineState
from edgemon.model.command import ApproveBaseline, Person, Role
from edgemon.model.event import CommandRefused
from edgemon.model.ids import MachineId, PointId, PointKey

_NOBODY = Person("rehearsal", Role.ENGINEER, "rehearsal")
OPTION = "--approve"


def named(key: Key) -> str:
    """Write `machine/point/level`."""
    return f"{key[0]}/{key[1]}"


def resting_on(filed: Setting, baselines: Mapping[Key, Baseline]) -> Iterable[Key]:
    """Give the approved baselines that change what is in force, each by itself."""
    for key, one in baselines.items():
        if one.state is BaselineState.APPROVED and in_force(filed, {key: one}).plant != filed.plant:
            yield key


def approving(
    filed: Setting, baselines: Mapping[Key, Baseline], asked: Iterable[str], over_files: bool
) -> Mapping[Key, Baseline]:
    """Give proposals as they would be once approved, by the rules that hold for an engineer.

    Raises
    ------
    SettingsError
        No such point or level, nothing proposed, or no limit follows from it.
    """
    found: dict[Key, Baseline] = {}
    for word in asked:
        machine, _, rest = word.partition("/")
        point, _, level = rest.partition("/")
        key = (PointKey(MachineId(machine), PointId(point)), level, filed.gateway.simulated)
        held = baselines.get(key)
        order = ApproveBaseline(key[0], level, key[2], "rehearsed", None)
        try:
            event = obey(filed, baselines, order, _NOBODY, 0.0 if held is None else held.proposed_at)
        except ParameterError as error:
            raise SettingsError(error.what, f"{OPTION} {word}", "MACHINE/POINT/LEVEL, by their ids in plant.toml") from error
        if isinstance(event, CommandRefused):
            raise SettingsError(event.why, f"{OPTION} {word}", "edgemon baseline lists them")
        if event.baseline.mask and not over_files:
            what = "what a mask makes of past captures is not in the store"
            raise SettingsError(
                what, f"{OPTION} {word}", "edgemon export captures --samples FOLDER, and rehearse over that folder"
            )
        if in_force(filed, {key: event.baseline}).plant == filed.plant:
            raise SettingsError(event.note or "no limit follows from it", f"{OPTION} {word}", "nothing would change")
        found[key_of(event.baseline)] = event.baseline
    return found
