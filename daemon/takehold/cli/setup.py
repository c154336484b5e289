"""Commands of the set-up: preflight and the key."""

from __future__ import annotations

import os

import click

from takehold.cli.exits import FINE, MEDIA
from takehold.cli.tables import print_json, table
from takehold.home import Home, make_folder, reading, settings_of


def preflight_table(place: Home, as_json: bool) -> int:
    """Print the rows of preflight; 0 if all is fit, else 1."""
    from takehold.adapters.disk import LocalDisk
    from takehold.adapters.volumes import volumes
    from takehold.cli.preflight import preflight

    settings = settings_of(place)
    with reading(place) as (_, catalogue):
        checks = preflight(
            settings,
            volumes(),
            LocalDisk(),
            catalogue.folder_identity if catalogue else lambda _: None,
            place.key,
        )
    if as_json:
        print_json([{"what": c.what, "ok": c.ok, "says": c.says, "do": c.do} for c in checks])
    else:
        head = ("", "what", "found", "to do")
        table(head, [(c.mark, c.what, c.says, c.do) for c in checks])
    return FINE if all(c.ok for c in checks) else MEDIA


def show_key(place: Home, as_json: bool) -> None:
    """Print the public key and its fingerprint."""
    from takehold.adapters.signer import load_key

    signer = load_key(os.fsencode(place.key))
    if as_json:
        print_json({"public_key": signer.public_line(), "fingerprint": signer.fingerprint()})
        return
    click.echo(signer.public_line())
    click.echo(signer.fingerprint())
    click.echo("Give the fingerprint to post by voice or on paper, never on the drive itself.")


def make_key(place: Home) -> None:
    """Make a key where there is none."""
    from takehold.adapters.signer import new_key

    make_folder(os.path.dirname(place.key))
    signer = new_key(os.fsencode(place.key))
    click.echo(f"Made {place.key}")
    click.echo(signer.fingerprint())
