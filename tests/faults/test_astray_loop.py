"""engine/cycle over fakes: a backup card whose recorder's date is a day off."""

from __future__ import annotations

import json

from fakeworld import DAY, Site, take
from takehold.model.facts import Revised
from takehold.model.finding import Verdict

BEFORE = "2031-03-13"
FILES = {b"DAY/T%02d.WAV" % n: take(n) for n in range(1, 4)}
DATED = {path: take(n, day=BEFORE) for n, path in enumerate(FILES, 1)}


def test_a_backup_of_another_date_revises_the_day_that_was_closed() -> None:
    """The day was closed without it; once it is read, a new revision names its files."""
    site = Site()
    site.card("SND_A1", FILES)
    site.drive("SHUTTLE_1")
    site.drive("SHUTTLE_2")
    site.work()
    site.wrap()
    assert "backup-not-seen" in site.codes()
    site.card("SND_B1", DATED)
    site.work()
    revisions = [fact for fact in site.told(Revised) if fact.day == DAY]
    assert len(revisions) > 1, "nobody asked for it"
    doc = json.loads(site.archive.read(DAY, revisions[-1].name))
    assert {entry["counterpart"]["day"] for entry in doc["files"]} == {BEFORE}
    assert {entry["counterpart"]["relation"] for entry in doc["files"]} == {"same audio"}
    codes = site.codes()
    assert "backup-day-off" in codes
    assert codes.isdisjoint({"backup-not-seen", "backup-missing", "unconfirmed"})
    assert site.judged().verdict is Verdict.HOLD, "a person decides which date is right"
    site.no_false_word()
