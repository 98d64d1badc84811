"""The child of `test_store_kill.py`: commits batch after batch and prints the number of each once it is stored."""

import asyncio
import sys
from pathlib import Path

from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

CAPTURES = 3
ROLL_BYTES = 200_000
CHILD_READY = "ready\n"


def batch(number: int) -> Commit:
    """Give batch `number`; the same every time."""
    at = make.T0 + 10.0 * number
    return Commit(
        recorded_at=at,
        captures=tuple(make.capture(CAPTURES * number + k, samples=500) for k in range(CAPTURES)),
        measurements=(make.measurement(float(number), taken_at=at),),
        readings=(make.reading(float(number), taken_at=at),),
        events=(make.started(number),),
        points=(make.point_state(float(number)),),
        counters={"batches": number},
    )


async def write(path: Path) -> None:
    """Go on after the last batch stored, without end."""
    store = await SqliteStore.open(path, roll_bytes=ROLL_BYTES)
    try:
        number = (await store.load()).counters.get("batches", 0)
        print(CHILD_READY, end="", flush=True)
        while True:
            number += 1
            await store.commit(batch(number))
            print(number, flush=True)
    finally:
        await store.close()


if __name__ == "__main__":
    asyncio.run(write(Path(sys.argv[1])))
