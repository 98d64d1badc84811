"""Pages of several gateways as one: handover, journal, alarm performance, and what came of an order given to all."""

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from edgemon.model.instant import Instant, format_instant
from edgemon.model.performance import Performance, Share
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import JournalView, Outcome

OWN_FIGURES = (
    "Counts and lists are of all gateways together; the figures in the table, floods included, are each gateway's own: they do"
    " not add up, and who answers for all gateways hears the sum of their rates."
)
_BITS = 64
"""Of each gateway's place within the number of an entry: journals count in 64 bits."""
_TOP = 10


@dataclass(frozen=True, slots=True)
class Partly(Outcome):
    """Done at some gateways, not at all: `why` says where not."""


def outcome(names: Sequence[str], found: Sequence[Outcome]) -> Outcome:
    """Sum up an order that was given to all; what did not work is said with its gateway."""
    failed = "; ".join(f"NOT at {name}: {one.why}" for name, one in zip(names, found, strict=True) if not one.done)
    if not failed:
        return Outcome(True)
    done = ", ".join(name for name, one in zip(names, found, strict=True) if one.done)
    return Partly(True, f"done at {done}, {failed}") if done else Outcome(False, failed)


def handover(names: Sequence[str], pages: Sequence[HandoverView | str]) -> HandoverView:
    """Put the pages of all gateways on one; a text stands for a page that could not be had, and says why.

    The digest holds those of the pages, so that each gateway is told the digest of its own.
    """
    given = [(name, page) for name, page in zip(names, pages, strict=True) if isinstance(page, HandoverView)]
    whom = dict.fromkeys(page.taken_by for _, page in given)
    gateways = tuple(_gateway_line(name, page) for name, page in zip(names, pages, strict=True))
    titles = dict.fromkeys(block.title for _, page in given for block in page.blocks)
    digests = (page.digest if isinstance(page, HandoverView) else "" for page in pages)
    return HandoverView(
        since=min(page.since for _, page in given),
        now=max(page.now for _, page in given),
        taken_by=next(iter(whom))
        if len(whom) == 1
        else ", ".join(f"{page.taken_by or 'nobody'} at {name}" for name, page in given),
        blocks=(BlockView("Gateways", gateways), *(BlockView(title, _lines(title, given)) for title in titles)),
        digest=",".join(digests),
    )


def _gateway_line(name: str, page: HandoverView | str) -> str:
    if isinstance(page, str):
        return f"{name}: ITS PAGE IS MISSING, and it is not taken over from here: {page}"
    return f"{name}: since {format_instant(page.since)}, taken over by {page.taken_by or 'nobody yet'}"


def _lines(title: str, given: Iterable[tuple[str, HandoverView]]) -> tuple[str, ...]:
    said = [
        f"{name}: {line}"
        for name, page in given
        for block in page.blocks
        if block.title == title and block.lines != ("none",)
        for line in block.lines
    ]
    return tuple(said) or ("none",)


def digests(whole: str) -> tuple[str, ...]:
    """Give each gateway's own digest out of that of the whole page; empty where its page was missing."""
    return tuple(whole.split(","))


def befores(number: int | None, count: int) -> tuple[int | None, ...]:
    """Say before which of its own entries each journal is to go on; 0: it has nothing more."""
    if number is None:
        return (None,) * count
    return tuple((number >> (_BITS * place)) & ((1 << _BITS) - 1) for place in range(count))


def journal(
    names: Sequence[str], found: Sequence[Sequence[JournalView]], begun: Sequence[int | None], limit: int
) -> tuple[JournalView, ...]:
    """Put journals together, the newest first; each keeps its own order, whatever was done to its clock.

    The number of an entry here says how far each journal has been read with it: `befores` has it back.
    """
    reached = [
        entries[0].seq + 1 if entries else 0 if start is None else start for entries, start in zip(found, begun, strict=True)
    ]
    reached = [start if start is not None else own for own, start in zip(reached, begun, strict=True)]
    each = ([(entry, place) for entry in entries] for place, entries in enumerate(found))
    merged: list[JournalView] = []
    for entry, place in heapq.merge(*each, key=lambda one: -one[0].t):
        reached[place] = entry.seq
        number = sum(one << (_BITS * at) for at, one in enumerate(reached))
        merged.append(replace(entry, seq=number, text=f"{names[place]}: {entry.text}"))
        if len(merged) == limit:
            break
    return tuple(merged)


def with_gaps(
    merged: tuple[JournalView, ...], names: Sequence[str], found: Sequence[object], limit: int, now: Instant
) -> tuple[JournalView, ...]:
    """Set above a first page whose journal is missing on it: a text in `found` says why."""
    first = merged[0].seq if merged else 0
    gaps = [
        JournalView(first, now, "no-connection", f"{name}: ITS JOURNAL IS MISSING HERE: {why}")
        for name, why in zip(names, found, strict=True)
        if isinstance(why, str)
    ]
    return (*gaps, *merged) if len(merged) < limit else (*gaps, *merged[: limit - len(gaps)])


def performance(found: Mapping[str, Performance], missing: Mapping[str, str]) -> Performance:
    """Put the figures of gateways beside each other; only counts of one kind are added up."""
    every = tuple(found.values())
    total = sum(one.annunciations for one in every)
    lacks = tuple(f"{name} is missing: {why}" for name, why in missing.items())
    own = tuple(f"{name}: {remark}" for name, one in found.items() for remark in one.remarks)
    return Performance(
        since=min(one.since for one in every),
        until=max(one.until for one in every),
        sim=every[0].sim,
        annunciations=total,
        after_restart=sum(one.after_restart for one in every),
        not_announced=sum(one.not_announced for one in every),
        other=sum(one.other for one in every),
        figures=tuple(replace(fig, title=f"{name}: {fig.title}") for name, one in found.items() for fig in one.figures),
        priorities=_added([one.priorities for one in every], total),
        severities=_added([one.severities for one in every], total),
        contributors=_named({name: one.contributors for name, one in found.items()}, total)[:_TOP],
        floods=tuple(sorted((flood for one in every for flood in one.floods), key=lambda flood: flood.begin)),
        chattering=_named({name: one.chattering for name, one in found.items()}, total),
        fleeting=_named({name: one.fleeting for name, one in found.items()}, total),
        stale=tuple(
            replace(standing, alarm=f"{name}: {standing.alarm}") for name, one in found.items() for standing in one.stale
        ),
        remarks=(*lacks, OWN_FIGURES, *own),
    )


def _added(each: Iterable[Sequence[Share]], total: int) -> tuple[Share, ...]:
    counts: dict[str, int] = {}
    for shares in each:
        for one in shares:
            counts[one.name] = counts.get(one.name, 0) + one.count
    return tuple(Share(name, count, count / total if total else 0.0) for name, count in counts.items())


def _named(each: Mapping[str, Sequence[Share]], total: int) -> tuple[Share, ...]:
    found = [
        Share(f"{name}: {one.name}", one.count, one.count / total if total else 0.0)
        for name, shares in each.items()
        for one in shares
    ]
    return tuple(sorted(found, key=lambda one: -one.count))
