"""`takehold run`: the daemon in the foreground."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator

from takehold.adapters import service_manager
from takehold.adapters.live import LiveFile
from takehold.adapters.log import configure
from takehold.adapters.pulse import Pulse
from takehold.adapters.signer import load_key
from takehold.adapters.timer import Timer
from takehold.adapters.wake import Wake
from takehold.app import Running, days_of, running
from takehold.cli.exits import FINE, WORLD
from takehold.engine.daemon import Daemon, Log
from takehold.home import Home, settings_of
from takehold.model.errors import TakeholdError
from takehold.model.settings import Settings

ASTRAY = (
    "Stopped: the state folder is not the one any more that takehold began with. Start it again:"
    " it goes on with what lies there now."
)
ANEW = "The catalogue holds what cannot be read: it is put aside, and made anew."
# Threads that talk to devices, by the first word of their names.
AT_DEVICES = frozenset({"ask", "write", "prove", "card", "drive"})


class ServiceManager:
    """Tells the service manager (systemd's notify protocol), and who asks, that the loop lives."""

    def __init__(self, pulse: Pulse) -> None:
        self._pulse = pulse

    def alive(self, text: str) -> None:
        """The loop came round."""
        self._pulse.beat()
        service_manager.watchdog()
        service_manager.status(text)


def run_daemon(place: Home) -> int:
    """Work until SIGTERM or Ctrl-C. A catalogue that turns out damaged is begun anew meanwhile."""
    while (ended := _work(place)) is None:
        pass
    return _leave(ended)


def _work(place: Home) -> bool | None:
    """Whether all work ended in time; None if it is to begin again."""
    import structlog

    wake = Wake()
    with running(place, wake.nudge) as begun:
        configure(os.path.join(place.state, "takehold.log"), sys.stderr.isatty())
        log = structlog.get_logger()
        for note in begun.notes:
            log.warning(note)
        with contextlib.suppress(OSError):  # without it what is asked is seen at the next look
            os.makedirs(place.bell, mode=0o700, exist_ok=True)
        bell, live = os.fsencode(place.bell), LiveFile(place.state)
        told = (live, ServiceManager(begun.pulse), log, bell)
        daemon = Daemon(begun.engine, wake, begun.clock, *told, begun.vigil)
        daemon.astray = lambda: begun.lock.is_lost() or begun.catalogue.damaged
        with (
            nudges(begun.engine.settings, wake.nudge) as plan,
            _signals(daemon, wake, place, begun, log, plan),
        ):
            wake.watch_mounts()
            service_manager.ready()
            log.info("Started.")
            ended = daemon.run()
        service_manager.stopping()
        ended = ended and not hanging()
        said = "Stopped." if ended else "Stopped; a device did not answer, and was left."
        if begun.lock.is_lost():
            said, ended = ASTRAY, False
            sys.stderr.write(f"{said}\n")
        anew = begun.catalogue.damaged and ended and not daemon.stopping
        log.info(ANEW if anew else said)
        wake.close()
    return None if anew else ended


def hanging() -> bool:
    """Whether a thread of ours still waits for a device."""
    return any(t.name.split(" ", 1)[0] in AT_DEVICES for t in threading.enumerate())


def _leave(ended: bool) -> int:
    """A thread that hangs in a device must not keep the program from ending."""
    if not ended:
        sys.stderr.flush()
        os._exit(WORLD)
    return FINE


@contextlib.contextmanager
def nudges(settings: Settings, nudge: Callable[[], None]) -> Iterator[Callable[[Settings], None]]:
    """What is due by the clock is derived from the catalogue; the timer only wakes the loop.

    It gives what plans the nudges anew, by another config.
    """
    with contextlib.ExitStack() as stack:

        def plan(settings: Settings) -> None:
            stack.close()
            timer = Timer()
            if settings.wrap_at is not None:
                timer.daily(settings.wrap_at, nudge)
            timer.every(settings.look_every_seconds, nudge)
            interval = service_manager.watchdog_interval()
            if interval is not None:
                timer.every(interval / 2, nudge)
            timer.start()
            stack.callback(timer.stop)

        plan(settings)
        yield plan


@contextlib.contextmanager
def _signals(
    daemon: Daemon,
    wake: Wake,
    place: Home,
    begun: Running,
    log: Log,
    plan: Callable[[Settings], None],
) -> Iterator[None]:
    """SIGTERM and Ctrl-C stop; SIGHUP reads the config again, or keeps the old one."""

    def stop(*_: object) -> None:
        daemon.stopping = True
        threading.Thread(target=wake.nudge, daemon=True).start()

    def reload() -> None:
        try:
            settings = settings_of(place)
            signer = load_key(os.fsencode(place.key))
            begun.engine.adopt(settings, days_of(place, settings, signer, begun.clock))
            plan(settings)
        except TakeholdError as error:
            says = " ".join(getattr(error, "complaints", None) or (error.says,))
            log.warning("The config was not taken; the old one goes on.", why=says)
        else:
            log.info("The config was read again.")

    def hang_up(*_: object) -> None:
        daemon.reload = reload
        threading.Thread(target=wake.nudge, daemon=True).start()

    wanted = {signal.SIGTERM: stop, signal.SIGINT: stop}
    if hasattr(signal, "SIGHUP"):
        wanted[signal.SIGHUP] = hang_up
    before = {number: signal.signal(number, handler) for number, handler in wanted.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
