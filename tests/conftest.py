"""What every test may use."""

from __future__ import annotations

import os
import time
from datetime import datetime

import pytest
from hypothesis import settings

from loopbench import bench  # noqa: F401

LONG_TEST_S = 45
# A shared machine stalls now and then; that says nothing about the code.
settings.register_profile("takehold", deadline=None)
settings.load_profile("takehold")


def pytest_runtest_setup() -> None:
    """No test begins shortly before 06:00, where the day changes that its cards are dated by."""
    now = datetime.now()
    left = (now.replace(hour=6, minute=0, second=0, microsecond=0) - now).total_seconds()
    if 0 < left < LONG_TEST_S:
        time.sleep(left)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where everything a test needs is installed, a test that is skipped has failed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("TAKEHOLD_SKIPS_NOTHING") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("A test was skipped that this machine could run.", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
