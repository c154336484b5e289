"""The log: JSON lines in a file that is turned over by size, plain lines on a terminal.

Imported by `takehold run` alone: structlog is slow to import where rich is installed. Whoever logs
takes `structlog.get_logger()`. Values that came from outside are escaped here, once, for both.
"""

from __future__ import annotations

import logging
import os
import sys
from contextlib import suppress
from datetime import datetime
from logging.handlers import RotatingFileHandler

import structlog
from structlog.types import EventDict, Processor, WrappedLogger

from takehold.formats.names import display, is_shown, shown

FILES = 5
FILE_BYTES = 5_000_000


def configure(path: str | None, to_terminal: bool) -> None:
    """Send the log of this process to a file, standard error, both or neither.

    From then on no fault of the log (a full disk, a closed terminal) is raised to who logs.
    """
    logging.raiseExceptions = False
    handlers: list[logging.Handler] = []
    if path is not None:
        handlers.append(_file(path))
    if to_terminal:
        terminal = logging.StreamHandler(sys.stderr)
        terminal.setFormatter(_formatter(_terminal_line))
        handlers.append(terminal)
    root = logging.getLogger()
    for old in root.handlers[:]:
        root.removeHandler(old)
        old.close()
    for handler in handlers or [logging.NullHandler()]:
        root.addHandler(handler)
    root.setLevel(logging.INFO)
    logging.getLogger("apscheduler").setLevel(logging.WARNING)  # tells of every single run
    structlog.configure(
        processors=[
            structlog.stdlib.add_log_level,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=False,
    )


def _file(path: str) -> logging.Handler:
    with suppress(OSError):
        os.makedirs(os.path.dirname(path) or ".", mode=0o700, exist_ok=True)
    handler = RotatingFileHandler(
        path, maxBytes=FILE_BYTES, backupCount=FILES - 1, encoding="utf-8", delay=True
    )
    # JSON escapes all that is not ASCII, and with it every line break of a trace.
    handler.setFormatter(
        _formatter(
            structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
            structlog.processors.format_exc_info,
            structlog.processors.JSONRenderer(),
        )
    )
    return handler


def _formatter(*ending: Processor) -> logging.Formatter:
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[structlog.stdlib.add_log_level],
        processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, _escaped, *ending],
    )


def _escaped(_: WrappedLogger, __: str, event: EventDict) -> EventDict:
    return {name: value if name == "exc_info" else _plain(value) for name, value in event.items()}


def _plain(value: object) -> object:
    match value:
        case bytes():
            return display(value)
        case str():
            return value if is_shown(value) else shown(value)  # sentences are escaped already
        case None | bool() | int() | float():
            return value
        case dict():
            return {str(_plain(k)): _plain(v) for k, v in value.items()}
        case list() | tuple() | set() | frozenset():
            return [_plain(v) for v in value]
        case _:
            return _plain(str(value))


def _terminal_line(_: WrappedLogger, __: str, event: EventDict) -> str:
    """`21:30:05 warning  the event  name=value …`; an error's trace is for the file only."""
    level, said, error = (event.pop(k, "") for k in ("level", "event", "exc_info"))
    clock = datetime.now().astimezone().strftime("%H:%M:%S")
    words = [f"{clock} {level:<8} {said}", *(f"{name}={event[name]}" for name in event)]
    if error is True:
        error = sys.exc_info()
    if isinstance(error, tuple):
        error = error[1]
    if isinstance(error, BaseException):
        words.append(f"error={_plain(f'{type(error).__name__}: {error}')}")
    return "  ".join(words)
