"""The unit and its companions: hardened, understood by the service manager, true of the program.

Exposure and grammar are judged by the manager's own `systemd-analyze`; the words of the unit are
those of systemd.service(5) and systemd.exec(5), of the rule those of udev(7).
"""

import os
import re
import shlex
import signal
import socket
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path

import pytest

from tests.real_parts import real_part
from tests.test_documents import blocks, commands
from vfod.cli.overview import SUMMARY
from vfod.cli.parser import Describe, DescribedError
from vfod.cli.service import FILES, files, rule, service
from vfod.cli.verbs import described
from vfod.config.loading import parse
from vfod.device.diagnosis import Device
from vfod.errors import AlreadyRunningError, ConfigError

ROOT = Path(__file__).parents[1]
SYSTEMD = ROOT / "systemd"
UNIT = SYSTEMD / "vfod.service"
RULES = SYSTEMD / "99-vfod.rules"
INSTALL = ROOT / "docs" / "install.md"

#: A unit with nothing but a command has 9.2 of 10; what stays is mostly network and devices.
EXPOSURE = 1.5


def settings(name: str) -> list[str]:
    """The values of a setting of the unit, in order."""
    return re.findall(rf"^{name}=(.*)$", UNIT.read_text(), re.M)


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, check=False)


def analyze(unit: Path) -> tuple[int, float]:
    """Exit status under our threshold, and the figure."""
    threshold = f"--threshold={EXPOSURE * 10:.0f}"
    done = run(
        real_part("systemd-analyze"),
        "security",
        "--offline=true",
        threshold,
        "--no-pager",
        str(unit),
    )
    found = re.search(r"exposure level for [\w.]+: ([\d.]+)", done.stdout)
    assert found, done.stdout + done.stderr
    return done.returncode, float(found[1])


def verify(unit: Path) -> list[str]:
    """What the manager has to say against a unit; other units of the machine are not ours."""
    done = run(real_part("systemd-analyze"), "verify", "--man=no", str(unit))
    return [line for line in (done.stdout + done.stderr).splitlines() if unit.name in line]


def test_the_exposure_is_as_promised(tmp_path: Path) -> None:
    """At most 1.5; a unit with nothing but its command would fail."""
    status, exposure = analyze(UNIT)
    assert (0, True) == (status, exposure <= EXPOSURE)
    bare = tmp_path / "bare.service"
    bare.write_text("[Service]\nExecStart=/bin/true\n")
    status, exposure = analyze(bare)
    assert (True, True) == (status != 0, exposure > EXPOSURE)


def test_the_manager_understands_every_line(tmp_path: Path) -> None:
    """Nothing is unknown or ignored; a misspelt line would be named."""
    unit = tmp_path / "vfod-under-test.service"
    # The program need not be installed here.
    text = UNIT.read_text().replace("/opt/vfod/bin/vfod", sys.executable)
    unit.write_text(text)
    assert [] == verify(unit)
    unit.write_text(text.replace("\nRestart=always", "\nRestart=sometimes"))
    assert any("restart" in line for line in verify(unit))


def test_how_it_restarts() -> None:
    """For ever, soon, but not with a configuration that cannot be read; unplugged, it lives on."""
    assert ["notify"] == settings("Type")
    assert ["always"] == settings("Restart")
    assert ["2"] == settings("RestartSec")
    assert ["0"] == settings("StartLimitIntervalSec")
    assert ["15"] == settings("TimeoutStopSec")
    # One that waits for the end of the reload is what systemd.service(5) recommends.
    assert ["/opt/vfod/bin/vfod reload"] == settings("ExecReload")
    lasting = f"{ConfigError.exit_code} {AlreadyRunningError.exit_code}"
    assert [lasting] == settings("RestartPreventExitStatus")
    assert [] == settings("BindsTo")


def test_every_kind_of_device_is_known_when_the_unit_starts() -> None:
    """A kind whose driver is not loaded is passed over, as systemd.resource-control(5) says.

    Which driver registers which kind: Documentation/admin-guide/devices.txt of the kernel has the
    majors 166, 188 and 116; the names of the modules are from memory.
    """
    drivers = {"char-ttyACM": "cdc_acm", "char-ttyUSB": "usbserial", "char-alsa": "snd"}
    allowed = [kind.split() for kind in settings("DeviceAllow")]
    assert [[kind, "rw"] for kind in drivers] == allowed
    first = [f"modprobe@{driver}.service" for driver in drivers.values()]
    assert [" ".join(first)] == settings("Wants")
    assert settings("Wants")[0] in settings("After")


def test_the_command_line_of_the_unit(tmp_path: Path) -> None:
    """It starts as the unit writes it, tells that it is ready and alive without a VFO, and ends.

    The directories come from the manager's variables (systemd.exec(5)).
    """
    config = tmp_path / "vfod.yaml"
    config.write_text(f"vfos: {{main: {{port: {tmp_path}/unplugged}}}}\nweb: off\n")
    (line,) = settings("ExecStart")
    program, *words = line.split()
    assert "/opt/vfod/bin/vfod" == program
    words[words.index("/etc/vfod/vfod.yaml")] = str(config)
    state, runtime = tmp_path / "state", tmp_path / "run"
    state.mkdir()
    runtime.mkdir()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(120)
        daemon = subprocess.Popen(
            [sys.executable, "-m", "vfod", *words],
            cwd=ROOT,
            env={
                "NOTIFY_SOCKET": str(tmp_path / "notify"),
                "WATCHDOG_USEC": "100000",
                "STATE_DIRECTORY": str(state),
                "RUNTIME_DIRECTORY": str(runtime),
            },
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            said = [manager.recv(4096).decode().splitlines()[0] for _ in range(4)]
            assert ["READY=1", *3 * ["WATCHDOG=1"]] == said
            assert (runtime / "control.sock").is_socket()
            assert (state / "journal.sqlite").is_file()
            (line,) = settings("ExecReload")
            done = subprocess.run(
                [sys.executable, "-m", "vfod", *line.split()[1:]],
                cwd=ROOT,
                env={"RUNTIME_DIRECTORY": str(runtime)},
                capture_output=True,
                text=True,
                check=False,
            )
            assert 0 == done.returncode, done.stderr
            while said[-1] != "READY=1":
                said.append(manager.recv(4096).decode().splitlines()[0])
            assert "RELOADING=1" in said
            daemon.send_signal(signal.SIGTERM)
            while "STOPPING=1" not in said:
                said.append(manager.recv(4096).decode().splitlines()[0])
            _, log = daemon.communicate(timeout=120)
        finally:
            daemon.kill()
            daemon.wait()
    assert 0 == daemon.returncode, log


def test_the_user_and_the_directories(tmp_path: Path) -> None:
    """Made in an empty system: a user who cannot log in, its group, and the groups of the unit."""
    (tmp_path / "etc").mkdir()
    root = f"--root={tmp_path}"
    done = run(real_part("systemd-sysusers"), root, str(SYSTEMD / "vfod.sysusers"))
    assert 0 == done.returncode, done.stderr
    (user,) = [line.split(":") for line in (tmp_path / "etc" / "passwd").read_text().splitlines()]
    assert ("vfod", "nologin") == (user[0], user[-1].rpartition("/")[2])
    groups = {line.split(":")[0] for line in (tmp_path / "etc" / "group").read_text().splitlines()}
    assert {*settings("User"), *settings("Group")} == {"vfod"}
    assert {"vfod", *settings("SupplementaryGroups")[0].split()} <= groups
    if os.getuid() != 0:
        pytest.skip("only root can give a directory to a group it is not in")
    done = run(real_part("systemd-tmpfiles"), root, "--create", str(SYSTEMD / "vfod.tmpfiles"))
    assert 0 == done.returncode, done.stderr
    wanted = {"etc/vfod": "755", "etc/vfod/secrets": "750"}
    assert wanted == {p: f"{(tmp_path / p).stat().st_mode & 0o7777:o}" for p in wanted}


def rules() -> list[dict[str, tuple[str, str]]]:
    """The rules, each as key: (operator, value); a line that is none fails."""
    found = []
    for line in RULES.read_text().splitlines():
        if line and not line.startswith("#"):
            pair = r'([A-Z]+(?:\{\w+\})?)(==|!=|\+=|=)"([^"]*)"'
            assert re.fullmatch(rf"{pair}(, {pair})*", line), line
            found.append({key: (op, value) for key, op, value in re.findall(pair, line)})
    return found


def test_the_rule_for_the_port() -> None:
    """Both rules are for one device; it keeps its name, starts the service, is left alone."""
    usb, tty = rules()
    assert ("==", "VVVV") == usb["ATTR{idVendor}"] == tty["ATTRS{idVendor}"]
    assert ("==", "PPPP") == usb["ATTR{idProduct}"] == tty["ATTRS{idProduct}"]
    assert ("==", "tty") == tty["SUBSYSTEM"]
    assert ("+=", "vfod/vfo0") == tty["SYMLINK"]
    assert ("+=", UNIT.name) == tty["ENV{SYSTEMD_WANTS}"]
    assert ("+=", "systemd") == tty["TAG"], "without it the manager does not look at the device"
    assert ("=", "1") == usb["ENV{ID_MM_DEVICE_IGNORE}"] == tty["ENV{ID_MM_PORT_IGNORE}"]


def complaints_of_udev(text: str, folder: Path) -> list[str]:
    """What the device manager says when it reads the rule, in a mount namespace of its own.

    The device is one that no rule of ours is for, so that nothing is done to it.
    """
    folder.mkdir()
    (folder / "99-vfod-vfo0.rules").write_text(text)
    test = f"{real_part('udevadm')} test /sys/class/mem/null"
    script = f"mount --bind {folder} /etc/udev/rules.d && exec {test}"
    done = run("unshare", "--mount", "--propagation", "private", "sh", "-c", script)
    said = [line for line in (done.stdout + done.stderr).splitlines() if "99-vfod-vfo0" in line]
    read = [line for line in said if line.startswith("Reading rules file")]
    if not read:
        pytest.skip("there can be no mount namespace here for the device manager's rules")
    return [line for line in said if line not in read]


def test_the_device_manager_understands_the_rule(tmp_path: Path) -> None:
    """Read without a complaint; a misspelt key would be named with its place."""
    if os.getuid() != 0:
        pytest.skip("only root can give the device manager other rules to read")
    device = Device(path="/dev/ttyACM0", about="", vendor="1209", product="abcd", serial="0007")
    text = rule(device, "vfo0", serial=True)
    assert [] == complaints_of_udev(text, tmp_path / "sound")
    (said,) = complaints_of_udev(text.replace("SYMLINK+", "SYMLINKS+"), tmp_path / "misspelt")
    assert ":3 " in said


# --- the page -------------------------------------------------------------------------------------


def lines() -> list[list[str]]:
    """The commands of the page, without `sudo`."""
    return [words[1:] if words[0] == "sudo" else words for words in commands(INSTALL)]


def test_nothing_of_the_folder_is_forgotten() -> None:
    """`vfod service` puts every file of systemd/ somewhere."""
    assert {*FILES, RULES.name} == {path.name for path in SYSTEMD.iterdir()}


def test_what_the_page_removes_is_what_it_installed(tmp_path: Path) -> None:
    """Every file that the page has its reader put somewhere is named where it is removed."""
    (tmp_path / "vfod").touch()
    installed = {f"/{path}" for path in files(tmp_path / "vfod", described)}
    installed |= {"/usr/local/bin/vfod", "/etc/udev/rules.d/99-vfod-vfo0.rules", "/opt/vfod"}
    removed = [word for words in lines() if words[0] == "rm" for word in words[2:]]
    kept = [
        path
        for path in installed
        if not any(fnmatch(path, one) or path.startswith(f"{one}/") for one in removed)
    ]
    assert [] == kept


def test_the_verbs_of_the_page_exist() -> None:
    """Every `vfod` that it types is one; what it types of the service is understood."""
    typed = [words[1:] for words in lines() if words[0].rpartition("/")[2] == "vfod"]
    with pytest.raises(DescribedError) as told:
        service(Describe(), described)
    asked = [told.value.parser.parse_args(words[1:]) for words in typed if words[0] == "service"]
    assert {"install", "rule"} == {given.what for given in asked}
    verbs = {words[0] for words in typed}
    assert {"check", "status"} <= verbs
    assert set() == verbs - {*SUMMARY, "--version"}


def test_the_configuration_of_the_page() -> None:
    """It loads, its port is the rule's name, and it has a sweep with a window."""
    (block,) = blocks(INSTALL, "yaml")
    config = parse(block, "install.yaml")
    _, tty = rules()
    assert [f"/dev/{tty['SYMLINK'][1]}"] == [vfo.port for vfo in config.vfos.values()]
    assert config.sweeps
    assert config.windows


def test_the_page_puts_files_where_the_unit_looks() -> None:
    """The program and the configuration of ExecStart are paths that the page makes."""
    program, _, _, config = shlex.split(settings("ExecStart")[0])
    text = INSTALL.read_text()
    assert f"python3 -m venv {program.removesuffix('/bin/vfod')}" in text
    assert f"tee {config}" in text or f"nano {config}" in text
