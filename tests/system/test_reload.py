"""A new configuration for the daemon as a process: by signal and by command, with real doors.

The rows of the reload table that need a broker or a certificate are here; the others are in
tests/app/test_reload_table.py.
"""

import asyncio
import json
import os
import pty
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.outputs.test_mqtt_guarded import Authority
from tests.real_parts import Server, free_port
from tests.system.household import Household, until
from vfod.config.changes import TABLE, Takes
from vfod.config.loading import load
from vfod.device.claim import claimed
from vfod.store import Reader

pytestmark = pytest.mark.real_time

OLD, NEW = "a-secret-of-old", "another-secret"


@pytest.fixture
def household(tmp_path: Path, mosquitto: Server) -> Iterator[Household]:
    """Sweeping, with a password at the broker."""
    it = Household(tmp_path, mosquitto)
    (tmp_path / "password").write_text(f"{OLD}\n")
    change(it, "mqtt: {", "mqtt: {user: listener, password_file: password, ")
    it.start("box")
    it.start("daemon")
    yield it
    it.close()


def now() -> float:
    return asyncio.get_running_loop().time()


def change(it: Household, old: str, new: str) -> None:
    text = it.config.read_text()
    assert 1 == text.count(old), old
    it.config.write_text(text.replace(old, new))


def vfod(it: Household, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "vfod", *words],
        env={**os.environ, "VFOD_SOCKET": str(it.socket), "VFOD_JOURNAL": str(it.journal),
             "VFOD_CONFIG": str(it.config)},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip


def fetched(url: str, body: bytes | None = None) -> str:
    asked = urllib.request.Request(url, body, {"Content-Type": "application/json"})
    with urllib.request.urlopen(asked, timeout=60) as answer:
        return str(answer.read().decode())


async def sweeping(it: Household) -> dict[str, Any]:
    """Wait until the sweep moves; the state of the line then."""
    await until(lambda: it.vfo()["sweep"]["phase"] == "sweeping", now)
    visits = it.vfo()["visits"]
    await until(lambda: it.vfo()["visits"] >= visits + 3, now)
    return dict(it.vfo()["link"])


def newer(it: Household, door: str, than: float) -> dict[str, Any] | None:
    """The state of a door, where it changed after that time."""
    known: dict[str, Any] = it.ask("status")["doors"][door]
    return known if known["since"] > than else None


async def in_force(it: Household) -> None:
    """Wait until the file is, as it is written."""
    digest = load(str(it.config)).digest
    await until(lambda: it.ask("status")["config_digest"] == digest, now)


async def test_by_signal_and_by_command(household: Household) -> None:
    """The line stays and the sweep goes on; a bad file changes nothing and says why."""
    it = household
    line = await sweeping(it)
    change(it, "quiet: 2s", "quiet: 3s")
    it.signal("daemon", signal.SIGHUP)
    await in_force(it)
    change(it, "dwell: 250ms", "dwell: 200ms")
    change(it, "mqtt: {", "journal: {path: elsewhere.sqlite}\nmqtt: {")
    done = vfod(it, "reload")
    assert (0, "") == (done.returncode, done.stderr)
    digest = load(str(it.config)).digest
    assert [
        f"configuration {digest} is in force",
        "  at the next pass: sweeps.test.dwell",
        "  at a restart: journal.path",
    ] == done.stdout.splitlines()
    good = it.config.read_text()
    change(it, "readings: 2", "readings: two")
    change(it, "quiet: 3s", "quiet: 3")
    done = vfod(it, "reload")
    assert (3, "") == (done.returncode, done.stdout)
    assert 2 == len(done.stderr.splitlines())
    assert all(line.startswith(f"{it.config}:") for line in done.stderr.splitlines())
    it.signal("daemon", signal.SIGHUP)
    status = await until(lambda: it.ask("status")["config_refused"] and it.ask("status"), now)
    assert digest == status["config_digest"]
    assert ["journal.path"] == status["config_waiting"]
    it.config.write_text(good)
    assert 0 == vfod(it, "reload").returncode
    assert line == await sweeping(it)
    assert 0 == it.stop("daemon")
    log = (it.here / "daemon.log").read_text()
    assert log.count("the configuration stays as it was") in (1, 2)
    with Reader(it.journal) as reader:
        kinds = [entry.kind for entry in reader.events()]
        ended = list(reader.events(kinds=("sweep-ended",)))
    assert [3, 2] == [kinds.count("config-reloaded"), kinds.count("config-refused")]
    assert 1 == len(ended), "by the end of the daemon"


async def test_secrets_are_told_nowhere(household: Household) -> None:
    """Neither the old nor the new one, whatever is asked after a run and a reload."""
    it = household
    await sweeping(it)
    opened = (await until(lambda: it.ask("status")["doors"].get("mqtt"), now))["since"]
    (it.here / "password").write_text(f"{NEW}\n")
    answer = it.ask("reload")
    assert [] == answer["data"]["changed"]
    await until(lambda: it.ask("status")["doors"]["mqtt"]["since"] > opened, now)
    (it.here / "password").write_text("")
    refused = vfod(it, "reload")
    assert 3 == refused.returncode
    assert f"{it.here}/password: its first line is empty" in refused.stderr
    await sweeping(it)
    said = {
        "status": vfod(it, "status", "--json").stdout,
        "config": vfod(it, "config", "show").stdout,
        "check": vfod(it, "check").stdout,
        "journal": vfod(it, "journal", "--last", "1000", "--json").stdout,
        "channels": vfod(it, "journal", "channels").stdout,
        "metrics": fetched(f"{it.url}metrics"),
        "page": fetched(it.url),
        "mqtt": json.dumps(it.retained()),
        "refusal": refused.stderr,
    }
    assert 0 == it.stop("daemon")
    said["log"] = (it.here / "daemon.log").read_text()
    said["broker"] = it.broker.log()
    said["journal's file"] = it.journal.read_bytes().decode("latin-1")
    assert all(said.values())
    assert [] == [door for door, text in said.items() if OLD in text or NEW in text]


async def test_the_rows_of_mqtt_and_of_the_certificate(household: Household) -> None:
    """The door is opened anew with what the file now says; everything else stays as it is."""
    it = household
    line = await sweeping(it)
    await until(lambda: it.ask("status")["doors"]["mqtt"]["up"], now)
    port, here = it.broker.port, it.here
    authority = Authority(here, "authority")
    certificate, key = authority.sign("page", hosts="IP:127.0.0.1")
    (here / "copy.crt").write_bytes(certificate.read_bytes())
    (here / "copy.key").write_bytes(key.read_bytes())
    (here / "second").write_text(f"{NEW}\n")
    tls = f", tls: {{certificate_file: {certificate}, key_file: {key}}}"
    steps = [
        ("mqtt.host", "host: 127.0.0.1", "host: localhost", True),
        ("mqtt.user", "user: listener", "user: other", True),
        ("mqtt.password_file", "password_file: password", "password_file: second", True),
        ("mqtt.name", "mqtt: {", "mqtt: {name: attic, ", True),
        ("mqtt.commands", "mqtt: {", "mqtt: {commands: off, ", True),
        ("mqtt.tls", "mqtt: {", "mqtt: {tls: {}, ", False),
        ("mqtt.tls.ca_file", "tls: {}", f"tls: {{ca_file: {authority.certificate}}}", False),
        ("mqtt.tls", f"tls: {{ca_file: {authority.certificate}}}, ", "", True),
        ("mqtt.port", f", port: {port}", ", port: 1", False),
        ("mqtt.port", ", port: 1", f", port: {port}", True),
        ("web.tls", f"{it.web}\"", f"{it.web}\"{tls}", True),
        ("web.tls.certificate_file", f"file: {certificate}", f"file: {here}/copy.crt", True),
        ("web.tls.key_file", f"file: {key}", f"file: {here}/copy.key", True),
    ]  # fmt: skip
    for changed, old, new, works in steps:
        door = changed.partition(".")[0]
        before = it.ask("status")["doors"][door]["since"]
        change(it, old, new)
        answer = it.ask("reload")
        assert {str(Takes.DOOR): [changed]} == answer["when"]
        known = await until(partial(newer, it, door, before), now)
        assert works is known["up"], changed
    needed = {row for row in TABLE if row.startswith(("mqtt.", "web.tls"))}
    assert needed == {changed for changed, *_ in steps}
    assert it.ask("status")["doors"]["web"]["where"].startswith("https://")
    assert "ready" == (await until(lambda: it.retained().get("attic/$state"), now))
    assert "disconnected" == it.retained()["vfod/$state"]
    change(it, "mqtt: {", "x: {")
    text = it.config.read_text().splitlines()
    it.config.write_text("\n".join(line for line in text if not line.startswith("x:")))
    assert {str(Takes.DOOR): ["mqtt"]} == it.ask("reload")["when"]
    await until(lambda: "mqtt" not in it.ask("status")["doors"], now)
    assert line == await sweeping(it)


async def test_whoever_moves_the_page_by_the_page_is_answered(household: Household) -> None:
    """The answer comes before the door is closed under it."""
    it = household
    await sweeping(it)
    moved = free_port()
    change(it, f"127.0.0.1:{it.web}", f"127.0.0.1:{moved}")
    answer = json.loads(fetched(f"{it.url}rpc", b'{"jsonrpc":"2.0","id":1,"method":"reload"}'))
    assert {str(Takes.DOOR): ["web.listen"]} == answer["result"]["when"]
    page = await until(lambda: fetched(f"http://127.0.0.1:{moved}/healthz"), now)
    assert json.loads(page)["healthy"]
    with pytest.raises(OSError, match="refused"):
        fetched(f"{it.url}healthz")


async def test_a_port_that_another_daemon_has(household: Household) -> None:
    """The reload is refused with who has it, and the line stays where it is."""
    it = household
    line = await sweeping(it)
    other = it.here / "other"
    change(it, f"{it.here}/vfo0", str(other))
    with claimed([str(other)]):
        done = vfod(it, "reload")
        assert 3 == done.returncode
        assert f"another daemon (process {os.getpid()}) has the port {other}" in done.stderr
        assert line == await sweeping(it)
    assert 0 == vfod(it, "reload").returncode
    await until(lambda: it.vfo()["link"]["phase"] == "down", now)
    with claimed([f"{it.here}/vfo0"]):
        pass


def started(words: list[str], stderr: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", "vfod", *words], stderr=stderr)


async def test_a_terminal_that_is_closed_ends_its_daemon(tmp_path: Path) -> None:
    """The signal is the same, but nobody is there any more who could have changed the file."""
    config = tmp_path / "vfod.yaml"
    config.write_text(f"vfos: {{main: {{port: {tmp_path}/none}}}}\nweb: off\n")
    terminal, slave = pty.openpty()
    words = ["serve", "--config", str(config), "--socket", str(tmp_path / "s"), "--journal",
             str(tmp_path / "j")]  # fmt: skip
    with started(words, slave) as daemon:
        os.close(slave)
        await until((tmp_path / "s").is_socket, now)
        await until(lambda: b"link down" in os.read(terminal, 4096), now)
        os.close(terminal)
        daemon.send_signal(signal.SIGHUP)
        assert 0 == daemon.wait(120)
