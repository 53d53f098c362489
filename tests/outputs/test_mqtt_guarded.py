"""A real broker behind TLS and a password, and everything that may be wrong with either.

Certificates are made by openssl for the test; what makes one invalid is RFC 5280 (validity) and
RFC 6125 (the host's name).
"""

import asyncio
import contextlib
import ssl
import subprocess
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.outputs.house import GREETED, House, tuned
from tests.outputs.mqtt_parts import door, listening, running, say, until
from tests.real_parts import Server, free_port, real_part
from vfod import events as e
from vfod.clock import SystemClock

pytestmark = [
    pytest.mark.real_time,
    pytest.mark.no_leaks,
    # The library leaves the socket of a failed handshake to the garbage collector.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

CURVE = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]


class Authority:
    """Signs certificates of brokers."""

    def __init__(self, home: Path, name: str) -> None:
        self._home = home
        self.certificate = home / f"{name}.pem"
        self._key = home / f"{name}.key"
        openssl("req", "-x509", *CURVE, "-keyout", self._key, "-out", self.certificate,
                "-subj", f"/CN={name}", "-days", "2")  # fmt: skip

    def sign(self, name: str, *, hosts: str, days: int = 2) -> tuple[Path, Path]:
        """A certificate for these hosts (subjectAltName), and its key."""
        key, asked, made = (self._home / f"{name}.{kind}" for kind in ("key", "csr", "crt"))
        extension = self._home / f"{name}.ext"
        extension.write_text(f"subjectAltName={hosts}\n")
        openssl("req", "-new", *CURVE, "-keyout", key, "-out", asked, "-subj", f"/CN={name}")
        openssl("x509", "-req", "-in", asked, "-CA", self.certificate, "-CAkey", self._key,
                "-CAcreateserial", "-extfile", extension, "-days", str(days),
                "-out", made)  # fmt: skip
        return made, key


def openssl(*words: str | Path) -> None:
    subprocess.run([real_part("openssl"), *words], check=True, capture_output=True)


class Guarded:
    """A broker that wants TLS and the password of `attic`."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.authority = Authority(home, "authority")
        self._passwords = home / "passwords"
        subprocess.run(
            [real_part("mosquitto_passwd"), "-b", "-c", str(self._passwords), "attic", "secret"],
            check=True,
        )
        self._passwords.chmod(0o644)

    @contextlib.contextmanager
    def broker(self, *, hosts: str = "IP:127.0.0.1", days: int = 2) -> Iterator[Server]:
        certificate, key = self.authority.sign("broker", hosts=hosts, days=days)
        port = free_port()
        lines = [f"listener {port} 127.0.0.1", "allow_anonymous false", "persistence false"]
        lines += [f"password_file {self._passwords}", "user root", "log_type all"]
        lines += [f"certfile {certificate}", f"keyfile {key}"]
        (self.home / "conf").write_text("\n".join(lines) + "\n")
        command = [real_part("mosquitto"), "-c", str(self.home / "conf")]
        server = Server(command, port, self.home / "log")
        server.start()
        try:
            yield server
        finally:
            server.stop()

    @property
    def trust(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.authority.certificate)

    @property
    def options(self) -> list[str]:
        """For a client of the shell."""
        return ["--cafile", str(self.authority.certificate), "-u", "attic", "-P", "secret"]


@pytest.fixture
def guarded(tmp_path: Path) -> Guarded:
    home = tmp_path / "guarded"
    home.mkdir()
    return Guarded(home)


@pytest.fixture
def house() -> House:
    house = House(SystemClock())
    house.happen(GREETED, tuned(9_420_000))
    return house


@pytest.fixture(autouse=True)
async def _executor() -> AsyncIterator[None]:
    """The library connects in the loop's executor, whose thread is to be gone after the test."""
    yield
    await asyncio.get_running_loop().shutdown_default_executor()


async def test_with_the_right_ones_all_works(house: House, guarded: Guarded) -> None:
    """Values out, and settings in."""
    with guarded.broker() as broker:
        mqtt = door(house, broker.port, username="attic", password="secret", tls=guarded.trust)
        async with running(mqtt), listening(broker, *guarded.options) as listener:
            await until(lambda: listener.values().get("vfod/$state") == "ready")
            topic = "homie/5/vfod-main/dial/frequency"
            await say(broker, f"{topic}/set", "7200000", *guarded.options)
            await until(lambda: listener.values()["vfod-main/dial/frequency"] == "7200000")
    assert isinstance(house.told[0], e.DoorOpened)
    assert house.told[0].where.startswith("mqtts://127.0.0.1:")


async def failure(house: House, port: int, **settings: Any) -> str:
    """What the door says, once, of a broker that it cannot use."""
    async with running(door(house, port, **settings)):
        await until(lambda: bool(house.told))
    (told,) = house.told
    assert isinstance(told, e.DoorFailed)
    where = f"mqtt{'s' if settings.get('tls') else ''}://127.0.0.1:{port}"
    assert f"the MQTT broker at {where}" in told.detail
    assert "secret" not in told.detail
    assert "\n" not in told.detail
    return f"{told.reason}: {told.detail.partition(where)[2]}"


@pytest.mark.parametrize(
    ("username", "password"), [("attic", "wrong"), ("nobody", "secret"), (None, None)]
)
async def test_a_wrong_password(
    house: House, guarded: Guarded, username: str | None, password: str | None
) -> None:
    """Of a known user, of an unknown one, and none at all: one line, and where to look."""
    with guarded.broker() as broker:
        said = await failure(
            house, broker.port, username=username, password=password, tls=guarded.trust
        )
    assert said.startswith("refused:  refuses: ")
    assert "look at user and password_file under mqtt" in said


async def test_an_authority_that_is_not_believed(house: House, guarded: Guarded) -> None:
    """Another one, and those of the machine."""
    other = Authority(guarded.home, "other")
    with guarded.broker() as broker:
        for trust in (
            ssl.create_default_context(cafile=other.certificate),
            ssl.create_default_context(),
        ):
            house.told.clear()
            said = await failure(house, broker.port, username="attic", password="x", tls=trust)
            assert said.startswith("certificate:  cannot be trusted (")
            assert said.endswith("; name the authority that signed it as ca_file under mqtt: tls")


async def test_a_certificate_that_has_expired(house: House, guarded: Guarded) -> None:
    with guarded.broker(days=-1) as broker:
        said = await failure(house, broker.port, tls=guarded.trust)
    assert "certificate:  has expired; renew it at the broker, or set this machine's clock" == said


@pytest.mark.parametrize("hosts", ["DNS:elsewhere.example", "IP:127.0.0.2"])
async def test_a_certificate_of_another_host(house: House, guarded: Guarded, hosts: str) -> None:
    with guarded.broker(hosts=hosts) as broker:
        said = await failure(house, broker.port, tls=guarded.trust)
    assert said.startswith("certificate:  is not made for 127.0.0.1; write under mqtt the host")


async def test_tls_at_a_port_without_it(house: House, mosquitto: Server, guarded: Guarded) -> None:
    said = await failure(house, mosquitto.port, tls=guarded.trust)
    assert said.startswith("tls:  does not speak TLS there: ")
    assert said.endswith("; write its TLS port under mqtt, commonly 8883, or leave tls out")


async def test_no_tls_at_a_port_that_wants_it(house: House, guarded: Guarded) -> None:
    """The broker closes without a word, or keeps silent; the line says what it may be."""
    with guarded.broker() as broker:
        said = await failure(house, broker.port, username="attic", password="secret")
    assert said.startswith("unreachable:  is unreachable: ")
    assert "if it wants TLS, write tls under mqtt" in said
