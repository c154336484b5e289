"""adapters/log: what stands in the file and on the terminal, and that nothing is ever raised."""

from __future__ import annotations

import io
import json
import logging
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
import structlog

from loopbench import Bench
from takehold.adapters import log


@pytest.fixture(autouse=True)
def _restored() -> Iterator[None]:
    """Logging is of the whole process: put back what was there."""
    root = logging.getLogger()
    handlers, level, raises = root.handlers[:], root.level, logging.raiseExceptions
    yield
    for handler in root.handlers[:]:
        root.removeHandler(handler)
        handler.close()
    for handler in handlers:
        root.addHandler(handler)
    root.setLevel(level)
    logging.raiseExceptions = raises
    structlog.reset_defaults()


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Callable[[], str]:
    """Configures for a terminal alone; gives what it showed."""
    shown = io.StringIO()
    monkeypatch.setattr(sys, "stderr", shown)
    log.configure(None, to_terminal=True)
    return shown.getvalue


def lines(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text("ascii").splitlines()]


def test_a_line_of_the_file_is_json(tmp_path: Path) -> None:
    """One object a line: when in UTC (ISO 8601), level, event and the values."""
    log.configure(str(tmp_path / "state" / "log"), to_terminal=False)
    structlog.get_logger().warning("copy failed", path=b"a/b.wav", tries=2, left=None, on=["x"])
    (line,) = lines(tmp_path / "state" / "log")
    when = datetime.fromisoformat(str(line.pop("at")))
    assert when.utcoffset() is not None
    assert line == {
        "level": "warning",
        "event": "copy failed",
        "path": "a/b.wav",
        "tries": 2,
        "left": None,
        "on": ["x"],
    }


def test_names_are_escaped_everywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Control and bidi characters of a name reach neither the file nor the terminal (CWE-150)."""
    log.configure(str(tmp_path / "log"), to_terminal=True)
    evil = "\x1b[2J\u202e\r\n\u2028\x00"
    structlog.get_logger().info(
        evil, name=evil.encode() + b"\xff", text=evil, more={"k": (evil,)}, error=OSError(evil)
    )
    for said in ((tmp_path / "log").read_text(), capsys.readouterr().err):
        assert said.count("\n") == 1
        assert not set("\x1b\u202e\r\u2028\x00") & set(said)
    assert lines(tmp_path / "log")[0]["name"] == r"\x1b[2J\u202e\x0d\x0a\u2028\x00\xff"


def test_a_sentence_that_is_escaped_stays_as_it_is(terminal: Callable[[], str]) -> None:
    """A name that was escaped for people is not escaped again."""
    structlog.get_logger().error(r"a\x1b.wav cannot be read.", code="no-rights")
    assert terminal()[8:] == " error    a\\x1b.wav cannot be read.  code=no-rights\n"


def test_an_error_is_one_line_on_the_terminal(terminal: Callable[[], str]) -> None:
    """A terminal gets the error's words, no trace."""
    try:
        raise ValueError("wrong\nthing")
    except ValueError:
        structlog.get_logger().exception("a job failed")
    assert terminal()[8:] == " error    a job failed  error=ValueError: wrong\\x0athing\n"


def test_an_error_has_its_trace_in_the_file(tmp_path: Path) -> None:
    """The file has the trace, in one line."""
    log.configure(str(tmp_path / "log"), to_terminal=False)
    try:
        raise ValueError("wrong")
    except ValueError:
        structlog.get_logger().exception("a job failed")
    (line,) = lines(tmp_path / "log")
    assert "test_log.py" in str(line["exception"])
    assert str(line["exception"]).endswith("ValueError: wrong")


def test_libraries_log_into_the_same_file(tmp_path: Path) -> None:
    """What the standard library's loggers say stands there too, escaped as well."""
    log.configure(str(tmp_path / "log"), to_terminal=False)
    try:
        raise ValueError("wrong")
    except ValueError:
        logging.getLogger("some.package").exception("said %s", "\x1b")
    logging.getLogger("apscheduler.executors.default").info("Running job")
    (line,) = lines(tmp_path / "log")
    assert (line["level"], line["event"]) == ("error", r"said \x1b")
    assert str(line["exception"]).endswith("ValueError: wrong")


def test_debug_is_left_out(terminal: Callable[[], str]) -> None:
    """The log begins at info."""
    structlog.get_logger().debug("detail")
    assert terminal() == ""


def test_the_file_is_turned_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Five files at most, each within its size."""
    monkeypatch.setattr(log, "FILE_BYTES", 2000)
    log.configure(str(tmp_path / "log"), to_terminal=False)
    for n in range(200):
        structlog.get_logger().info("x" * 100, n=n)
    files = sorted(tmp_path.iterdir())
    assert [p.name for p in files] == ["log", "log.1", "log.2", "log.3", "log.4"]
    assert all(p.stat().st_size <= 2000 for p in files)
    assert lines(tmp_path / "log")[-1]["n"] == 199


def test_configured_twice_says_once(tmp_path: Path) -> None:
    """A second configuration takes the place of the first."""
    for name in ("one", "two", "two"):
        log.configure(str(tmp_path / name), to_terminal=False)
    structlog.get_logger().info("hello")
    assert not (tmp_path / "one").exists()
    assert len(lines(tmp_path / "two")) == 1


def test_neither_is_silent(capsys: pytest.CaptureFixture[str]) -> None:
    """No file and no terminal: nothing is said, not even by the standard library's last resort."""
    log.configure(None, to_terminal=False)
    structlog.get_logger().error("hello")
    logging.getLogger("lib").error("hello")
    assert capsys.readouterr() == ("", "")


def test_a_full_disk_is_no_error(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    """No room for the log: whoever logs goes on, and the log goes on when there is room."""
    disk = bench.disk("state", "tmpfs", size_mb=1)
    log.configure(str(disk.mount / "log"), to_terminal=False)
    for n in range(300):
        structlog.get_logger().info("x" * 10_000, n=n)
    assert capsys.readouterr() == ("", "")


def test_an_impossible_path_is_no_error(tmp_path: Path) -> None:
    """A file where the folder should be."""
    (tmp_path / "file").write_text("")
    log.configure(str(tmp_path / "file" / "log"), to_terminal=False)
    structlog.get_logger().info("hello")


def test_a_closed_terminal_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Standard error is gone."""
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    log.configure(None, to_terminal=True)
    stream.close()
    structlog.get_logger().info("hello")


def test_a_value_that_cannot_be_shown_is_no_error(tmp_path: Path) -> None:
    """A broken value takes one line, never the one who logs it."""

    class Broken:
        def __repr__(self) -> str:
            raise RuntimeError("no words")

    log.configure(str(tmp_path / "log"), to_terminal=False)
    structlog.get_logger().info("hello", value=Broken())
    structlog.get_logger().info("again")
    assert lines(tmp_path / "log")[-1]["event"] == "again"
