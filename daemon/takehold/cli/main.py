"""The commands. Each imports what it needs when it runs, so that `--help` answers at once."""

from __future__ import annotations

import atexit
import gc
import os
import sys
from typing import Any

import click

from takehold import __version__
from takehold.cli.exits import USAGE, status_of
from takehold.cli.outlet import open_outlets
from takehold.model.errors import TakeholdError

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
JSON = click.option("--json", "as_json", is_flag=True, help="Print the facts as JSON.")


class Commands(click.Group):
    """Commands in the order of a day, with plain errors."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - as click calls it
        """In the order in which they were defined."""
        return list(self.commands)

    def main(self, *args: Any, **extra: Any) -> Any:
        """Say a foreseeable fault in a sentence, and end with its status; also one of `--help`."""
        try:
            return super().main(*args, **extra)
        except TakeholdError as error:
            for line in getattr(error, "complaints", None) or (error.says,):
                click.echo(line, err=True)
            if error.do:
                click.echo(error.do, err=True)
            sys.exit(status_of(error))

    def invoke(self, ctx: click.Context) -> Any:
        """A command that a person breaks off ends with a sentence, too."""
        try:
            return super().invoke(ctx)
        except click.Abort:
            click.echo("\nStopped; nothing was written.", err=True)
            sys.exit(USAGE)
        except KeyboardInterrupt:
            click.echo("Stopped. Nothing that was proven is lost; start again to go on.", err=True)
            sys.exit(130)


@click.group(cls=Commands, context_settings=CONTEXT)
@click.version_option(__version__, prog_name="takehold")
@click.option("--config", metavar="FILE", help="Use this config (or set TAKEHOLD_CONFIG).")
@click.pass_context
def cli(ctx: click.Context, config: str | None) -> None:
    """Copies a day's recordings to several drives, proves every copy, and signs for the day.

    \b
    Exit status: 0 fine or READY, 1 a problem in the media or HOLD,
    2 wrong usage or config, 3 the environment failed, 4 another one is running.
    """  # noqa: D301 - click reads the escape
    ctx.obj = config


def place(ctx: click.Context) -> Any:
    """Where this takehold keeps its things."""
    from takehold.home import home

    return home(ctx.obj)


def _ends_soon() -> None:
    """No search for cycles: it costs a command that only looks a fifth of its time."""
    gc.disable()
    atexit.register(gc.freeze)


@cli.command()
@click.option("--force", is_flag=True, help="Set an existing config aside and begin a new one.")
@click.pass_context
def init(ctx: click.Context, force: bool) -> None:
    """Ask a few questions; write a config and a key."""
    from takehold.cli.init import init as begin

    here = place(ctx)

    def ask(question: str, default: str) -> str:
        return str(click.prompt(question, default=default, show_default=bool(default)))

    for line in begin(here.config, here.key, ask=ask, force=force):
        click.echo(line)


@cli.command()
@JSON
@click.pass_context
def preflight(ctx: click.Context, as_json: bool) -> None:
    """Check that everything is fit for the day.

    Looks at config, key, clock, destinations, rights and space.
    """
    from takehold.cli.setup import preflight_table

    sys.exit(preflight_table(place(ctx), as_json))


@cli.command()
@click.pass_context
def run(ctx: click.Context) -> None:
    """Watch for cards all day (a service manager starts this)."""
    from takehold.cli.run import run_daemon

    sys.exit(run_daemon(place(ctx)))


@cli.command()
@JSON
@click.pass_context
def once(ctx: click.Context, as_json: bool) -> None:
    """Copy and prove everything that is there, then end.

    Exit status 0: all of it has its proven copies; 1: not all; 3: no card is there.
    """
    from takehold.cli.work import once as work_once

    sys.exit(work_once(place(ctx), as_json))


@cli.command()
@JSON
@click.option("--watch", is_flag=True, help="Go on showing it, until Ctrl-C.")
@click.pass_context
def status(ctx: click.Context, as_json: bool, watch: bool) -> None:
    """How it is now, and what needs a hand."""
    if not watch:
        _ends_soon()
    from takehold.cli.status import status as show_status

    sys.exit(show_status(place(ctx), as_json, watch))


@cli.command()
@click.argument("day", required=False)
@JSON
@click.option("--all", "each", is_flag=True, help="Show every finding on its own.")
@click.pass_context
def day(ctx: click.Context, day: str | None, as_json: bool, each: bool) -> None:
    """A shooting day's verdict, findings and takes.

    DAY is written like 2026-11-25; without it, the current one.
    """
    _ends_soon()
    from takehold.cli.day import day as show_day

    sys.exit(show_day(place(ctx), day, as_json=as_json, each=each))


@cli.command()
@click.argument("day", required=False)
@JSON
@click.pass_context
def wrap(ctx: click.Context, day: str | None, as_json: bool) -> None:
    """Close the day: write and sign its manifest.

    What is due and possible is finished first. DAY is written like 2026-11-25.
    """
    from takehold.cli.work import wrap as work_wrap

    sys.exit(work_wrap(place(ctx), day, as_json))


@cli.command()
@click.argument("name", required=False)
@JSON
@click.pass_context
def card(ctx: click.Context, name: str | None, as_json: bool) -> None:
    """May a card be handed over, may it be cleared?

    NAME is its label or its source's name; without it, the newest cards.
    """
    _ends_soon()
    from takehold.cli.card import card as show_card

    sys.exit(show_card(place(ctx), name, as_json))


@cli.command()
@click.argument("finding")
@click.option("--note", required=True, help="What was decided, and why; it goes in the manifest.")
@JSON
@click.pass_context
def ack(ctx: click.Context, finding: str, note: str, as_json: bool) -> None:
    """Record a decision on a finding that says `look`."""
    from takehold.cli.decide import ack as decide_on

    sys.exit(decide_on(place(ctx), finding, note, as_json))


@cli.command()
@click.argument("folder")
@click.option("--key", metavar="FILE", help="The mixer's public key or signers file.")
@click.option("--sign-with", metavar="FILE", help="Your own signing key, to sign the receipt.")
@click.option("--by", "received_by", default="", help="Who receives, for the receipt.")
@click.option("--receipt-to", metavar="FOLDER", help="Where the receipt is written, else here.")
@JSON
def receive(
    folder: str,
    key: str | None,
    sign_with: str | None,
    received_by: str,
    receipt_to: str | None,
    as_json: bool,
) -> None:
    """Check a received folder; write a receipt.

    FOLDER is the day's folder, the production's, or the drive. No config is needed.
    """
    from takehold.cli.receive import receive as check_received

    sys.exit(
        check_received(
            folder,
            key=key,
            sign_with=sign_with,
            received_by=received_by,
            receipt_to=receipt_to,
            as_json=as_json,
        )
    )


@cli.command()
@click.argument("file")
@click.option("--key", metavar="FILE", help="The receiver's public key, or its fingerprint.")
@JSON
@click.pass_context
def receipt(ctx: click.Context, file: str, key: str | None, as_json: bool) -> None:
    """Take in the DIT's receipt (what arrived).

    Exit status 0: it confirms every file of the newest manifest, and counts towards clearing.
    """
    from takehold.cli.decide import receipt as take_in

    sys.exit(take_in(place(ctx), file, key, as_json))


@cli.command()
@click.argument("destination", required=False)
@JSON
@click.pass_context
def recheck(ctx: click.Context, destination: str | None, as_json: bool) -> None:
    """Read copies again and compare.

    The oldest proof first; without DESTINATION, on all that are there.
    """
    from takehold.cli.work import recheck as work_recheck

    sys.exit(work_recheck(place(ctx), destination or "", as_json))


@cli.group()
def key() -> None:
    """The signing key."""


@key.command(name="show")
@JSON
@click.pass_context
def key_show(ctx: click.Context, as_json: bool) -> None:
    """Show the public key and its fingerprint."""
    from takehold.cli.setup import show_key

    show_key(place(ctx.find_root()), as_json)


@key.command(name="new")
@click.pass_context
def key_new(ctx: click.Context) -> None:
    """Make a signing key; an existing one is never replaced."""
    from takehold.cli.setup import make_key

    make_key(place(ctx.find_root()))


@cli.command()
@click.argument("folder", required=False)
def demo(folder: str | None) -> None:
    """Watch a made-up day go through the whole job.

    FOLDER must be new or empty; without it, a scratch folder is made and named.
    """
    from takehold.cli.demo import demo as show_demo

    sys.exit(show_demo(folder))


def main() -> None:
    """The console script. What a terminal cannot show is escaped, never an error."""
    # numpy's BLAS starts a thread a core as it is imported, each of which waits busily at first.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    open_outlets()
    cli()
