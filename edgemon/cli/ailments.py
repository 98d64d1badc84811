"""What `edgemon doctor` makes of what it found: a verdict and what to do about it, each a plain function of facts."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.gateway import Gateway
from edgemon.model.instant import format_instant
from edgemon.model.snapshot import GatewayView, Snapshot
from edgemon.settings.problem import Problem

LEAST_FREE_BYTES = 1_000_000_000
LEAST_FREE_SHARE = 0.05
"""Below either, a disk wants attention. House choices: a plant of 200 sensors fills a gigabyte in days."""
SLOW_SYNC_S = 0.5
"""A commit that takes longer holds the sensors' messages up noticeably. House choice."""
CERTIFICATE_DAYS = 30.0
"""Common practice, no source: enough time to have a new one signed."""
BACKLOG_S = 600.0
"""House choice."""
NETWORK_FILE_SYSTEMS = ("nfs", "nfs4", "cifs", "smb3", "fuse.sshfs", "9p", "ceph", "glusterfs")
"""Source: "How To Corrupt An SQLite Database File", section 2.1: their locks and syncs cannot be relied on."""


class Weight(StrEnum):
    """How bad it is."""

    OK = "ok"
    ATTENTION = "attention"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at."""

    what: str
    weight: Weight
    found: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class Disk:
    """The disk that the store is on."""

    file_system: str
    free_bytes: int
    total_bytes: int
    sync_s: float | None
    """The slowest of some writes of 4 KiB made durable; None where the folder cannot be written by whoever asks."""


def settings(problems: Sequence[Problem]) -> Finding:
    """Judge the settings."""
    errors = sum(problem.is_error for problem in problems)
    if errors:
        return Finding("settings", Weight.WRONG, f"{errors} errors", "edgemon check names each with its line")
    if problems:
        return Finding("settings", Weight.ATTENTION, f"{len(problems)} warnings", "edgemon check names each with its line")
    return Finding("settings", Weight.OK, "no doubt")


def clock(is_synchronised: bool | None) -> Finding:
    """Judge the machine's clock."""
    if is_synchronised is None:
        return Finding("clock", Weight.ATTENTION, "whether it is synchronised cannot be asked here", "timedatectl")
    if is_synchronised:
        return Finding("clock", Weight.OK, "synchronised")
    do = "run a time service (systemd-timesyncd, chrony): lateness, staleness and shelves go by this clock"
    return Finding("clock", Weight.ATTENTION, "not synchronised", do)


def disk(facts: Disk) -> Iterator[Finding]:
    """Judge the disk of the store."""
    if facts.file_system in NETWORK_FILE_SYSTEMS:
        do = "[store] path on a local disk: what a network file system calls stored may not be"
        yield Finding("disk", Weight.WRONG, f"the store is on {facts.file_system}", do)
    else:
        yield Finding("disk", Weight.OK, f"local, {facts.file_system}")
    share = facts.free_bytes / facts.total_bytes if facts.total_bytes else 0.0
    text = f"{facts.free_bytes / 1e9:.1f} GB free, {share:.0%}"
    is_low = facts.free_bytes < LEAST_FREE_BYTES or share < LEAST_FREE_SHARE
    yield Finding("space", Weight.ATTENTION if is_low else Weight.OK, text, "make room" if is_low else "")
    if facts.sync_s is None:
        yield Finding("sync", Weight.ATTENTION, "not measured: the folder cannot be written", "ask as the daemon's user")
    else:
        is_slow = facts.sync_s > SLOW_SYNC_S
        do = "a faster disk, or fewer writers on it" if is_slow else ""
        yield Finding("sync", Weight.ATTENTION if is_slow else Weight.OK, f"{facts.sync_s * 1000:.1f} ms at worst", do)


def certificate(days: float | None) -> Finding:
    """Judge how long the broker's certificate holds."""
    if days is None:
        return Finding("certificate", Weight.ATTENTION, "could not be read", "see the finding on the broker")
    if days < CERTIFICATE_DAYS:
        weight = Weight.WRONG if days <= 0.0 else Weight.ATTENTION
        return Finding("certificate", weight, f"ends in {days:.0f} days", "have a new one signed")
    return Finding("certificate", Weight.OK, f"holds for {days:.0f} days")


def broker(gateway: Gateway, trouble: str) -> Finding:
    """Judge what came of a connection of one's own to the broker; `trouble` empty: it was accepted."""
    if gateway.broker.is_embedded:
        do = "[broker] url of one with a disk queue of its own, before it watches machines"
        return Finding("broker", Weight.ATTENTION, "the gateway's own, which keeps nothing for a gateway that is away", do)
    where = f"{gateway.broker.host}:{gateway.broker.port}"
    if trouble:
        return Finding("broker", Weight.WRONG, f"{where}: {trouble}", "is it running, reachable, and do name and password fit?")
    return Finding("broker", Weight.OK, f"{where} answers")


_SAVED = "edgemon journal --kind store-mended"


def damaged(kept: Sequence[str]) -> Iterator[Finding]:
    """Name the damaged stores that were set aside."""
    if kept:
        do = f"{_SAVED} tells what was saved; delete what is no longer needed, have the disk checked"
        yield Finding("set aside", Weight.ATTENTION, f"damaged stores: {', '.join(kept)}", do)


def daemon(snapshot: Snapshot | None, why: str) -> Iterator[Finding]:
    """Judge the running daemon."""
    if snapshot is None:
        yield Finding("daemon", Weight.WRONG, why, "systemctl status edgemon, or edgemon run --config DIR")
        return
    gateway = snapshot.gateway
    yield Finding("daemon", Weight.OK, f"version {gateway.version}, {len(snapshot.machines)} machines")
    if not gateway.store_ok:
        found = f"keeps {gateway.store_keeps}: {gateway.store_detail}"
        yield Finding("store", Weight.WRONG, found, "meanwhile the broker keeps what comes, and machines are watched")
    if gateway.store_remark:
        yield Finding("store", Weight.ATTENTION, gateway.store_remark, f"{_SAVED}; have the disk checked")
    for link in gateway.links:
        if not link.up:
            yield Finding("link", Weight.WRONG, f"{link.name} is down: {link.detail}", "")
    if gateway.deaf_since is not None:
        do = "power and network of radio base and bridge; what the broker lets the gateway's login read"
        yield Finding("sensors", Weight.WRONG, f"none is heard since {format_instant(gateway.deaf_since)}", do)
    waiting = 0.0 if gateway.oldest_unsent is None else gateway.now - gateway.oldest_unsent
    if waiting > BACKLOG_S:
        yield Finding("unsent", Weight.ATTENTION, f"{gateway.unsent} documents wait, the oldest for {waiting / 60:.0f} min", "")
    yield from _upstreams(gateway)
    if gateway.rejected:
        do = "edgemon journal --kind message-rejected"
        yield Finding("messages", Weight.ATTENTION, f"{gateway.rejected} could not be used", do)
    silent = [sensor.id for sensor in snapshot.sensors if sensor.heard_at is None]
    if silent:
        names = ", ".join(silent[:5]) + (" ..." if len(silent) > 5 else "")
        yield Finding("sensors", Weight.ATTENTION, f"{len(silent)} were never heard: {names}", "switched on? in range?")


def _upstreams(gateway: GatewayView) -> Iterator[Finding]:
    for one in gateway.upstreams:
        if behind := one.behind_s(gateway.now):
            found = f"{one.name} is {behind / 3600.0:.1f} h behind, {one.waiting} wait"
            yield Finding("upstream", Weight.ATTENTION, found, "is the server slow, or per_second too low?" if one.up else "")
        if one.parked:
            yield Finding("upstream", Weight.ATTENTION, f"{one.name} refused {one.parked}", "edgemon upstream parked")


def people(gateway: Gateway, members: dict[str, int]) -> Finding:
    """Judge whether somebody may acknowledge; `members` counts those of each group this machine knows."""
    named = (*gateway.access.operators, *gateway.access.engineers)
    if not named:
        return Finding("people", Weight.WRONG, "nobody may acknowledge an alarm", "[access] operators and engineers")
    empty = [group for group in named if not members.get(group)]
    if empty:
        return Finding("people", Weight.ATTENTION, f"nobody is in {', '.join(empty)}", "usermod -aG GROUP USER")
    return Finding("people", Weight.OK, ", ".join(f"{group} ({members[group]})" for group in named))
