"""What the store of a gateway holds, counted in its file: so much must come out at every far end."""

import sqlite3
from contextlib import closing
from pathlib import Path

COUNTS = (
    "(SELECT count(*) FROM trend) + (SELECT coalesce(sum(count), 0) FROM stretches)",  # readings, as rows and folded
    "(SELECT count(*) FROM captures)",
    "(SELECT count(*) FROM journal)",
)


def held(store: Path) -> list[int]:
    """Count readings, captures and entries of the journal."""
    with closing(sqlite3.connect(store)) as connection:
        return list(connection.execute(f"SELECT {', '.join(COUNTS)}").fetchone())
