"""A closed day whose copies were read again is weighed once, also if the program starts anew."""

from __future__ import annotations

from fakeworld import DAY, Site, take
from takehold.decide.judged import Judged
from takehold.engine import days as writing
from takehold.model.facts import Proven, Revised, Weighed

FILES = {b"T%02d.WAV" % n: take(n) for n in range(1, 4)}


def rechecked() -> Site:
    """A READY day, wrapped; some days later its copies are read again and are as they were."""
    site = Site()
    site.card("SND_A1", FILES)
    site.card("SND_B1", FILES)
    for label in ("SHUTTLE_1", "SHUTTLE_2"):
        site.drive(label)
    site.work()
    site.wrap()
    site.clock.advance(3 * 86_400)
    read_again(site)
    return site


def read_again(site: Site) -> None:
    """A recheck, each look of it a second after the one before; what it finds is dealt with."""
    number = site.catalogue.ask("recheck", "", site.clock.now())

    def answered() -> bool:
        site.clock.advance(1)
        return site.catalogue.answer_of(number) is not None

    site.work(answered)
    site.clock.advance(60)
    site.work()


def weighings(site: Site, monkeypatch) -> list[str]:
    """The days that a new start, and the work after it, judge."""
    judged: list[str] = []
    judge = writing.judge

    def noted(ledger, day, *rest) -> Judged:
        judged.append(day)
        return judge(ledger, day, *rest)

    monkeypatch.setattr(writing, "judge", noted)
    site.clock.advance(60)
    site.start()
    site.work()
    return judged


def test_it_is_not_weighed_at_each_start(monkeypatch) -> None:
    """A month's recheck proves every copy of every day anew: a start must not judge them all."""
    site = rechecked()
    assert [fact.day for fact in site.told(Weighed)] == [DAY]
    assert weighings(site, monkeypatch) == []
    assert len(site.told(Revised)) == 1


def test_it_is_weighed_at_a_start_if_it_was_not_before(monkeypatch) -> None:
    """The program ended between the reads and the weighing; and the next start knows."""
    site = rechecked()
    site.catalogue.record([Weighed(DAY, 0)])
    assert weighings(site, monkeypatch) == [DAY]
    assert weighings(site, monkeypatch) == []


def test_it_is_weighed_again_if_anything_became_known(monkeypatch) -> None:
    """Of whatever time: the clock may have been set back."""
    site = rechecked()
    [proven, *_] = [p for p in site.told(Proven) if p.copy.path.endswith(b"T01.WAV")]
    proof = proven.copy.proof._replace(at=proven.copy.proof.at - 10)
    site.catalogue.record([Proven(proven.copy._replace(proof=proof))])
    assert weighings(site, monkeypatch) == [DAY]


def test_a_copy_that_came_later_is_told_in_the_next_revision() -> None:
    """After a weighing, too: one was lost and is made again, and the manifest says so."""
    site = rechecked()
    drive = site.disk.volumes[b"/media/SHUTTLE_2"]
    for path in [path for path in drive.files if path.endswith(b"T01.WAV")]:
        drive.remove(path)
    site.clock.advance(3600)
    read_again(site)
    site.start()
    site.work()
    assert len(site.told(Revised)) == 2
