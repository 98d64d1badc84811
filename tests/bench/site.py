"""A bad day of a whole site to watch: `python -m tests.bench.site`, a minute or so.

Three gateways (daemons, each with its broker), streams of three servers, a database and a board over all, all real and on this
machine. The leader of the streams is killed, then the database, then a gateway with its disk; what went in and what came out
is counted by key. `--hold` waits at the end until enter is pressed, so that a board of your own can be attached.
"""

import argparse
import asyncio
import logging
import os
import sys
import tempfile
import time
from pathlib import Path

from tests.support.site_counts import KINDS, Count, counts, disagreements, unlisted
from tests.support.site_day import bad_day
from tests.support.whole_site import Site, site


def table(found: dict[str, Count]) -> list[str]:
    """Give what went in and what came out, a line for each gateway and kind."""
    lines = [f"{'gateway':12}{'kind':9}{'sent':>7}{'stored':>8}{'stream':>8}{'database':>10}"]
    for name, one in sorted(found.items()):
        for kind in KINDS:
            sent = str(len(one.sent)) if kind == "capture" else ""
            ends = f"{len(one.in_stream.get(kind, [])):8}{len(one.in_database.get(kind, [])):10}"
            lines.append(f"{name:12}{kind:9}{sent:>7}{one.stored[kind]:8}{ends}")
    return lines


async def day(hold: bool) -> int:
    """Run it; gives the exit code."""
    began = time.monotonic()

    def tell(text: str) -> None:
        print(f"{time.monotonic() - began:6.1f} s  {text}", flush=True)

    with tempfile.TemporaryDirectory() as folder:
        async with site(Path(folder)) as whole:
            tell("three gateways, three servers of streams, a database and a board run; to watch:")
            print(
                " " * 10 + "edgemon board " + " ".join(f"--attach unix:{one.daemon.socket}" for one in whole.gateways.values())
            )
            await bad_day(whole, tell)
            wrong = await said(whole)
            tell("held" if not wrong else f"NOT HELD: {len(wrong)} faults")
            if hold:
                await asyncio.to_thread(input, "enter ends it ")
    return int(bool(wrong))


async def said(whole: Site) -> list[str]:
    """Print figures and screen; gives what is wrong."""
    found = await counts(whole)
    print(whole.board.text(), *table(found), sep="\n", flush=True)
    wrong = [trouble for one in found.values() for trouble in one.troubles()]
    wrong += await disagreements(whole) + [f"not on both board and database: {key}" for key in await unlisted(whole)]
    print(*wrong[:20], sep="\n", end="\n" if wrong else "", flush=True)
    return wrong


def main() -> int:
    """Run, with what load and machine."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hold", action="store_true", help="wait for enter at the end")
    logging.disable(logging.CRITICAL)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    return asyncio.run(day(parser.parse_args().hold))


if __name__ == "__main__":
    sys.exit(main())
