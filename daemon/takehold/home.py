"""Where this takehold keeps its things, and looking at them without the engine."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import NamedTuple

from takehold.adapters import places
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.formats.config import read_config
from takehold.formats.names import shown
from takehold.model.errors import FileMissing, UsageError, WorldError
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

CONFIG_BYTES = 1 << 20


class Home(NamedTuple):
    """Where this takehold keeps its things."""

    config: str
    state: str
    key: str

    @property
    def catalogue(self) -> str:
        """The catalogue's path."""
        return os.path.join(self.state, "catalogue.sqlite")

    @property
    def lock(self) -> str:
        """The lock of the one instance."""
        return os.path.join(self.state, "lock")

    @property
    def pulse(self) -> str:
        """Where the loop's sign of life is."""
        return os.path.join(self.state, "pulse")

    @property
    def bell(self) -> str:
        """A folder that the daemon watches: a change in it means that somebody asked something."""
        return os.path.join(self.state, "bell")

    @property
    def archive(self) -> str:
        """The laptop's own keep of manifests."""
        return os.path.join(self.state, "manifests")


def home(config: str | None = None) -> Home:
    """The places of this user, or those that go with a given config."""
    if config is not None:
        os.environ["TAKEHOLD_CONFIG"] = os.path.abspath(config)
    return Home(places.config_file(), places.state_folder(), places.key_file())


def make_folder(path: str) -> None:
    """A folder of our own, for its owner alone; WorldError if it cannot be made."""
    try:
        os.makedirs(path, mode=0o700, exist_ok=True)
    except OSError as error:
        raise WorldError(
            f"The folder {shown(path)} cannot be made: {error.strerror}.",
            "Look at the disk that it is to lie on: its rights, and whether it has room.",
        ) from error


def settings_of(place: Home) -> Settings:
    """The config, validated whole; UsageError with every complaint if it does not do."""
    try:
        with open(place.config, encoding="utf-8", errors="surrogateescape") as file:
            text = file.read(CONFIG_BYTES)
    except FileNotFoundError as error:
        raise UsageError(
            f"There is no config at {shown(place.config)}.", "Make one with: takehold init"
        ) from error
    except OSError as error:
        says = f"The config {shown(place.config)} cannot be read: {error.strerror}."
        raise UsageError(says, "Check its rights.") from error
    return read_config(text, os.path.basename(place.config))


@contextmanager
def reading(
    place: Home, day: str | None = None, *, around: bool = False
) -> Iterator[tuple[Ledger, SqliteCatalogue | None]]:
    """What is known, for a command that only looks; an empty ledger before the first run.

    With a day, of the files those on its cards alone, or those `around` it, too (cli/view).
    """
    ledger = Ledger()
    try:
        catalogue = SqliteCatalogue.open_to_read(place.catalogue)
    except FileMissing:
        yield ledger, None
        return
    try:
        ledger.apply(catalogue.facts(day, around=around))
        yield ledger, catalogue
    finally:
        catalogue.close()


def days_known(place: Home) -> frozenset[str]:
    """The days that anything is known of; none before the first run."""
    try:
        catalogue = SqliteCatalogue.open_to_read(place.catalogue)
    except FileMissing:
        return frozenset()
    with closing(catalogue):
        return catalogue.days()
