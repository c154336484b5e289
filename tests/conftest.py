"""What every test may use."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

from loopbench import bench  # noqa: F401

# A shared machine stalls now and then; that says nothing about the code.
settings.register_profile("takehold", deadline=None)
settings.load_profile("takehold")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where everything a test needs is installed, a test that is skipped has failed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("TAKEHOLD_SKIPS_NOTHING") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("A test was skipped that this machine could run.", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
