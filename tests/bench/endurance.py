"""All bad days one after the other, with their figures: `python -m tests.bench.endurance`, an hour or so.

Each is a program or a test of its own; what it prints is printed, and how long it took. The exit code is 1 if one of them
failed. `--only WORD` runs some.
"""

import argparse
import os
import platform
import subprocess
import sys
import time
from datetime import UTC, datetime

TEST = ("-m", "pytest", "--quiet", "-p", "no:cacheprovider")
DAYS = {
    "kills": (*TEST, "tests/live/test_daemon_life.py", "-k", "random_instants"),
    "broker": (*TEST, "tests/live/test_mqtt.py", "tests/live/test_mqtt_scripted.py"),
    "upstreams": (*TEST, "tests/conformance/test_upstream.py", "tests/live/test_upstream.py", "tests/live/test_postgres.py"),
    "cluster": (*TEST, "tests/live/test_nats_cluster.py", "tests/live/test_nats_daemon.py", "tests/live/test_site.py"),
    "site": ("-m", "tests.bench.site"),
    "outage": (*TEST, "tests/daemon/test_long_outage.py"),
    "disk": (*TEST, "tests/live/test_store_trouble.py", "tests/live/test_damaged_store.py", "tests/path/test_store_fails.py"),
    "damage": ("-m", "tests.bench.damage"),
    "clocks": (*TEST, "tests/path/test_wrong_clocks.py"),
    "hostile": ("-m", "tests.bench.hostile"),
    "month": ("-m", "tests.bench.month"),
    "board": ("-m", "tests.bench.soak"),
}


def main() -> int:
    """Run, and sum up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000, help="how often the daemon is killed")
    parser.add_argument("--only", action="append", choices=DAYS, help="this one; may be given again")
    options = parser.parse_args()
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    print(f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {machine}, load {os.getloadavg()[0]:.1f}", flush=True)
    environment = {**os.environ, "EDGEMON_KILLS": str(options.kills)}
    summary = []
    for name in options.only or DAYS:
        print(f"\n== {name} (load {os.getloadavg()[0]:.1f})", flush=True)
        began = time.monotonic()
        code = subprocess.run([sys.executable, *DAYS[name]], env=environment, check=False).returncode
        summary.append((name, code, time.monotonic() - began))
    print()
    for name, code, took_s in summary:
        print(f"{name:10} {'held' if code == 0 else f'FAILED ({code})':12} {took_s:7.0f} s")
    return int(any(code for _, code, _ in summary))


if __name__ == "__main__":
    sys.exit(main())
