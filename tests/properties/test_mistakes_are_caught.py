"""The properties bite: each deliberate mistake in the product breaks one, and nothing else does."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from randomdays.mistakes import MISTAKES, shows

LEAST = 12
CLEAN = 25


def test_each_mistake_is_shown_by_a_history() -> None:
    """A copy of the package with the mistake in it: a property says which promise is broken."""
    assert len(MISTAKES) >= LEAST
    with ThreadPoolExecutor(2) as pool:
        said = dict(zip((m.name for m in MISTAKES), pool.map(shows, MISTAKES), strict=True))
    missed = {name: what for name, what in said.items() if ": Broken: " not in what}
    assert missed == {}


def test_the_product_as_it_is_breaks_none() -> None:
    """The same histories, in the same way, on an unchanged copy."""
    assert shows(None, CLEAN) == ""
