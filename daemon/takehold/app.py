"""Where the engine and the world meet: the only module that knows both."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from takehold import __version__
from takehold.adapters import places
from takehold.adapters.archive import FolderArchive
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.adapters.clock import SystemClock
from takehold.adapters.decoder import SoundfileDecoder
from takehold.adapters.disk import LocalDisk
from takehold.adapters.lock import InstanceLock
from takehold.adapters.signer import KeySigner, load_key
from takehold.adapters.volumes import volumes
from takehold.decide.manifest import Writer
from takehold.engine.cycle import Engine, World
from takehold.engine.days import Days
from takehold.engine.rebuild import rebuild
from takehold.formats.config import read_config
from takehold.model.errors import UsageError
from takehold.model.settings import Settings
