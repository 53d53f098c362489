"""`vfod status --watch`: the state, then events, from a daemon that sends some."""

import json
import time
from datetime import UTC
from pathlib import Path

import pytest

from tests.cli.conftest import Stub
from vfod.__main__ import main
from vfod.events import ConfigReloaded, DialFound, Door, Event, Origin, Stamped, StepChanged
from vfod.outputs.rpc import notification


def _events() -> bytes:
    step = StepChanged(step=1000, by=Origin(door=Door.SHELL, who="listener"))
    found = DialFound(dial=9_420_000, oscillator=9_875_000_000)
    return _told(("main", step), ("attic", found))


def _told(*pairs: tuple[str, Event]) -> bytes:
    """From 2026-11-25 21:00:00 UTC on, one a second."""
    return b"".join(
        notification(Stamped(sequence=n, time=1_795_640_400.0 + n, vfo=vfo, event=event), UTC)
        for n, (vfo, event) in enumerate(pairs)
    )


STATE = (
    b'{"jsonrpc":"2.0","id":1,"result":{"vfos":{},"zone":"Europe/Helsinki","text":"where it is"}}\n'
)


@pytest.fixture
def ending(tmp_path: Path, stub: Stub) -> Stub:
    """Sends the state, two events and half of a third, and is gone."""
    stub.answers = [STATE + _events() + b'{"half":']
    return stub


def test_lines(ending: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """The state in words, a line for each event, and at the end that it ended."""
    assert 6 == main(["status", "--watch"])
    out, err = capsys.readouterr()
    state, *events = out.splitlines()
    assert "where it is" == state
    assert ["step 1 kHz by shell (listener)", "dial found at 9420 kHz"] == [
        line.partition("  ")[2] for line in events
    ]
    assert f"vfod: the daemon at {ending.path} has ended; start it again\n" == err
    assert ["watch"] == [asked["method"] for asked in ending.asked]


def test_times_are_those_of_the_place(
    stub: Stub, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not the machine's, and after a reload those of the new zone (the zone database of IANA)."""
    monkeypatch.setenv("TZ", "America/Anchorage")
    time.tzset()
    by = Origin(door=Door.SHELL)
    moved = ConfigReloaded(
        config_digest="b", changed=("place.zone",), waiting=(), by=by, zone="Asia/Kolkata"
    )
    step = StepChanged(step=1000, by=by)
    stub.answers = [STATE + _told(("main", step), ("", moved), ("main", step)) + b"{"]
    try:
        assert 6 == main(["status", "--watch"])
    finally:
        monkeypatch.undo()
        time.tzset()
    _, *events = capsys.readouterr().out.splitlines()
    assert ["2026-11-25 23:00:00", "2026-11-26 02:30:01", "2026-11-26 02:30:02"] == [
        line.partition("  ")[0] for line in events
    ]


def test_json_of_one_vfo(ending: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """The same for a machine; another VFO's events are left out."""
    assert 6 == main(["status", "--watch", "--json", "--vfo", "attic"])
    state, event = map(json.loads, capsys.readouterr().out.splitlines())
    assert "where it is" == state["text"]
    assert ("dial-found", 9_420_000) == (event["event"], event["data"]["dial"])


def test_a_daemon_that_refuses(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """An error instead of the state is told as any other."""
    stub.answers = [
        b'{"jsonrpc":"2.0","id":1,"error":{"code":-32001,'
        b'"data":{"code":"refused","remedy":"","exit":4},"message":"too many clients"}}\n'
    ]
    assert 4 == main(["status", "--watch"])
    assert "vfod: too many clients\n" == capsys.readouterr().err
