"""Three gateways, streams of three servers, one database, a board: each but the board is lost once; all is everywhere once."""

from pathlib import Path

import pytest

from tests.support.site_counts import KINDS, counts, disagreements, unlisted
from tests.support.site_day import REPLACED, bad_day
from tests.support.whole_site import Site, site, until_empty

pytestmark = [pytest.mark.live, pytest.mark.slow, pytest.mark.timeout(300)]


async def test_a_site_loses_a_leader_a_database_and_a_gateway_and_nothing_is_lost_or_doubled(tmp_path: Path) -> None:
    async with site(tmp_path) as whole:
        await bad_day(whole, lambda _: None)
        found = await counts(whole)
        assert {name: one.troubles() for name, one in found.items()} == {name: [] for name in whole.gateways}
        for name, one in found.items():
            assert len(one.sent) == len(whole.gateways[name].sent) > 40
            assert all(one.stored[kind] for kind in KINDS)
        lives = {name: len(one.stores) for name, one in whole.gateways.items()}
        assert {name for name, number in lives.items() if number == 2} == {REPLACED}
        await until_empty(lambda: disagreements(whole))
        await until_empty(lambda: unlisted(whole))
        _logs_are_calm(whole)


def _logs_are_calm(whole: Site) -> None:
    for one in whole.gateways.values():
        for words in ("Traceback", "CRITICAL", "never retrieved", "was destroyed"):
            assert words not in one.daemon.log
