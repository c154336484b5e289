"""`takehold status`: how it is now, and what needs a hand."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from typing import Any

import click

from takehold.adapters.live import takes_writes
from takehold.cli.exits import FINE, MEDIA, WORLD
from takehold.cli.live import (
    SILENT,
    State,
    around_of,
    called,
    is_running,
    is_silent,
    last_state,
)
from takehold.cli.tables import Row, count, print_json, size, span
from takehold.cli.view import beside_ready, judged_day
from takehold.decide.alarms import left_early, open_troubles
from takehold.decide.judged import Judged
from takehold.formats.names import shown
from takehold.home import Home, reading, settings_of
from takehold.model.errors import UsageError
from takehold.model.finding import Verdict
from takehold.model.ledger import Ledger
from takehold.model.settings import Settings

WATCH_S = 1.0
LIVE = ("cards", "destinations", "absent", "work", "unsettled")


def status(place: Home, as_json: bool, watch: bool) -> int:
    """Print how it is now; 0 if nothing needs a hand, 1 if something does, 3 if none runs."""
    if not watch:
        facts = _look(place)
        if as_json:
            print_json(facts)
        else:
            print_status(facts)
        return _exit_of(facts)
    with contextlib.suppress(KeyboardInterrupt):
        while True:
            facts = _look(place)
            if as_json:
                print_json(facts)
            else:
                click.clear()
                print_status(facts)
            time.sleep(WATCH_S)
    return FINE


def _exit_of(facts: Row) -> int:
    if not facts["running"]:
        return WORLD
    return MEDIA if facts["needs"] else FINE


def _look(place: Home) -> Row:
    """How it is now; a mistake in the config does not hide what a running daemon shows."""
    running = is_running(place)
    state = last_state(place) if running else None
    settings, complaints = None, _unseen(place, state) if running else []
    if running and is_silent(place, state):
        state, complaints = None, [SILENT]
    try:
        settings = settings_of(place)
    except UsageError as error:
        if not running:
            raise
        says = " ".join(getattr(error, "complaints", None) or (error.says,))
        told = (
            f"The config cannot be used; takehold goes on with the one that it read before. {says}"
        )
        complaints.append((told, "Correct it before takehold is started again."))
    judged: Judged | None = None
    if state and settings:
        judged, ledger = judged_day(place, state["day"], settings, around_of(state))
    else:
        with reading(place, state["day"] if state else "") as (ledger, _):
            pass
    facts = status_facts(ledger, settings, state, judged, complaints)
    return facts | {"running": running}


def _unseen(place: Home, state: State | None) -> list[tuple[str, str]]:
    """Why what a running daemon shows is not there, or not of now."""
    do = f"Look again in a moment; then look at the disk of {shown(place.state)}: has it room?"
    if state is None:
        return [("takehold is running, and does not show how it is: it just began, or cannot.", do)]
    if not takes_writes(place.state):
        says = f"The folder {shown(place.state)} takes no writes: takehold can record nothing, and"
        return [(f"{says} what is shown here may be old.", "Look at the disk that it lies on.")]
    return []


def status_facts(
    ledger: Ledger,
    settings: Settings | None,
    state: State | None,
    judged: Judged | None,
    complaints: list[tuple[str, str]],
) -> Row:
    """All that is shown; without a running daemon what only it knows is None."""
    alarms = [(a["says"], a["do"]) for a in state["alarms"]] if state else []
    troubles = list(ledger.troubles.values())
    if state:
        troubles = open_troubles(ledger, state["day"], [d["root"] for d in state["destinations"]])
    standing = [(t.says, t.do) for t in troubles]
    left: list[tuple[str, str]] = []
    if state and judged and settings:
        here = {card["load"] for card in state["cards"]}
        left = [*left_early(judged.view, ledger, here, settings)]
    today = state["day"] if state else None
    newest = ledger.newest(today) if today else None
    needs = dict.fromkeys([*complaints, *left, *alarms, *standing])
    return {
        "running": state is not None,
        "day": today,
        "verdict": judged and judged.verdict.value,
        "reasons": judged and list(judged.reasons),
        "manifest": newest
        and {"name": newest.name, "revision": newest.number, "verdict": newest.verdict},
        "needs": [{"says": says, "do": do} for says, do in needs],
        **{key: state[key] if state else None for key in LIVE},
        "notes": state.get("notes", []) if state else None,
        "cards_not_in": _not_in(ledger, settings, state) if state and settings else None,
    }


def _not_in(ledger: Ledger, settings: Settings, state: State) -> list[Row]:
    """The cards of the config that are not in, with the loads of theirs that this day saw."""
    here = {card["source"] for card in state["cards"]}
    loads = [load for load in ledger.loads.values() if load.day == state["day"]]
    return [
        {
            "source": shown(source.name),
            "role": source.role.value,
            "label": shown(source.label),
            "seen": [
                *dict.fromkeys(shown(load.label) for load in loads if load.source == source.name)
            ],
        }
        for source in settings.sources
        if source.label is not None and source.name not in here
    ]


def print_status(facts: Any) -> None:
    """How it is, in sentences."""
    if not facts["running"]:
        click.echo("takehold is not running: nothing is being copied. Start it: takehold run")
    for line in (*_who(facts), *_what(facts)):
        click.echo(line)
    for need in facts["needs"]:
        click.echo(f"! {need['says']} {need['do']}".rstrip())
    if facts["verdict"]:
        click.echo(verdict_line(facts))


def _who(facts: Any) -> Iterator[str]:
    for card in facts["cards"] or ():
        name = called(card["label"], card["labelled"])
        yield f"{name} ({card['role']}) at {card['at']}: {card_words(card)}"
    for card in facts["cards_not_in"] or ():
        were = "was in" if len(card["seen"]) == 1 else "were in"
        seen = f"; {', '.join(card['seen'])} {were}" if card["seen"] else " yet"
        yield f"{card['label']} ({card['role']}): not in{seen}"
    for drive in facts["destinations"] or ():
        yield f"{drive['name']} at {drive['at']}: {size(drive['free_bytes'])} free"
    for name in facts["absent"] or ():
        yield f"{name}: not in use"


def _what(facts: Any) -> Iterator[str]:
    for work in facts["work"] or ():
        yield "  " + work_line(work)
    for name in facts["unsettled"] or ():
        yield f"  still being written: {name}"
    for note in facts["notes"] or ():
        yield f"  note: {note}"
    if facts["running"] and not (facts["work"] or facts["unsettled"] or facts["needs"]):
        yield "Nothing left to do now."


def card_words(card: Any) -> str:
    """How far a card is, and whether it may be pulled."""
    files, copied = card["files"], card["copied"]
    if card["in_use"]:
        return f"{count(files, 'file')}; in use, leave it in"
    if not card.get("complete", True):
        return f"{count(files, 'file')}; what is in a folder of it is not known, leave it in"
    if files == 0:
        return "no recordings found on it"
    from_drives = card.get("from_drives", 0)
    if copied + from_drives < files:
        return f"{copied} of {files} copied, leave it in"
    rest = f"{copied} of {files} copied, the rest goes from drive to drive" if from_drives else ""
    if card["confirmed"] < files:
        says = f"{rest};" if rest else f"{count(files, 'file')} copied,"
        return f"{says} not confirmed yet: put the other card in, or leave it in until wrap"
    fine = rest or f"{count(files, 'file')}, all copied and confirmed"
    pull = "it may be pulled, do not clear it yet" if rest else "it may be pulled"
    return fine if card.get("watched") else f"{fine}; {pull}"


def verdict_line(facts: Any) -> str:
    """The day's verdict beside what the newest manifest says."""
    manifest, day = facts["manifest"], facts["day"]
    if facts["verdict"] == Verdict.HOLD:
        said = manifest is not None and manifest["verdict"] == Verdict.READY
        signed = f"; the manifest r{manifest['revision']} says READY still" if said else ""
        reasons = count(len(facts["reasons"]), "reason")
        return f"{day}: HOLD{signed}. {reasons} to hold: takehold day"
    if manifest is None:
        return f"{day}: READY, not signed yet: no manifest was written. Run: takehold wrap"
    if manifest["verdict"] != Verdict.READY:
        says = f"the manifest r{manifest['revision']} says {manifest['verdict']}"
        return f"{day}: READY, not signed yet: {says}. Run: takehold wrap"
    beside = f"; {beside_ready(facts['reasons'])}" if facts["reasons"] else ""
    return f"{day}: READY, signed in r{manifest['revision']}{beside}  (takehold day)"


def work_line(work: Any) -> str:
    """One step at work, with rate and time left."""
    if work["unit"] == "files":
        return f"{work['what']}: {work['done']} of {work['total']} files"
    share = 100 * work["done"] // work["total"] if work["total"] else 100
    still = ""
    if work["still_seconds"] > 5:
        still = f", nothing moved for {span(work['still_seconds'])}"
    left = span(work["seconds_left"])
    return f"{work['what']}: {share} %, {size(work['rate'])}/s, {left} left{still}"
