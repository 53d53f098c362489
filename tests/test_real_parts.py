"""The real parts are there or named, and do what the other tests ask of them."""

import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.real_parts import MISSING, Prometheus, Server, real_part

pytest_plugins = ["pytester"]


def test_a_missing_part_fails_under_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where everything must be there, a skip would hide that a test never ran."""
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match=f"{MISSING}no-such-part"):
        real_part("no-such-part")


def test_a_missing_part_is_listed_for_a_person(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test is skipped, and the last lines name the part and what brings it, once."""
    monkeypatch.delenv("CI", raising=False)
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[1]))
    pytester.makepyfile(
        "from tests.real_parts import PACKAGES, real_part\n"
        "PACKAGES['no-such-part'] = 'parts'\n"
        "def test_one(): real_part('no-such-part')\n"
        "def test_two(): real_part('no-such-part')\n"
    )
    result = pytester.runpytest_subprocess("-p", "tests.real_parts", "-p", "no:xdist")
    result.assert_outcomes(skipped=2)
    lines = [line for line in result.outlines if line.startswith("no-such-part")]
    assert ["no-such-part (Debian package parts)"] == lines


def test_a_broker_comes_and_goes(mosquitto: Server) -> None:
    """It answers a CONNECT (MQTT 3.1.1, section 3.1) at its port, is gone after a kill, returns."""
    assert b"\x20\x02\x00\x00" == _connect(mosquitto)
    mosquitto.kill()
    with pytest.raises(ConnectionRefusedError):
        _connect(mosquitto)
    mosquitto.start()
    assert b"\x20\x02\x00\x00" == _connect(mosquitto)


def test_a_frozen_broker_keeps_silent_and_wakes(mosquitto: Server) -> None:
    """Its port still takes connections, which is what a hanging machine looks like."""
    mosquitto.freeze()
    with pytest.raises(TimeoutError):
        _connect(mosquitto, patience=0.5)
    mosquitto.thaw()
    assert b"\x20\x02\x00\x00" == _connect(mosquitto)


def test_the_metrics_server_answers(prometheus: Callable[..., Prometheus]) -> None:
    """It starts, and answers a query."""
    server = prometheus("127.0.0.1:1")
    assert "1" == server.query("vector(1)")[0]["value"][1]


def test_the_checker_passes_a_good_page_and_names_a_fault(
    promtool: Callable[[str], list[str]],
) -> None:
    """A gauge with help is fine; a counter without its suffix is not."""
    assert [] == promtool("# HELP a_hertz Some.\n# TYPE a_hertz gauge\na_hertz 1\n")
    assert any("_total" in line for line in promtool("# HELP a Some.\n# TYPE a counter\na 1\n"))


def _connect(broker: Server, patience: float = 60.0) -> bytes:
    """Say CONNECT with a clean session and no client identifier; give the answer."""
    with socket.create_connection((broker.host, broker.port), timeout=patience) as line:
        line.sendall(b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x00")
        return line.recv(4)
