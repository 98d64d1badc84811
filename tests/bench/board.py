"""What the board costs: `python -m tests.bench.board`.

Every machine changes once a second; the app runs headless, its clock driven by hand, and CPU time is what the process used.
Beside each figure stands its ratio to a plain repaint: the same rows joined into one string with a colour code before
each span, measured in the same run. What `edgemon board` takes from its start, imports and all, to a whole first screen is
measured apart: the program itself, in a pty, attached to a demo without a board. So is the time from a key to the screen: an
arrow is written to the pty while every machine changes once a second, until the mark of the selection has come back.
"""

import asyncio
import gc
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from edgemon.board.app import BoardApp
from edgemon.board.memory import MemorySource
from edgemon.board.view.cells import Row
from edgemon.board.widgets.lines import Lines
from edgemon.clock import ManualClock, SystemClock
from edgemon.model.snapshot import Change, MachineView
from tests.board.terminal import terminal
from tests.support import sites

COUNTS = (24, 200, 1000)
SIZE = (200, 60)
SECONDS = 40
TERM = {"TERM": "xterm-256color", "COLORTERM": "truecolor"}


def changed(machine: MachineView, second: int) -> MachineView:
    """The machine a second later: another value, another age; now and then another state."""
    if machine.worst is None:
        return machine
    value = machine.worst.value * (1.0 + 0.05 * ((second + len(machine.id)) % 5))
    trend = (*machine.trend[1:], value / (machine.worst.alarm or 1.0))
    return replace(machine, worst=replace(machine.worst, value=value), t=sites.NOW + second, trend=trend)


def repaint(rows: list[Row]) -> str:
    return "\n".join("".join(f"\x1b[38;5;{len(span.role)}m{span.text}" for span in row) for row in rows)


async def measure(count: int) -> dict[str, float]:
    machines = sites.many(count)
    updates = [
        Change(sites.gateway(sites.NOW + second), tuple(changed(one, second) for one in machines)) for second in range(SECONDS)
    ]
    source, clock = MemorySource(), ManualClock(sites.NOW)
    began = time.perf_counter()
    app = BoardApp(source, clock)
    source.say(sites.snapshot(machines))
    async with app.run_test(size=SIZE) as pilot:
        body = app.screen.query_one("#body", Lines)
        while not body.rows:
            await asyncio.sleep(0)
        await pilot.pause()
        first = time.perf_counter() - began
        beats, plain, lines = [], [], body.lines_refreshed
        for update in updates:
            source.say(update)
            for _ in range(2):
                started = time.process_time()
                await clock.advance(0.5)
                await pilot.pause()  # until everything is drawn
                beats.append(time.process_time() - started)
            started = time.process_time()
            repaint([row for part in app.screen.query(Lines) for row in part.rows])
            plain.append(time.process_time() - started)
        spent = sum(beats)
    raw = statistics.median(plain)
    return {
        "machines": count,
        "cpu_percent": 100 * spent / SECONDS,
        "ms_per_second": 1000 * spent / SECONDS,
        "ratio_to_repaint": spent / SECONDS / raw,
        "longest_beat_ms": 1000 * max(beats),
        "rows_per_second": (body.lines_refreshed - lines) / SECONDS,
        "first_screen_s": first,
        "rss_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


async def speak(source: MemorySource, machines: Sequence[MachineView]) -> None:
    """Say once a second that every machine has changed."""
    second = 0
    while True:
        await SystemClock().sleep(1.0)
        second += 1
        source.say(Change(sites.gateway(sites.NOW + second), tuple(changed(one, second) for one in machines)))


def show(count: int) -> None:
    """Show a board of so many machines in this terminal, changing once a second, until it is quit."""

    class Speaking(BoardApp):
        def on_mount(self) -> None:
            super().on_mount()
            self.run_worker(speak(source, machines), name="speak")

    source, machines = MemorySource(), sites.many(count)
    source.say(sites.snapshot(machines))
    gc.freeze()
    Speaking(source, SystemClock()).run()


def key_to_screen(count: int, tries: int = 60) -> list[float]:
    """Seconds from writing a key to a pty until the selection has moved there: its mark comes back."""
    took = []
    with terminal([sys.executable, "-m", "tests.bench.board", "show", str(count)], SIZE, TERM) as screen:
        if not screen.wait_for("›", "Intake pump 1"):
            raise SystemExit("no whole screen within 30 s")
        for number in range(tries):
            screen.settle(0.15)
            screen.seen = b""
            began = time.monotonic()
            screen.type("\x1b[B" if number % 20 < 10 else "\x1b[A")
            if not screen.wait_for("›", within=5.0):
                raise SystemExit("no answer to a key within 5 s")
            took.append(time.monotonic() - began)
        screen.type("q")
        screen.settle(1.0)
    return sorted(took)


def start_up(tries: int = 5) -> list[float]:
    """Seconds from starting the program to every machine of the demo on the screen."""
    names = [machine.name for machine in sites.snapshot().machines]
    took = []
    with tempfile.TemporaryDirectory() as folder:
        demo = subprocess.Popen([sys.executable, "-m", "edgemon", "demo", "--headless", "--for", "2m", "--keep", folder])
        socket = Path(folder, "edgemon.sock")
        try:
            deadline = time.monotonic() + 30.0
            while not socket.exists() and time.monotonic() < deadline:
                time.sleep(0.1)
            time.sleep(10.0)  # every sensor has been heard
            for _ in range(tries):
                began = time.monotonic()
                with terminal(
                    [sys.executable, "-m", "edgemon", "board", "--attach", f"unix:{socket}"], (120, 40), TERM
                ) as screen:
                    if not screen.wait_for(*names):
                        raise SystemExit("no whole screen within 30 s")
                    took.append(time.monotonic() - began)
        finally:
            demo.terminate()
            demo.wait()
    return sorted(took)


def main() -> None:
    if sys.argv[1:2] == ["show"]:
        show(int(sys.argv[2]))
        return
    if len(sys.argv) > 1:
        gc.freeze()  # as the command does
        print(json.dumps(asyncio.run(measure(int(sys.argv[1])))))
        return
    print(
        f"board at {SIZE[0]} x {SIZE[1]}, every machine changes once a second, {SECONDS} s; each count in a process of its own"
    )
    for count in COUNTS:
        answer = subprocess.run(
            [sys.executable, "-m", "tests.bench.board", str(count)], check=True, capture_output=True, text=True
        )
        got = json.loads(answer.stdout)
        cost = f"{got['cpu_percent']:.1f} % of a core ({got['ratio_to_repaint']:.0f} x a plain repaint of all rows)"
        rows = f"longest beat {got['longest_beat_ms']:.0f} ms CPU, {got['rows_per_second']:.0f} rows redrawn a second"
        print(
            f"{count:5d} machines: {cost}, {rows}, first screen after {got['first_screen_s']:.2f} s, {got['rss_mib']:.0f} MiB"
        )
    for count in COUNTS:
        took = [1000 * one for one in key_to_screen(count)]
        worst = took[int(0.95 * len(took))]
        print(f"{count:5d} machines in a pty: key to screen median {statistics.median(took):.0f} ms, 95 % {worst:.0f} ms")
    took = start_up()
    print(
        f"`edgemon board` in a pty, from its start to the whole screen: {statistics.median(took):.2f} s, best {took[0]:.2f} s"
    )


if __name__ == "__main__":
    main()
