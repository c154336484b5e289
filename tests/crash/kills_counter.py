"""Counts the system calls of a program, all its threads together, and kills it at a given one.

The forked child installs a seccomp filter of its own that hands every chosen call to this process
before it is carried out (seccomp_unotify(2)): SQLite's calls, the interpreter's and those through
ctypes alike. It waits meanwhile, so the calls have one order, and the one at which the process is
killed is not carried out; a write is, if asked for, up to its half.
Calls of programs that the child starts are let through and not counted. x86-64 Linux only.
"""

from __future__ import annotations

import contextlib
import ctypes
import faulthandler
import fcntl
import os
import re
import select
import signal
import socket
import stat
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass


def _table(text: str) -> dict[str, int]:
    return {name: int(number) for name, number in re.findall(r"(\w+) (\d+)", text)}


# arch/x86/entry/syscalls/syscall_64.tbl of Linux. `CHANGES` can change what is stored; a kill at
# a call of `LOOKS` leaves what the change before it left, with other threads elsewhere.
CHANGES = _table(
    """write 1, pwrite64 18, writev 20, pwritev 296, pwritev2 328, open 2, openat 257, openat2 437,
    creat 85, fsync 74, fdatasync 75, syncfs 306, sync_file_range 277, fallocate 285, truncate 76,
    ftruncate 77, rename 82, renameat 264, renameat2 316, link 86, linkat 265, symlink 88,
    symlinkat 266, unlink 87, unlinkat 263, mkdir 83, mkdirat 258, rmdir 84, chmod 90, fchmod 91,
    fchmodat 268, copy_file_range 326, sendfile 40"""
)
LOOKS = _table(
    """read 0, pread64 17, readv 19, preadv 295, preadv2 327, close 3, fcntl 72, flock 73,
    getdents64 217, fadvise64 221"""
)
WRITES = frozenset({"write", "pwrite64"})
FLUSHES = frozenset({"fsync", "fdatasync"})
BY_PATH = {"open": 0, "creat": 0, "rename": 1, "link": 1, "unlink": 0, "mkdir": 0, "rmdir": 0}
BY_FOLDER = {"openat": 1, "renameat2": 3, "renameat": 3, "linkat": 3, "unlinkat": 1, "mkdirat": 1}
OPENS = {"open": 1, "openat": 2}  # which argument holds the flags
OPENS_TO_CHANGE = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC

# linux/seccomp.h, linux/filter.h, linux/audit.h
SECCOMP = 317
NOTIFY, ALLOW = 0x7FC00000, 0x7FFF0000
RECEIVE, ANSWER, SET_FLAGS = 0xC0502100, 0xC0182101, 0x40082104
NOTICE = struct.Struct("QIIiIQ6Q")
GO_ON = 1
X86_64 = 0xC000003E
LONGEST_S = 40
REST_S = 0.7


@dataclass(frozen=True, slots=True)
class Kill:
    """At which call, counted from 1; `half` of a write is carried out."""

    at: int
    half: bool = False


@dataclass(frozen=True, slots=True)
class Ending:
    """`calls` were counted; `at` is the one it was killed at, empty if it ended by itself."""

    calls: int
    at: str
    status: int


def counted(
    work: Callable[[], int],
    kill: Kill | None = None,
    *,
    looks: bool = True,
    spoil: Callable[[str], bool] | None = None,
    stays: bool = False,
) -> Ending:
    """Run `work` in a forked child to its end, or to its kill. This process must have one thread.

    One that `stays`, as a daemon does, is asked to end (SIGTERM) once it rests. `spoil` is asked
    for each file that is flushed: one byte of the first it says yes to is flipped just before, as
    a drive does that lies.
    """
    ours, theirs = socket.socketpair()
    with ours, theirs:
        child = os.fork()
        if child == 0:
            _be_the_child(theirs, work, looks)
        theirs.close()
        ours.settimeout(LONGEST_S)
        try:
            listener = socket.recv_fds(ours, 1, 1)[1][0]
        except BaseException:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            raise
    watch = _Watch(child, listener, kill, looks, spoil)
    try:
        watch.until_the_end(stays=stays)
    finally:
        os.close(listener)
        _kill(child)
        _, status = os.waitpid(child, 0)
    return Ending(watch.calls, watch.at, os.waitstatus_to_exitcode(status))


def undisturbed(work: Callable[[], int]) -> int:
    """Run `work` in a forked child to its end, at full speed; its exit status."""
    child = os.fork()
    if child == 0:
        status = 99
        try:
            _alone()
            status = work()
        finally:
            os._exit(status)
    ended = os.pidfd_open(child)
    try:
        if not select.select([ended], [], [], LONGEST_S)[0]:
            os.kill(child, signal.SIGUSR1)  # it prints where its threads are
            time.sleep(0.3)
            raise TimeoutError(f"it did not end within {LONGEST_S} s")
    finally:
        os.close(ended)
        _kill(child)
        _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def _alone() -> None:
    """In a group of its own, to be killed as one; and no child outlives this process."""
    os.setsid()
    die_with_the_parent()
    faulthandler.register(signal.SIGUSR1, file=2, all_threads=True)


def die_with_the_parent() -> None:
    """Be killed when it ends (PR_SET_PDEATHSIG of prctl(2))."""
    assert ctypes.CDLL(None).prctl(1, signal.SIGKILL) == 0


def _kill(child: int) -> None:
    """It and what it started."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)


def _be_the_child(theirs: socket.socket, work: Callable[[], int], looks: bool) -> None:
    status = 99
    try:
        _alone()
        socket.send_fds(theirs, [b"x"], [_filtered(looks)])
        status = work()
    finally:
        os._exit(status)


def _filtered(looks: bool) -> int:
    """Put this process under the filter; the descriptor on which its calls are told."""
    wanted = sorted({**CHANGES, **(LOOKS if looks else {})}.values())
    # load arch; another one is let through; load the number; compare with each; allow; notify
    lines = [(0x20, 0, 0, 4), (0x15, 0, len(wanted) + 1, X86_64), (0x20, 0, 0, 0)]
    lines += [(0x15, len(wanted) - i, 0, number) for i, number in enumerate(wanted)]
    lines += [(0x06, 0, 0, ALLOW), (0x06, 0, 0, NOTIFY)]
    code = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *line) for line in lines))
    program = struct.pack("HxxxxxxQ", len(lines), ctypes.addressof(code))
    libc = ctypes.CDLL(None, use_errno=True)
    no_new_privileges, set_filter, new_listener = 38, 1, 8
    assert libc.prctl(no_new_privileges, 1, 0, 0, 0) == 0
    found: int = libc.syscall(SECCOMP, set_filter, new_listener, program)
    assert found >= 0, os.strerror(ctypes.get_errno())
    return found


class _Watch:
    """Answers each call of the child, until it ends or is killed."""

    def __init__(
        self,
        child: int,
        listener: int,
        kill: Kill | None,
        looks: bool,
        spoil: Callable[[str], bool] | None,
    ) -> None:
        self.calls = 0
        self.at = ""
        self._child = child
        self._listener = listener
        self._kill = kill
        self._looks = looks
        self._spoil = spoil
        self._names = {number: name for name, number in (CHANGES | LOOKS).items()}
        self._mine: dict[int, bool] = {}

    def until_the_end(self, *, stays: bool) -> None:
        """Serve the child's calls; fails if it takes longer than `LONGEST_S`."""
        end = time.monotonic() + LONGEST_S
        fcntl.ioctl(self._listener, SET_FLAGS, 1)  # both on one processor: twice as fast
        ended = os.pidfd_open(self._child)
        poll = select.poll()
        poll.register(self._listener, select.POLLIN)
        poll.register(ended, select.POLLIN)
        asked = False
        try:
            while time.monotonic() < end or not asked:
                if time.monotonic() >= end:
                    os.kill(self._child, signal.SIGUSR1)  # it prints where its threads are
                    asked, end = True, end + 0.5
                ready = dict(poll.poll(1000 * REST_S))
                told = ready.get(self._listener, 0)
                if told & select.POLLIN:
                    if self._serve():
                        return
                elif ended in ready:
                    return
                elif told:  # nobody is left to ask; the child is about to end
                    poll.unregister(self._listener)
                elif stays:
                    os.kill(self._child, signal.SIGTERM)
                    stays = False
        finally:
            os.close(ended)
        raise TimeoutError(f"it did not end within {LONGEST_S} s, after {self.calls} calls")

    def _serve(self) -> bool:
        """One call; whether the child was killed at it."""
        notice = bytearray(NOTICE.size)
        try:
            fcntl.ioctl(self._listener, RECEIVE, notice)
        except FileNotFoundError:  # whoever asked is gone
            return False
        number, thread, _, call, _, _, *args = NOTICE.unpack(notice)
        name = self._names[call]
        if self._is_mine(thread) and (self._looks or _changes(name, args)):
            self.calls += 1
            if self._kill is not None and self.calls == self._kill.at:
                self.at = f"{name} {self._about(name, args)}"
                if self._kill.half and name in WRITES:
                    self._write_half(name, args)
                os.killpg(self._child, signal.SIGKILL)
                return True
            if self._spoil is not None and name in FLUSHES and self._spoil(self._file(args[0])):
                self._flip(args[0])
                self._spoil = None
        with contextlib.suppress(FileNotFoundError):
            fcntl.ioctl(self._listener, ANSWER, struct.pack("QqiI", number, 0, 0, GO_ON))
        return False

    def _is_mine(self, thread: int) -> bool:
        if thread not in self._mine:
            self._mine[thread] = os.path.exists(f"/proc/{self._child}/task/{thread}")
        return self._mine[thread]

    def _file(self, fd: int) -> str:
        try:
            return os.readlink(self._link(fd))
        except OSError:
            return ""

    def _link(self, fd: int) -> str:
        return f"/proc/{self._child}/fd/{fd & 0xFFFFFFFF}"

    def _about(self, name: str, args: list[int]) -> str:
        """The file that a call is about, for a person."""
        where = BY_PATH.get(name, BY_FOLDER.get(name))
        if where is None:
            return self._file(args[0])
        path = os.fsdecode(self._memory(args[where], 300).split(b"\0")[0])
        if name in BY_FOLDER and not path.startswith("/"):
            return os.path.join(self._file(args[where - 1]), path)
        return path

    def _memory(self, at: int, size: int) -> bytes:
        with open(f"/proc/{self._child}/mem", "rb", buffering=0) as memory:
            memory.seek(at)
            return memory.read(size)

    def _write_half(self, name: str, args: list[int]) -> None:
        """What a kill in the middle of a long write leaves; pipes and the like are left alone."""
        fd, at, size, offset = args[:4]
        try:
            half = os.open(self._link(fd), os.O_WRONLY)
        except OSError:
            return
        try:
            about = os.fstat(half)
            if stat.S_ISREG(about.st_mode):
                if name == "write":
                    offset = self._position(fd, about.st_size)
                os.pwrite(half, self._memory(at, size // 2), offset)
        finally:
            os.close(half)

    def _position(self, fd: int, end: int) -> int:
        """Where the next plain write goes: proc_pid_fdinfo(5)."""
        with open(f"/proc/{self._child}/fdinfo/{fd}", encoding="ascii") as lines:
            said = dict(line.split(":", 1) for line in lines if ":" in line)
        return end if int(said["flags"], 8) & os.O_APPEND else int(said["pos"])

    def _flip(self, fd: int) -> None:
        found = os.open(self._link(fd), os.O_RDWR)
        try:
            middle = os.fstat(found).st_size // 2
            os.pwrite(found, bytes([os.pread(found, 1, middle)[0] ^ 1]), middle)
        finally:
            os.close(found)


def _changes(name: str, args: list[int]) -> bool:
    """Whether a call may change something; opening to read does not."""
    return name not in OPENS or bool(args[OPENS[name]] & OPENS_TO_CHANGE)
