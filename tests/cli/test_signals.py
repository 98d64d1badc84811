"""Signals that end a command, and the one that nohup has it ignore."""

import asyncio
import os
import signal

import pytest

from edgemon.cli.signals import ENDING, when_told_to_end


@pytest.mark.parametrize("number", ENDING)
async def test_each_of_them_ends(number: signal.Signals) -> None:
    over = asyncio.Event()
    before = signal.signal(number, signal.SIG_DFL)  # whoever runs the tests may have them ignore it
    when_told_to_end(over.set)
    try:
        os.kill(os.getpid(), number)
        await asyncio.wait_for(over.wait(), 5.0)
    finally:
        for one in ENDING:
            asyncio.get_running_loop().remove_signal_handler(one)
        signal.signal(number, before)


async def test_one_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        when_told_to_end(lambda: None, (signal.SIGHUP,))
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)
