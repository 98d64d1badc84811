"""What the five characters of an SQLSTATE mean for a gateway: is it the row's fault or the server's, and what helps. Pure.

Source: PostgreSQL documentation, appendix A, error codes.
"""

CHECK_VIOLATION = "23514"
READ_ONLY = "25006"
_ROW_CLASSES = ("22", "23", "44", "54")
"""Data exception, integrity constraint violation, WITH CHECK OPTION violation, program limit exceeded (a key too long)."""
_ROW_STATES = frozenset({"P0001"})
"""RAISE EXCEPTION of a trigger that does not want a row."""
_MONTH_STATES = frozenset({"55P03", "57014", "40P01", "40001", "42501", "42883", "42P07", CHECK_VIOLATION})
"""Somebody holds the lock, it took too long, deadlock, no right, no function, another made it, a row came between."""
RUN_SQL = "have an administrator run what `edgemon upstream sql NAME` prints"
POOLED = "through a pooler (PgBouncer in transaction mode) set pooled = true"
_HINTS = {
    "28P01": "is the password in password_file that of username?",
    "28000": "the server's pg_hba.conf lets this user in from here, in this way?",
    "3D000": "an administrator makes the database: CREATE DATABASE",
    "42501": RUN_SQL,
    "42P01": RUN_SQL,
    "42703": RUN_SQL,
    "42P10": "the table lacks its PRIMARY KEY (key, t), without which repeats would be stored twice",
    "3F000": RUN_SQL,
    READ_ONLY: "a standby, or a database that an administrator made read-only",
    "08P01": POOLED,
    "26000": POOLED,
    "42P05": POOLED,
    "53100": "the server's disk is full; nothing is lost here meanwhile",
    "53300": "the server has no connection left for this user",
    CHECK_VIOLATION: "no partition takes the row: the table lacks its default partition",
}


def is_of_the_row(state: str, constraint: str | None) -> bool:
    """Say whether a row itself is refused, now and later.

    Parameters
    ----------
    state : str
        SQLSTATE.
    constraint : str or None
        Its name, where the server gave one: a row that finds no partition violates a check that has none.
    """
    if state == CHECK_VIOLATION:
        return constraint is not None
    return state[:2] in _ROW_CLASSES or state in _ROW_STATES


def is_of_the_month(state: str) -> bool:
    """Say whether a partition can wait while rows go to the default one."""
    return state in _MONTH_STATES


def hint_of(state: str) -> str:
    """Say what a person should do; empty if nothing sensible can be said."""
    return _HINTS.get(state, "")
