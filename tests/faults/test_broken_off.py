"""What a program that was killed had begun, and what the next start makes of it."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

from fakeworld import DAY, Site, take
from takehold.adapters.catalogue import SqliteCatalogue
from takehold.adapters.signer import load_key, new_key
from takehold.app import _open
from takehold.cli.init import init
from takehold.home import Home
from takehold.model.facts import Trouble

FILES = {b"T01.WAV": take(1)}
ANSWERS = {"Production": "Lantern Bay", "Mixer": "The mixer"}


def test_a_signed_manifest_that_was_not_recorded_is_found_behind_a_number_that_is_not_whole() -> (
    None
):
    """Killed between signature and manifest of r1, then between the files of r2 and its fact."""
    site = Site()
    site.card("SND_A1", FILES)
    site.drive("SHUTTLE_1")
    site.work()
    site.archive.keep(DAY, {f"{DAY}.r1.manifest.json.sig": b"of a manifest that never came"})
    ledger, now = site.engine.ledger, site.engine.now
    unrecorded, _ = site.days().write(ledger, DAY, now.situation, now.around)
    assert unrecorded.number == 2

    site.start()
    site.wrap()
    newest = site.engine.ledger.newest(DAY)
    assert newest is not None
    links = {
        name: json.loads(raw)["previous"]
        for name, raw in site.archive.kept[DAY].items()
        if name.endswith(".json")
    }
    assert [name for name, link in links.items() if link is None] == [unrecorded.name]
    assert unrecorded in site.engine.ledger.revisions[DAY]


def test_a_catalogue_that_was_made_in_place_of_a_damaged_one_and_is_empty_is_still_lost(
    tmp_path: Path,
) -> None:
    """Killed between the new file and the facts from the manifests: they are looked for again."""
    place = Home("", str(tmp_path), "")
    SqliteCatalogue.open(place.catalogue).close()
    catalogue, _, lost = _open(place)
    assert lost == ""
    catalogue.record([Trouble("k", "c", "s", "d", 1, 1, 1)])
    catalogue.close()
    catalogue, _, lost = _open(place)
    assert lost is None
    catalogue.close()


def test_a_key_without_its_public_half_gets_it_from_init(tmp_path: Path) -> None:
    """Killed between the two: the key stays, and `ssh-keygen -y` (OpenSSH) finds the same half."""
    config, key = tmp_path / "takehold.toml", tmp_path / "signing_key"
    new_key(os.fsencode(key))
    public = key.with_name("signing_key.pub")
    public.unlink()
    secret = key.read_bytes()
    init(str(config), str(key), ask=lambda question, default: ANSWERS.get(question, default))
    command = ["ssh-keygen", "-y", "-f", key]
    derived = subprocess.run(command, capture_output=True, text=True, timeout=10, check=True)
    assert public.read_text().split()[:2] == derived.stdout.split()[:2]
    assert key.read_bytes() == secret
    assert load_key(os.fsencode(key)).public_line() == public.read_text().strip()
