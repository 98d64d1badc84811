"""The past out of files: recorded traffic and files of captures, by the engine itself, as measurements of points."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import merge
from itertools import groupby, islice
from pathlib import Path
from typing import NamedTuple, TypeAlias

from edgemon.alarms.rehearsal import by_point
from edgemon.cli.progress import Progress
from edgemon.cli.recordings import readable
from edgemon.cli.timed_files import How, Timed, decoded_of, timed
from edgemon.cli.traffic import Damaged, Header, levels_of, read_header, read_messages
from edgemon.cli.waveform_files import RecordingError
from edgemon.decode.decoded import Decoded
from edgemon.engine.memory import Setting
from edgemon.engine.past import Batch, measured
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Message

BATCH = 32
"""As many messages as the daemon judges at once at most."""


class Entry(NamedTuple):
    """A message, or a file of a capture in its place."""

    at: Instant
    source: str
    """The file of traffic; empty of a capture."""
    message: Message
    decoded: Decoded | None = None


@dataclass(slots=True)
class LeftOut:
    """What cannot be used: a file, or so many lines or messages of it; the first stands for those of its kind."""

    where: str
    why: str
    count: int = 0

    def __str__(self) -> str:
        """Write it for people."""
        return f"{self.where}: {self.why}" + (f"; {self.count} of this kind" if self.count > 1 else "")


Lost: TypeAlias = dict[tuple[str, str], LeftOut]
"""By file and kind."""


def lose(lost: Lost, file: str, kind: str, where: str, why: str) -> None:
    """Note what cannot be used."""
    lost.setdefault((file, kind), LeftOut(where, why)).count += 1


@dataclass(slots=True)
class Files:
    """Recordings, sorted by kind and time, and what of them cannot be used."""

    traffic: list[tuple[Path, Header]] = field(default_factory=list)
    captures: list[Timed] = field(default_factory=list)
    lost: Lost = field(default_factory=dict)


def found(given: Sequence[Path], how: How) -> Files:
    """Look what there is; nothing is read whole yet.

    Raises
    ------
    SettingsError
        A folder in which nothing can be read.
    """
    files = Files()
    waveforms: list[Path] = []
    for path in (one for where in given for one in _within(where)):
        if path.suffix.lower() in readable():
            waveforms.append(path)
            continue
        try:
            files.traffic.append((path, read_header(path)))
        except SettingsError as error:
            _unreadable(files.lost, error)
    files.traffic.sort(key=lambda one: one[1].started_at)
    for one in timed(waveforms, how):
        if isinstance(one, Timed):
            files.captures.append(one)
        else:
            _unreadable(files.lost, one)
    files.captures.sort(key=lambda one: one.t)
    return files


def _within(path: Path) -> list[Path]:
    """Give the files meant: of a folder those that can be read, in order of names, numbers within them by their size."""
    if not path.is_dir():
        return [path]
    files = [one for one in path.iterdir() if one.is_file()]
    held = sorted((one for one in files if one.suffix.lower() in readable() or _is_traffic(one)), key=_natural)
    if not held:
        kinds = ", ".join(sorted({one.suffix or "none" for one in files})) or "none: it is empty"
        raise SettingsError(f"no recording in this folder; file endings there: {kinds}", str(path), _HINT)
    return held


_HINT = f"files that `edgemon record` wrote, or {', '.join(readable())}"


def _natural(path: Path) -> list[tuple[int, str]]:
    """Order by names as people do: `acc_2` before `acc_10`."""
    parts = ("".join(group) for _, group in groupby(path.name, str.isdecimal))
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts]


def _is_traffic(path: Path) -> bool:
    try:
        read_header(path)
    except SettingsError:
        return False
    return True


def _unreadable(lost: Lost, error: EdgemonError) -> None:
    lose(lost, error.where, "", error.where, f"{error.what} ({error.hint})" if error.hint else error.what)


def measurements(setting: Setting, files: Files, how: How, sim: bool) -> Mapping[PointKey, list[Measurement]]:
    """Have the engine measure everything, oldest first by point; what cannot be used is noted in `files`."""
    past: list[Measurement] = []
    source = [""]
    lost: Lost = {}

    def batches() -> Iterator[Batch]:
        for source[0], batch in _batches(_entries(setting, files, how, lost)):
            yield batch

    with Progress("measurements") as progress:
        for said in measured(setting, batches()):
            past += (one for one in said.measurements if one.sim is sim)
            for one in said.rejected:
                where = source[0] or one.topic
                lose(lost, where, one.cause, where, one.detail)
            progress.at(len(past))
    files.lost = lost | files.lost
    return by_point(past)


def _entries(setting: Setting, files: Files, how: How, lost: Lost) -> Iterator[Entry]:
    root = setting.gateway.root
    said = (entry for path, header in files.traffic for entry in _traffic(path, header, root, lost))
    held = (entry for one in files.captures for entry in _captures(one, setting, how, lost))
    return merge(said, held, key=lambda entry: entry.at)


def _traffic(path: Path, header: Header, root: str, lost: Lost) -> Iterator[Entry]:
    for one in read_messages(path):
        if isinstance(one, Damaged):
            lose(lost, str(path), "damaged", f"{path}:{one.line}", one.why)
        elif levels := levels_of(one.topic, header.root):
            topic = "/".join((root, *levels))
            yield Entry(one.received_at, str(path), Message(topic, one.payload, one.received_at, one.retained))


def _captures(one: Timed, setting: Setting, how: How, lost: Lost) -> Iterator[Entry]:
    try:
        held = decoded_of(one, setting.plant, how)
    except RecordingError as error:
        _unreadable(lost, error)
        return
    yield from (Entry(one.t, "", message, decoded) for message, decoded in held)


def _batches(entries: Iterable[Entry]) -> Iterator[tuple[str, Batch]]:
    """Put together what comes from one file of traffic, so that it can be blamed; a file of a capture names itself."""
    for source, group in groupby(entries, lambda entry: entry.source):
        while some := tuple(islice(group, BATCH)):
            decoded = None if source else tuple(entry.decoded for entry in some if entry.decoded is not None)
            yield source, Batch(tuple(entry.message for entry in some), decoded)
