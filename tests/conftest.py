"""What every test may use."""

from __future__ import annotations

from hypothesis import settings

from loopbench import bench  # noqa: F401

# A shared machine stalls now and then; that says nothing about the code.
settings.register_profile("takehold", deadline=None)
settings.load_profile("takehold")
