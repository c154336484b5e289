"""The service files, read by the programs they are for, or by their published forms."""

from __future__ import annotations

import plistlib
import re
import shutil
import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

HOUSE = Path(__file__).parents[2]
FILES = HOUSE / "service_files"
UNIT = FILES / "takehold.service"

# [MS-TSCH] 2.5 and 4.1.3, the published task schema and its example.
TASK = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"

# systemd.exec(5): each of these gives the service a mount namespace of its own, in which drives
# that are mounted later may be missing, read-only, or pinned.
OWN_MOUNTS = {
    "ProtectSystem", "ProtectHome", "PrivateTmp", "PrivateMounts", "PrivateDevices", "MountFlags",
    "ReadWritePaths", "ReadOnlyPaths", "InaccessiblePaths", "ExecPaths", "NoExecPaths", "BindPaths",
    "BindReadOnlyPaths", "TemporaryFileSystem", "RootDirectory", "RootImage", "DynamicUser",
    "ProtectKernelTunables", "ProtectKernelModules", "ProtectKernelLogs", "ProtectControlGroups",
    "ProtectProc", "ProcSubset", "PrivateIPC",
}  # fmt: skip


def unit() -> ConfigParser:
    """The unit's sections; it repeats no key."""
    parser = ConfigParser(interpolation=None, delimiters="=", comment_prefixes=("#", ";"))
    parser.optionxform = str
    parser.read(UNIT, encoding="utf-8")
    return parser


def words_after_takehold(name: str) -> list[str]:
    """The takehold commands that a service file starts."""
    match name:
        case "takehold.service":
            line = unit()["Service"]["ExecStart"]
        case "takehold.plist":
            line = plistlib.loads((FILES / name).read_bytes())["ProgramArguments"][-1]
        case _:
            action = ET.parse(FILES / name).find(f"{TASK}Actions/{TASK}Exec")
            assert action is not None
            line = f"{action.findtext(f'{TASK}Command')} {action.findtext(f'{TASK}Arguments')}"
    return re.findall(r"takehold(?:\.exe)?\"? (\S+)", line)


def verify(path: Path, runtime: Path) -> str:
    """What systemd-analyze has to say about a user unit; nothing if it is right."""
    program = shutil.which("systemd-analyze")
    assert program, "systemd-analyze is missing: apt install systemd"
    done = subprocess.run(
        [program, "--user", "verify", "--man=no", str(path)],
        env={"XDG_RUNTIME_DIR": str(runtime), "HOME": str(runtime), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.stdout + done.stderr + ("" if done.returncode == 0 else f"exit {done.returncode}")


def test_systemd_finds_no_fault_with_the_unit(tmp_path: Path) -> None:
    """`systemd-analyze verify` (Debian package systemd) says nothing about it."""
    placed = tmp_path / "takehold.service"
    text = UNIT.read_text("utf-8").replace("%h/.local/bin/takehold", sys.executable)
    placed.write_text(text, "utf-8")
    assert verify(placed, tmp_path) == ""


def test_systemd_does_find_a_planted_fault(tmp_path: Path) -> None:
    """The check above can fail: a misspelt key is told."""
    placed = tmp_path / "takehold.service"
    text = UNIT.read_text("utf-8").replace("%h/.local/bin/takehold", sys.executable)
    placed.write_text(text.replace("RestartSec=", "RestartSex="), "utf-8")
    assert "RestartSex" in verify(placed, tmp_path)


def test_the_unit_restarts_faults_and_not_a_bad_config() -> None:
    """Notify, watchdog, limited restarts; exit 2 (config) and 4 (another instance) stay down."""
    found = unit()
    service = found["Service"]
    assert service["Type"] == "notify"
    assert int(service["WatchdogSec"]) > 0
    assert service["Restart"] == "on-failure"
    assert service["RestartPreventExitStatus"].split() == ["2", "4"]
    assert int(found["Unit"]["StartLimitBurst"]) * int(service["RestartSec"]) < int(
        found["Unit"]["StartLimitIntervalSec"]
    )


def test_the_unit_shares_the_mounts_of_its_user() -> None:
    """No option that gives it a mount namespace of its own (systemd.exec(5))."""
    assert OWN_MOUNTS.isdisjoint(unit()["Service"])
    assert unit()["Service"]["NoNewPrivileges"] == "yes"


def test_the_launchd_agent_is_a_property_list() -> None:
    """Python's plistlib reads it; the keys are launchd.plist(5)'s."""
    agent = plistlib.loads((FILES / "takehold.plist").read_bytes())
    assert agent["Label"] == "takehold"
    assert agent["RunAtLoad"] is True
    assert agent["KeepAlive"] == {"SuccessfulExit": False}
    assert agent["ThrottleInterval"] == 60
    assert agent["ProgramArguments"][2].startswith("exec ")


def test_the_windows_task_is_in_the_published_namespace() -> None:
    """Elements and values as in [MS-TSCH] 2.5; at logon, on batteries too, without a time limit."""
    path = FILES / "takehold-task.xml"
    assert path.read_bytes().isascii()
    task = ET.parse(path).getroot()
    assert task.tag == f"{TASK}Task"
    assert all(element.tag.startswith(TASK) for element in task.iter())
    assert [part.tag for part in task] == [
        f"{TASK}{name}"
        for name in ("RegistrationInfo", "Triggers", "Principals", "Settings", "Actions")
    ]
    assert task.findtext(f"{TASK}Triggers/{TASK}LogonTrigger/{TASK}Enabled") == "true"
    settings = task.find(f"{TASK}Settings")
    assert settings is not None
    assert settings.findtext(f"{TASK}DisallowStartIfOnBatteries") == "false"
    assert settings.findtext(f"{TASK}StopIfGoingOnBatteries") == "false"
    assert settings.findtext(f"{TASK}ExecutionTimeLimit") == "PT0S"
    principal = task.find(f"{TASK}Principals/{TASK}Principal")
    actions = task.find(f"{TASK}Actions")
    assert principal is not None
    assert actions is not None
    assert principal.get("id") == actions.get("Context")


@pytest.mark.parametrize("name", ["takehold.service", "takehold.plist", "takehold-task.xml"])
def test_every_command_started_exists(name: str) -> None:
    """`takehold COMMAND --help` answers for each command that the file starts."""
    commands = words_after_takehold(name)
    assert commands == ["run"]
    for command in commands:
        done = subprocess.run(
            [sys.executable, "-m", "takehold", command, "--help"],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert command in done.stdout
