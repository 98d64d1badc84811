"""The journals of several gateways as one, by time, as their daemons tell them: each entry keeps its number and its gateway."""

import asyncio
import heapq
from collections.abc import Sequence
from dataclasses import replace
from itertools import islice
from typing import Any, TypeAlias

from edgemon.api.client import Daemon
from edgemon.cli.gateways import Gateways
from edgemon.errors import EdgemonError
from edgemon.model.instant import format_instant
from edgemon.model.search import Search
from edgemon.model.snapshot import JournalView
from edgemon.model.text import clean

ASKED = 1000
"""Entries of each gateway, where nothing is said."""
_PAGE = 500
_WHOLE_LINE = 2000

Entry: TypeAlias = tuple[str, JournalView]
"""The gateway's name, empty where only one was asked, and what it says."""


async def entries_of(daemon: Daemon, search: Search, limit: int) -> list[JournalView]:
    """Give the newest entries of a daemon's journal that fulfil a search, newest first."""
    found: list[JournalView] = []
    before: int | None = None
    while len(found) < limit:
        wanted = min(_PAGE, limit - len(found))
        page = await daemon.journal(wanted, before, search)
        found += page
        if len(page) < wanted:
            break
        before = page[-1].seq
    return found


async def of_all(gateways: Gateways, search: Search, limit: int) -> tuple[list[Entry], list[str]]:
    """Give the newest entries of all journals, newest first, and who could not be asked, and why."""
    machine = search.machine
    wanted = range(len(gateways.daemons))
    if machine is not None and gateways.name_of(machine):
        place, own = gateways.own(machine)
        wanted, search = range(place, place + 1), replace(search, machine=own)

    async def ask(place: int) -> list[JournalView] | str:
        if gateways.several.parts[place].lost is not None:
            return []  # said already
        try:
            return await entries_of(gateways.daemons[place], search, limit)
        except EdgemonError as error:
            return f"NO ANSWER: {gateways.several.names[place]}: {error.what}"

    found = await asyncio.gather(*map(ask, wanted))
    missing = [*gateways.missing, *(one for one in found if isinstance(one, str))]
    each = [
        [(gateways.several.names[place], one) for one in entries]
        for place, entries in zip(wanted, found, strict=True)
        if not isinstance(entries, str)
    ]
    return _merged(each, limit), missing


def _merged(each: Sequence[Sequence[Entry]], limit: int) -> list[Entry]:
    return list(islice(heapq.merge(*each, key=lambda one: -one[1].t), limit))


def asked_line(name: str, view: JournalView) -> str:
    """Give one line for people."""
    at = f"{clean(name)}: " if name else ""
    return f"{view.seq:>8}  {format_instant(view.t)}  {clean(view.kind):18}  {at}{clean(view.text, _WHOLE_LINE)}"


def asked_document(name: str, view: JournalView) -> dict[str, Any]:
    """Give one entry for programs."""
    told = {"seq": view.seq, "t": format_instant(view.t), "kind": view.kind, "text": view.text}
    return {"gateway": name, **told} if name else told
