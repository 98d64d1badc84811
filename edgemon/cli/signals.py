"""How a command is told to end: by the system, by the keyboard, by a terminal that is closed."""

import asyncio
import signal
from collections.abc import Callable

ENDING = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


def when_told_to_end(end: Callable[[], object], numbers: tuple[signal.Signals, ...] = ENDING) -> None:
    """Call `end` at any of these signals; one that whoever started us had us ignore (as nohup does) stays ignored."""
    loop = asyncio.get_running_loop()
    for number in numbers:
        if signal.getsignal(number) is not signal.SIG_IGN:
            loop.add_signal_handler(number, end)
