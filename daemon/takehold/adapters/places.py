"""Where this machine keeps the config, the key, the catalogue and the log."""

from __future__ import annotations

import os

NAME = "takehold"


def config_file() -> str:
    """The config: TAKEHOLD_CONFIG, or in the platform's config folder."""
    given = os.environ.get("TAKEHOLD_CONFIG")
    return _whole(given) if given else os.path.join(_config_folder(), "takehold.toml")


def state_folder() -> str:
    """What takehold keeps for itself: TAKEHOLD_STATE, or the platform's state folder."""
    given = os.environ.get("TAKEHOLD_STATE")
    if given:
        return _whole(given)
    import platformdirs  # noqa: PLC0415 - slow to import, and not needed where both are given

    return platformdirs.user_state_dir(NAME, appauthor=False)


def key_file() -> str:
    """The signing key, beside the config: whoever clears or copies the state leaves it alone."""
    return os.path.join(os.path.dirname(config_file()), "signing_key")


def _config_folder() -> str:
    import platformdirs  # noqa: PLC0415 - slow to import, and not needed where both are given

    return platformdirs.user_config_dir(NAME, appauthor=False)


def _whole(path: str) -> str:
    return os.path.abspath(os.path.expanduser(path))
