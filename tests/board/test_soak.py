"""A board left alone holds on to no more after a while than before: the short form of `tests.bench.soak`, without a clock."""

from tests.support.soaking import ROUND, soak


async def test_neither_widgets_nor_timers_nor_tasks_nor_what_was_told_grow() -> None:
    rounds = 3 * len(ROUND)
    held = await soak(updates=4 * rounds, machines=24, counts=4, key_every=4)
    _, second, third, last = held
    assert (second.widgets, second.timers, second.tasks) == (third.widgets, third.timers, third.tasks)
    assert (third.widgets, third.timers, third.tasks) == (last.widgets, last.timers, last.tasks)
    assert last.views <= 1.2 * second.views
