"""A login service to ask for an inhibitor lock, on a message bus of its own (dbus-daemon(1)).

It answers one call of org.freedesktop.login1.Manager as systemd-logind does:
Inhibit(what, who, why, mode) gives back a file descriptor, and the lock lasts until its last copy
is closed (org.freedesktop.login1(5), "Inhibitor Locks"). The wire is that of the D-Bus
Specification 0.42: "Message Protocol", and EXTERNAL with NEGOTIATE_UNIX_FD of "Authentication".
"""

from __future__ import annotations

import os
import select
import socket
import struct
import subprocess
import threading
from array import array
from pathlib import Path

CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path={at}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow user="*"/><allow own="*"/><allow send_destination="*"/>
<allow receive_sender="*"/></policy></busconfig>
"""
CALL, RETURN, ERROR = 1, 2, 3
PATH, MEMBER, ERROR_NAME, REPLY_SERIAL, DESTINATION, SENDER, SIGNATURE, FDS = 1, 3, 4, 5, 6, 7, 8, 9
KINDS = {PATH: "o", 2: "s", MEMBER: "s", ERROR_NAME: "s", REPLY_SERIAL: "u", DESTINATION: "s",
         SENDER: "s", SIGNATURE: "g", FDS: "u"}  # fmt: skip
BUS = "org.freedesktop.DBus"
PATIENCE_S = 60


class LoginService:
    """Use it in a `with`. `asked` are the calls; `refuses` answers the next ones with an error."""

    def __init__(self, folder: Path) -> None:
        self.asked: list[tuple[str, ...]] = []
        self.refuses = False
        self._at = folder / "bus"
        self._config = folder / "bus.conf"
        self._locks: list[int] = []
        self._serial = 0
        self._owned = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    @property
    def address(self) -> str:
        """What DBUS_SYSTEM_BUS_ADDRESS must say."""
        return f"unix:path={self._at}"

    def held(self) -> int:
        """How many locks are held now: of how many some copy of the descriptor is open."""
        poll = select.poll()
        for end in self._locks:
            poll.register(end, 0)  # a hang-up is told unasked (poll(2))
        return len(self._locks) - len(poll.poll(0))

    def __enter__(self) -> LoginService:
        self._config.write_text(CONFIG.format(at=self._at))
        command = ["dbus-daemon", f"--config-file={self._config}", "--nofork", "--nopidfile",
                   "--print-address"]  # fmt: skip
        self._bus = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self._wire = socket.socket(socket.AF_UNIX)
        try:
            self._begin()
        except BaseException:
            self._end_bus()
            raise
        return self

    def _begin(self) -> None:
        assert self._bus.stdout is not None
        assert self._bus.stdout.readline().startswith(b"unix:path=")
        self._wire.settimeout(PATIENCE_S)
        self._wire.connect(str(self._at))
        self._wire.sendall(b"\0AUTH EXTERNAL " + str(os.getuid()).encode().hex().encode() + b"\r\n")
        assert self._wire.recv(4096).startswith(b"OK")
        self._wire.sendall(b"NEGOTIATE_UNIX_FD\r\n")
        assert self._wire.recv(4096) == b"AGREE_UNIX_FD\r\n"
        self._wire.sendall(b"BEGIN\r\n")
        to_bus = {PATH: "/org/freedesktop/DBus", DESTINATION: BUS}
        self._send(CALL, {**to_bus, MEMBER: "Hello"})
        named = _text("org.freedesktop.login1")
        named += b"\0" * (-len(named) % 4) + struct.pack("<I", 0)
        self._send(CALL, {**to_bus, MEMBER: "RequestName", SIGNATURE: "su"}, named)
        self._thread.start()
        assert self._owned.wait(PATIENCE_S)

    def __exit__(self, *_: object) -> None:
        self._wire.shutdown(socket.SHUT_RDWR)
        self._thread.join(PATIENCE_S)
        self._end_bus()
        for end in self._locks:
            os.close(end)

    def _end_bus(self) -> None:
        self._wire.close()
        self._bus.terminate()
        self._bus.wait(PATIENCE_S)
        assert self._bus.stdout is not None
        self._bus.stdout.close()

    def _serve(self) -> None:
        self._wire.settimeout(None)
        while (message := self._receive()) is not None:
            kind, serial, fields, body = message
            if kind == RETURN and fields.get(REPLY_SERIAL) == 2:  # of RequestName
                self._owned.set()
            elif kind == CALL and fields[MEMBER] == "Inhibit":
                self.asked.append(tuple(_texts(body, 4)))
                to = {DESTINATION: fields[SENDER], REPLY_SERIAL: serial}
                self._answer(to)

    def _answer(self, to: dict[int, object]) -> None:
        if self.refuses:
            name = f"{BUS}.Error.AccessDenied"
            self._send(ERROR, {**to, ERROR_NAME: name, SIGNATURE: "s"}, _text("Access denied"))
            return
        mine, theirs = os.pipe()
        self._locks.append(mine)
        self._send(RETURN, {**to, SIGNATURE: "h", FDS: 1}, struct.pack("<I", 0), (theirs,))
        os.close(theirs)

    def _send(
        self, kind: int, fields: dict[int, object], body: bytes = b"", fds: tuple[int, ...] = ()
    ) -> None:
        self._serial += 1
        told = b""
        for code, value in fields.items():
            told += b"\0" * (-len(told) % 8) + bytes([code, 1]) + KINDS[code].encode() + b"\0"
            if KINDS[code] == "g":
                told += bytes([len(str(value))]) + str(value).encode() + b"\0"
            elif isinstance(value, int):
                told += struct.pack("<I", value)
            else:
                told += _text(str(value))
        head = struct.pack("<cBBBIII", b"l", kind, 0, 1, len(body), self._serial, len(told)) + told
        rights = [(socket.SOL_SOCKET, socket.SCM_RIGHTS, array("i", fds))] if fds else []
        self._wire.sendmsg([head + b"\0" * (-len(head) % 8) + body], rights)

    def _receive(self) -> tuple[int, int, dict[int, object], bytes] | None:
        head = self._exactly(16)
        if head is None:
            return None
        _, kind, _, _, size, serial, length = struct.unpack("<cBBBIII", head)
        rest = self._exactly(length + -length % 8 + size)
        assert rest is not None
        fields: dict[int, object] = {}
        at = 0
        while at < length:
            at += -at % 8
            code, word = rest[at], chr(rest[at + 2])
            at += 4
            if word == "g":
                fields[code] = rest[at + 1 : at + 1 + rest[at]].decode()
                at += rest[at] + 2
            else:
                [number] = struct.unpack_from("<I", rest, at)
                fields[code] = number if word == "u" else rest[at + 4 : at + 4 + number].decode()
                at += 4 if word == "u" else number + 5
        return kind, serial, fields, rest[length + -length % 8 :]

    def _exactly(self, size: int) -> bytes | None:
        got = b""
        while len(got) < size:
            piece = self._wire.recv(size - len(got))
            if not piece:
                return None
            got += piece
        return got


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("<I", len(raw)) + raw + b"\0"


def _texts(body: bytes, count: int) -> list[str]:
    found: list[str] = []
    at = 0
    for _ in range(count):
        at += -at % 4
        [size] = struct.unpack_from("<I", body, at)
        found.append(body[at + 4 : at + 4 + size].decode())
        at += size + 5
    return found
