"""What is set for the work in a database: once for a connection, or, through a pooler, for each transaction anew.

A pooler in transaction mode (PgBouncer) gives each transaction another connection to the server: what was set or prepared on
one is not there on the next, and must not be left behind for others. So a transaction begins with all it needs, statements
have no names, and which server it is is asked each time, for the pooler may have gone over to another one.
"""

import contextlib
from collections.abc import AsyncIterator
from typing import Any

from edgemon.model.instant import Duration

STATEMENT_SHARE, LOCK_SHARE = 0.8, 0.25
"""Of our own wait: the server gives up before we do, then the connection survives. House choice."""
TIMELINE = "CASE WHEN pg_is_in_recovery() THEN '' ELSE left(pg_walfile_name(pg_current_wal_insert_lsn()), 8) END"
"""Counts how often a standby took over, in hexadecimal. Source: PostgreSQL documentation, 25.3.5: names of segment files."""
COMMIT_WAITS = """CASE WHEN current_setting('synchronous_commit') IN ('off', 'local')
    THEN set_config('synchronous_commit', 'on', {is_local}) END"""
_BEGIN = f"""SELECT {TIMELINE}, set_config('statement_timeout', $1, true), set_config('lock_timeout', $2, true),
    {COMMIT_WAITS.format(is_local="true")}"""


class Sessions:
    """How one upstream works in a database.

    Parameters
    ----------
    name : str
        Shown to the people of the server.
    wait_s : Duration
        How long we wait for an answer.
    is_pooled : bool
        Between is a pooler that changes connections from one transaction to the next.
    """

    def __init__(self, name: str, wait_s: Duration, is_pooled: bool) -> None:
        self._name = name
        self._timeouts = [f"{wait_s * 1000.0 * share:.0f}" for share in (STATEMENT_SHARE, LOCK_SHARE)]
        self.is_pooled = is_pooled
        self.timeline = 0
        """Of the server that answered last."""

    def terms(self) -> dict[str, Any]:
        """Give what connecting needs to know."""
        named = {"application_name": self._name}
        if self.is_pooled:
            return {"server_settings": named, "statement_cache_size": 0}
        statement, lock = self._timeouts
        return {"server_settings": {**named, "statement_timeout": statement, "lock_timeout": lock}}

    @contextlib.asynccontextmanager
    async def begun(self, connection: Any) -> AsyncIterator[None]:
        """Be in a transaction where that is needed to stay on one server."""
        if not self.is_pooled:
            yield
            return
        async with connection.transaction():
            timeline = await connection.fetchval(_BEGIN, *self._timeouts)
            self.timeline = int(timeline or "0", 16)
            yield
