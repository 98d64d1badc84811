"""How far long work is: on a terminal one line that is written over, in a pipe nothing."""

import sys
from contextlib import AbstractContextManager


class Progress(AbstractContextManager["Progress"]):
    """Counts on standard error."""

    def __init__(self, of_what: str) -> None:
        self._of_what = of_what
        self._shown = False

    def at(self, count: int) -> None:
        """Say how many are done."""
        if sys.stderr.isatty():
            self._shown = True
            print(f"\r{count:,} {self._of_what}", end="", file=sys.stderr, flush=True)

    def __exit__(self, *_: object) -> None:
        if self._shown:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
