"""Alarm performance from a store, page by page: a year of journal neither fills the memory nor holds up the loop."""

import asyncio

from edgemon.alarms.performance import KINDS, figures_of
from edgemon.alarms.tally import Tally
from edgemon.errors import ParameterError
from edgemon.model.instant import Instant
from edgemon.model.performance import Performance
from edgemon.model.search import Search
from edgemon.store.port import Reader

_PAGE = 1000


async def performance_of(reader: Reader, since: Instant, until: Instant, sim: bool) -> Performance:
    """Give the figures of a period. Raises `ParameterError` if it is empty, `StoreError`."""
    if not since < until:
        raise ParameterError("the period is empty: it ends before it begins")
    tally = Tally(since, until, sim)
    for entry in await reader.standing(since):
        tally.take(entry)
    search, after = Search(since, until, KINDS), 0
    while entries := await reader.journal(_PAGE, after=after, search=search):
        for entry in entries:
            tally.take(entry)
        after = entries[-1].seq
    return await asyncio.get_running_loop().run_in_executor(None, figures_of, tally)
