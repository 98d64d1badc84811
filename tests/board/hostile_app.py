"""A board whose daemon says only hostile things: `python -m tests.board.hostile_app`, run in a terminal by a test."""

from edgemon.board.app import BoardApp
from edgemon.board.memory import MemorySource
from edgemon.clock import SystemClock
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import JournalView
from tests.board.test_hostile import HOSTILE, hostile


def main() -> None:
    text = " ".join(HOSTILE)
    source = MemorySource(
        Person(text, Role.OPERATOR, text), tuple(JournalView(n, 0.0, one, one) for n, one in enumerate(HOSTILE))
    )
    source.say(hostile(*HOSTILE))
    BoardApp(source, SystemClock()).run()


if __name__ == "__main__":
    main()
