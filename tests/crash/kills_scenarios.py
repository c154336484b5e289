"""What is interrupted: each scenario leads up to a moment, plays one command, and asks for quiet.

`before` makes the state that each kill begins with; `words` is the command that is killed; `again`
is what a person, or a service manager, starts afterwards; `quiet` is what must hold then. What must
hold at once after the kill is the stage's `assert_true`, and `at_once` beside it.
"""

from __future__ import annotations

import os
import sqlite3
import tomllib
from collections.abc import Callable
from dataclasses import dataclass

from crash.kills_checker import (
    key_is_whole,
    once_each,
    one_paper,
    papers_hold,
    proven_papers,
    receipts_are_whole,
    revisions,
)
from crash.kills_stage import LABELS, LARGE, Stage
from takehold.adapters import catalogue_file

ANSWERS = "\n".join(
    ["Lantern Bay", "The mixer", "SND_A1", "none", "SHUTTLE_1", "SHUTTLE_2", "none"]
)
ANSWERS += "\n\n\n\n\n"
EXTRA = "CREATE TABLE extra (id INTEGER PRIMARY KEY, note TEXT NOT NULL) STRICT;\n" + "".join(
    f"INSERT INTO extra VALUES ({n}, 'row {n}');\n" for n in range(4)
)

Command = tuple[str, ...]


def _nothing(stage: Stage) -> None:
    """No more than what always holds."""


@dataclass
class Scenario:
    """`lying` makes a drive flip a bit; `papers` is false where the start itself is a damage."""

    before: Callable[[Stage], None]
    words: Callable[[Stage], Command]
    again: Callable[[Stage], None]
    quiet: Callable[[Stage], None]
    at_once: Callable[[Stage], None] = _nothing
    says: str = ""
    lying: bool = False
    papers: bool = True


# -- up to a moment


def _ready(stage: Stage) -> None:
    stage.write_config()
    stage.done("key", "new")
    stage.public_key = key_is_whole(stage.key)


def _copied(stage: Stage) -> None:
    _ready(stage)
    stage.done("once")


def _wrapped(stage: Stage) -> None:
    _copied(stage)
    stage.done("wrap", stage.day)


def _late(stage: Stage) -> None:
    _wrapped(stage)
    stage.late_take()


def _revised(stage: Stage) -> None:
    """The late file is copied, and its revision is to come."""
    _late(stage)
    stage.done("once")
    stage.done("wrap", stage.day)


def _lost_copy(stage: Stage) -> None:
    """One copy was removed from a drive by somebody."""
    _wrapped(stage)
    gone = stage.drives["shuttle-1"] / "Lantern Bay" / stage.day / "SND_A1" / LARGE
    gone.unlink()


def _damaged_catalogue(stage: Stage) -> None:
    """The card is away, so that only the signed manifests can tell."""
    _revised(stage)
    stage.knew = stage.known()
    with (stage.state / "catalogue.sqlite").open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 8192)
    stage.card.unmount()


def _newer_program(stage: Stage) -> None:
    """From now on the program knows one more form of the catalogue."""
    _wrapped(stage)
    stage.knew = stage.known()
    known = catalogue_file.migrations()
    _set_forms((*known, EXTRA))
    stage.at_end.append(lambda: _set_forms(known))


def _set_forms(scripts: tuple[str, ...]) -> None:
    catalogue_file.migrations = lambda: scripts
    catalogue_file.newest_form = lambda: len(scripts)


def _with_post(stage: Stage) -> None:
    """A DIT with a key of their own and a folder for receipts."""
    _wrapped(stage)
    post = stage.laptop / "post"
    post.mkdir()
    home = os.environ["TAKEHOLD_CONFIG"]
    os.environ["TAKEHOLD_CONFIG"] = str(post / "takehold.toml")
    stage.done("key", "new")
    os.environ["TAKEHOLD_CONFIG"] = home
    (post / "receipts").mkdir()


def _received(stage: Stage) -> None:
    _with_post(stage)
    stage.done(*_receive(stage))


# -- commands


def _once(_: Stage) -> Command:
    return ("once", "--json")


def _wrap(stage: Stage) -> Command:
    return ("wrap", stage.day, "--json")


def _run(_: Stage) -> Command:
    return ("run",)


def _recheck(_: Stage) -> Command:
    return ("recheck", "--json")


def _init(_: Stage) -> Command:
    return ("init",)


def _force(_: Stage) -> Command:
    return ("init", "--force")


def _receive(stage: Stage) -> Command:
    post = stage.laptop / "post"
    folder = str(stage.drives["shuttle-2"] / "Lantern Bay" / stage.day)
    return (
        *("receive", folder, "--key", f"{stage.key}.pub", "--sign-with", str(post / "signing_key")),
        *("--by", "post", "--receipt-to", str(post / "receipts")),
    )


def _receipt(stage: Stage) -> Command:
    post = stage.laptop / "post"
    made = post / "receipts" / f"Lantern Bay.{stage.day}.r1.receipt.json"
    return ("receipt", str(made), "--key", str(post / "signing_key.pub"))


# -- on to quiet


def _go_on(stage: Stage) -> None:
    stage.done("once", "--json")
    stage.done("wrap", stage.day, "--json")


def _look_again(stage: Stage) -> None:
    stage.done("recheck", "--json", status=None)
    _go_on(stage)


def _start_without_card(stage: Stage) -> None:
    stage.done("once", "--json", status=3)


def _init_again(stage: Stage) -> None:
    """As the person does: the same once more; where it says that there is a config, that is one."""
    stage.done("init", says=ANSWERS, status=None)
    assert (stage.laptop / "takehold.toml").exists(), stage.said()
    stage.done("key", "show", "--json")


def _force_again(stage: Stage) -> None:
    stage.done("init", "--force", says=ANSWERS)


def _receive_again(stage: Stage) -> None:
    stage.done(*_receive(stage))


def _take_in_again(stage: Stage) -> None:
    stage.done(*_receipt(stage))


# -- what must hold


def _all_proven(stage: Stage) -> None:
    """Each file once on each drive, in a manifest that says so, everywhere the same."""
    archive = revisions(stage.state / "manifests", stage.public_key)
    for name, root in stage.drives.items():
        once_each(root, stage.made)
        on_drive = papers_hold(root, name, stage.public_key)
        assert on_drive == archive, f"{name} has other manifests than the laptop"
    newest = max(one_paper(archive))
    proven_papers(archive[newest], stage.made, set(LABELS))
    known = stage.known()
    assert len(known.copies) == len(stage.made) * len(LABELS)
    assert known.revisions.keys() == archive.keys()
    assert {d for day, n, d in known.published if (day, n) == newest} == set(LABELS)
    stage.assert_no_litter()


def _one_revision_more(stage: Stage) -> None:
    """A number of which not all was kept when it was killed is passed over."""
    _all_proven(stage)
    assert max(stage.known().revisions) >= (stage.day, 2), "the late file has no revision"


def _known_again(stage: Stage) -> None:
    """The rebuilt catalogue knows what the old one knew."""
    was, now = stage.knew, stage.known()
    assert (now.recordings, now.copies) == (was.recordings, was.copies), "something is forgotten"
    assert was.revisions.items() <= now.revisions.items(), "a signed manifest is forgotten"
    stage.assert_no_litter()


def _newest_form(stage: Stage) -> None:
    """In the new form, with every row; the copy of the old form is whole."""
    _all_proven(stage)
    was, now = stage.knew, stage.known()
    assert (now.form, now.copies) == (was.form + 1, was.copies)
    db = sqlite3.connect(stage.state / "catalogue.sqlite")
    try:
        assert db.execute("SELECT count(*) FROM extra").fetchone() == (4,)
    finally:
        db.close()
    old = sqlite3.connect(stage.state / f"catalogue.sqlite.form-{was.form}")
    try:
        assert old.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert old.execute("PRAGMA user_version").fetchone() == (was.form,)
    finally:
        old.close()


def _config_is_absent_or_whole(stage: Stage) -> None:
    config = stage.laptop / "takehold.toml"
    if config.exists():
        told = tomllib.loads(config.read_text())
        assert told["production"] == "Lantern Bay", "the config is not whole"
        assert [d["label"] for d in told["destination"]] == list(LABELS.values())


def _set_up(stage: Stage) -> None:
    _config_is_absent_or_whole(stage)
    key_is_whole(stage.key)
    assert stage.key.with_name("signing_key.pub").exists(), "there is no public half to give away"
    stage.assert_no_litter()


def _key_as_it_was(stage: Stage) -> None:
    """It signed something: it stays what it is; and the earlier config is somewhere, whole."""
    _config_is_absent_or_whole(stage)
    assert key_is_whole(stage.key) == stage.public_key, "another key took its place"
    old = (stage.saved / "laptop" / "takehold.toml").read_bytes()
    held = [path.read_bytes() for path in stage.laptop.glob("takehold.toml*")]
    assert old in held, "the earlier config is lost"


def _set_up_anew(stage: Stage) -> None:
    _key_as_it_was(stage)
    _set_up(stage)


def _receipts_whole(stage: Stage) -> None:
    receipts_are_whole(stage.laptop / "post" / "receipts", _post_key(stage))


def _receipt_there(stage: Stage) -> None:
    signed = receipts_are_whole(stage.laptop / "post" / "receipts", _post_key(stage))
    assert signed >= 1, "there is no signed receipt"
    stage.assert_no_litter()


def _taken_in(stage: Stage) -> None:
    assert stage.known().receipts >= 1


def _post_key(stage: Stage) -> str:
    return key_is_whole(stage.laptop / "post" / "signing_key")


SCENARIOS = {
    "copy": Scenario(_ready, _once, _go_on, _all_proven),
    "lying": Scenario(_ready, _once, _go_on, _all_proven, lying=True),
    "run": Scenario(_ready, _run, _go_on, _all_proven),
    "wrap": Scenario(_copied, _wrap, _go_on, _all_proven),
    "late": Scenario(_late, _once, _go_on, _one_revision_more),
    "late-wrap": Scenario(_late, _wrap, _go_on, _one_revision_more),
    "lost-copy": Scenario(_lost_copy, _recheck, _look_again, _all_proven, papers=False),
    "rebuild": Scenario(_damaged_catalogue, _once, _start_without_card, _known_again, papers=False),
    "migrate": Scenario(_newer_program, _once, _go_on, _newest_form),
    "init": Scenario(_nothing, _init, _init_again, _set_up, _config_is_absent_or_whole, ANSWERS),
    "force": Scenario(_wrapped, _force, _force_again, _set_up_anew, _key_as_it_was, ANSWERS),
    "receive": Scenario(_with_post, _receive, _receive_again, _receipt_there, _receipts_whole),
    "receipt": Scenario(_received, _receipt, _take_in_again, _taken_in),
}
