"""HTTP beyond loopback: certificates, reverse proxies, and the files with the tokens."""

import asyncio
import json
import ssl
import subprocess
from pathlib import Path

import pytest

from tests.outputs.web_parts import CALL, serving
from tests.real_parts import real_part
from vfod.config.secrets import TOKEN_LENGTH, token
from vfod.errors import ConfigError
from vfod.events import Door, Origin
from vfod.outputs.web import Certificate, Keys

KEYS = Keys(change="a-long-random-word-that-may-change")


@pytest.fixture
def certificate(tmp_path: Path) -> Certificate:
    """One for localhost that signs itself, made by openssl."""
    chain, key = tmp_path / "web.pem", tmp_path / "web.key"
    subprocess.run(
        [real_part("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
         "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost",
         "-keyout", key, "-out", chain],
        check=True,
        capture_output=True,
    )  # fmt: skip
    return Certificate(chain=str(chain), key=str(key))


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_https(certificate: Certificate) -> None:
    """A client that trusts the certificate is answered; the cookie is only for HTTPS."""
    async with serving(certificate=certificate, keys=KEYS) as daemon:
        assert daemon.web.address is not None
        assert daemon.web.address.startswith("https://")
        trusting = ssl.create_default_context(cafile=certificate.chain)
        reader, writer = await asyncio.open_connection(
            "127.0.0.1", daemon.port, ssl=trusting, server_hostname="localhost"
        )
        form = b"token=a-long-random-word-that-may-change"
        writer.write(
            b"POST /login HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n"
            b"content-length: %d\r\n\r\n%s" % (len(form), form)
        )
        answer = (await reader.read()).decode()
        writer.close()
        await writer.wait_closed()
    assert answer.startswith("HTTP/1.1 303 ")
    assert "; Secure" in answer


@pytest.mark.real_time
@pytest.mark.no_leaks
@pytest.mark.parametrize(
    ("proxies", "who"), [(("127.0.0.1",), "192.0.2.7"), ((), "127.0.0.1"), (("::1",), "127.0.0.1")]
)
async def test_forwarded_headers_only_from_named_addresses(
    proxies: tuple[str, ...], who: str
) -> None:
    """Who changed something is the one the proxy names, if that proxy is believed."""
    async with serving(proxies=proxies) as daemon:
        status, _, body = await daemon.post(
            CALL, x_forwarded_for="192.0.2.7", x_forwarded_proto="https"
        )
        assert 200 == status
        assert f"by page ({who})" in json.loads(body)["result"]["text"]
        assert Origin(door=Door.PAGE, who=who) == daemon.house.asked[0].origin


@pytest.mark.parametrize(
    ("mode", "content", "complaint"),
    [
        (0o644, "a-long-random-word-for-it\n", "others may read the token; chmod 600"),
        (0o640, "a-long-random-word-for-it\n", "others may read the token; chmod 600"),
        (0o600, "short\n", "fewer than 16 characters; choose a longer one"),
        (0o600, "\nword-in-the-second-line\n", "its first line is empty; write the secret there"),
    ],
)
def test_token_files_that_will_not_do(
    tmp_path: Path, mode: int, content: str, complaint: str
) -> None:
    """Each is told with the file and what to do, and never with the token."""
    file = tmp_path / "token"
    file.write_text(content)
    file.chmod(mode)
    with pytest.raises(ConfigError, match=complaint) as caught:
        token(str(file))
    assert str(file) in str(caught.value)
    assert (content.strip() or "word") not in str(caught.value)


def test_a_token_file_that_will_do(tmp_path: Path) -> None:
    """Its first line, however the file ends."""
    file = tmp_path / "token"
    file.write_text("x" * TOKEN_LENGTH + "\r\nmore\n")
    file.chmod(0o600)
    assert "x" * TOKEN_LENGTH == token(str(file))
    with pytest.raises(ConfigError, match="cannot be read"):
        token(str(tmp_path / "none"))
