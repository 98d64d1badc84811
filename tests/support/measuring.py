"""Two sensors that send in turns, and the daemons that are to store what they send."""

from tests.support.bare_client import BareClient
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, capture_topic, wait_until

BEGINS = 1_780_000_000.0
WITHIN_S = 60.0


def measure(sensors: BareClient, first: int, last: int, *daemons: DaemonProcess) -> None:
    """Send captures of two sensors in turns, a minute apart; returns when every daemon has stored `last` of them.

    Every third is in alarm, so that the journal grows.
    """
    for number in range(first, last):
        level = 1.0 if number % 3 else 6.0
        sensors.publish(capture_topic(f"s-000{1 + number % 2}"), capture(BEGINS + 60.0 * number, level))
    wait_until(lambda: all(one.snapshot().gateway.captures == last for one in daemons), WITHIN_S)
