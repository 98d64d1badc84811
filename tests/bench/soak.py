"""A board left alone for days: `python -m tests.bench.soak [UPDATES [MACHINES]]`.

Every update is one second of a plant at work (`tests.support.churn`): seven machines are measured, one alarm goes on in its
life, now and then a key is pressed, so that every screen is opened and left again. As fast as the machine allows, at 80 x 24,
headless; repaints coalesce as they do in a terminal. After each tenth the board is back on its first screen and what it holds
on to is counted: widgets and screens alive, their timers, tasks, machines, points and alarms as told, all Python objects,
resident memory, and the processor time of the tenth. A week has 604,800 seconds; the default is 50,000 of them, with as many
transitions of alarms.
"""

import asyncio
import sys

from tests.support.soaking import SIZE, Held, soak

UPDATES = 50_000
MACHINES = 200
KEY_EVERY = 23


def tell(held: Held) -> None:
    alive = f"{held.widgets} widgets and screens, {held.timers} timers, {held.tasks} tasks"
    memory = f"{held.views} views, {held.objects} objects, {held.rss_kib / 1024:.1f} MiB"
    print(f"{held.updates:7d} updates: {alive}, {memory}; {held.spent_s:.1f} s CPU in this tenth", flush=True)


def main() -> None:
    given = [int(one) for one in sys.argv[1:]]
    updates, machines = (given + [UPDATES, MACHINES][len(given) :])[:2]
    print(f"{updates} updates of {machines} machines at {SIZE[0]} x {SIZE[1]}")
    held = asyncio.run(soak(updates, machines, 10, KEY_EVERY, tell))
    first, last = held[0], held[-1]
    print(
        f"last tenth over first: {last.spent_s / first.spent_s:.2f} in processor time per update, "
        f"{last.rss_kib / first.rss_kib:.2f} in memory, {last.objects / first.objects:.2f} in objects; "
        f"last over second: {last.spent_s / held[1].spent_s:.2f}, {last.rss_kib / held[1].rss_kib:.2f}, "
        f"{last.objects / held[1].objects:.2f}"
    )


if __name__ == "__main__":
    main()
