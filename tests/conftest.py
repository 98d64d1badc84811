"""At the gate nothing is skipped: a test that would be, for want of a server or of recordings, fails and says why.

Only a right that the machine withholds (to mount a file system) may skip a test there: nothing that can be installed gives it.
"""

import os
from collections.abc import Generator

import hypothesis
import pytest

hypothesis.settings.register_profile(
    "busy", hypothesis.settings(), deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)  # a busy machine is no failure: nothing here is timed
hypothesis.settings.load_profile("busy")
NOTHING_SKIPPED = os.environ.get("EDGEMON_NOTHING_SKIPPED") == "1"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    is_skip = report.skipped and not hasattr(report, "wasxfail") and "no right to" not in str(report.longrepr)
    if NOTHING_SKIPPED and is_skip:
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be: {report.longrepr}"
    return report
