"""The page of sensor health: what needs a hand first (NAMUR NE 107: F, C, S, M)."""

from dataclasses import replace

import pytest

from edgemon.model.snapshot import Snapshot
from tests.board.driving import plant
from tests.support import sites


def mixed() -> Snapshot:
    shown = sites.snapshot()
    first, second, third, *rest = shown.sensors
    return replace(
        shown,
        sensors=(
            replace(first, status="maintenance-required", causes=("battery at 12 %",), battery_pct=12.0, battery_days=40.0),
            replace(second, status="failure", causes=("silent",), completeness=0.4),
            replace(third, status="out-of-specification", causes=("clipped\x1b[31m",)),
            *rest,
        ),
    )


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_the_gravest_comes_first_with_letter_word_and_cause(size: tuple[int, int]) -> None:
    async with plant(size) as one:
        await one.hear(mixed(), after=1.0)
        await one.press("e")
        text = one.lines("body")
        assert text[0].startswith(
            f" Sensor health (NE 107): 1 failure, 1 out of spec., 1 maintenance, {len(mixed().sensors) - 3} good"
        )
        assert [line[2:6].split()[0] for line in text[3:6]] == ["F", "S", "M"]
        assert "40 %" in text[3]
        assert "\x1b" not in one.text()
        assert text[3].rstrip().endswith("silent")
        assert "battery at 12 %" in text[5]
        assert ("12 %    40" in text[5]) is (size[0] >= 120)


async def test_without_unicode_the_letter_alone_is_the_sign() -> None:
    async with plant((120, 40), ascii=True) as one:
        await one.hear(mixed(), after=1.0)
        await one.press("e")
        assert one.lines("body")[3].startswith(" F  failure")
        assert "".join(one.lines("body")[:4]).isascii()
