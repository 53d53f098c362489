"""vfod spurs: what is to be expected, and the pass without the antenna with the real daemon.

The simulated receiver hears itself on 7220 kHz; a station is on 7210 kHz for 24 hours.
"""

import asyncio
import io
import json
from pathlib import Path

import pytest

from vfod import events as e
from vfod.__main__ import main
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.cli.spurs import spurs
from vfod.clock import SystemClock
from vfod.config.loading import load
from vfod.errors import UsageError
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import parse
from vfod.sim.world import World, build
from vfod.store import Direct

CONFIG = """\
vfos:
  main:
    port: /dev/main
    output: on
    receiver: [{from: 1M, to: 30M, detector: envelope, intermediate_frequency: 455k}]
    level_table: {0: -130dBm, 4095: -10dBm}
bands:
  corner: {from: 7200k, to: 7290k, raster: 10k}
sweeps:
  quick: {bands: [corner], dwell: 90ms, settle: 60ms, readings: 3, hold: off}
web: off
"""

SCENARIO = """
floor: {bands: [{from: 5500kHz, to: 8500kHz, hours: {0: -105}}]}
stations:
  - {name: Radio Brackwater, frequency: 7210kHz, power: -60}
receiver:
  time_constant: 5ms
  own_signals: [{frequency: 7220kHz, level: -80}]
"""


@pytest.fixture(autouse=True)
def _places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "vfod.yaml").write_text(CONFIG)
    monkeypatch.setenv("VFOD_CONFIG", str(tmp_path / "vfod.yaml"))
    monkeypatch.setenv("VFOD_SOCKET", str(tmp_path / "control.sock"))


class Hand(io.TextIOBase):
    """A hand that takes the antenna off, and presses Enter."""

    def __init__(self, world: World, answer: str = "\n") -> None:
        super().__init__()
        self._world = world
        self._answer = answer

    def readline(self, size: int = -1, /) -> str:  # type: ignore[override]  # TextIOBase has it so
        self._world.receiver.antenna = False
        return self._answer


async def active(daemon: Daemon) -> dict[int, bool | None]:
    """What a whole pass, begun now, finds active on each channel; the floor is learnt before."""
    found: dict[int, bool | None] = {}
    passes = 0
    feed = daemon.stream.subscribe("test")
    await daemon.vfos["main"].keeper.start("quick", e.Origin(door=e.Door.SHELL, who="x"), None)
    async for stamped, _ in feed:
        match stamped.event:
            case e.ChannelObserved() as seen if passes == 1:
                found[seen.dial // 1000] = seen.active
            case e.PassCompleted():
                passes += 1
                if passes == 2:
                    break
    await daemon.vfos["main"].keeper.stop("enough", e.Origin(door=e.Door.SHELL, who="x"), None)
    return found


@pytest.mark.real_time
async def test_its_own_signal_is_found_listed_and_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the pass it counts as a station, afterwards not; the station does all the time.

    One that comes up on the same channel well above it is reported; a restart knows the list.
    """
    clock = SystemClock()
    world = build(parse(SCENARIO), clock=clock)
    journal = tmp_path / "journal.sqlite"

    def built() -> Daemon:
        store = Direct(journal)
        store.open(clock.wall())
        daemon = Daemon(
            load(str(tmp_path / "vfod.yaml")),
            clock=clock,
            store=store,
            port_for=lambda _: MemoryPort(world.box),
            memory=Memory(journal),
            socket=tmp_path / "control.sock",
        )
        assert daemon.control is not None
        daemon.control.claim()
        return daemon

    async def end(daemon: Daemon, living: "asyncio.Task[None]") -> None:
        living.cancel()
        await asyncio.gather(living, return_exceptions=True)
        assert daemon.control is not None
        daemon.control.release()

    daemon = built()
    living = asyncio.create_task(daemon.run())
    try:
        await daemon.vfos["main"].tuner.connected.wait()
        before = await active(daemon)
        assert {7210, 7220} == {dial for dial, is_on in before.items() if is_on}
        monkeypatch.setattr("sys.stdin", Hand(world))
        words = ["spurs", "quick", "--measure", "--json"]
        assert 0 == await asyncio.to_thread(main, words)
        out, err = capsys.readouterr()
        assert "take the antenna off" in err
        found = json.loads(out)
        assert (10, "dBm", ["7220000"]) == (
            found["channels"],
            found["unit"],
            list(found["signals"]),
        )
        assert -80.0 == pytest.approx(found["signals"]["7220000"], abs=2)
        world.receiver.antenna = True
        after = await active(daemon)
        assert {7210} == {dial for dial, is_on in after.items() if is_on}
        assert [7220] == [dial for dial, is_on in after.items() if is_on is None]
        await end(daemon, living)
        daemon = built()
        living = asyncio.create_task(daemon.run())
        await daemon.vfos["main"].tuner.connected.wait()
        again = await active(daemon)
        assert (True, None) == (again[7210], again[7220])
    finally:
        await end(daemon, living)
        world.box.close()


def test_what_is_to_be_expected(capsys: pytest.CaptureFixture[str]) -> None:
    """16 x 455 kHz = 7280 kHz; images 910 kHz above, where no broadcast band is."""
    assert 0 == main(["spurs"])
    out = capsys.readouterr().out
    assert "quick: to be expected, not measured" in out
    assert "  7280 kHz: 16 x intermediate frequency of 455 kHz" in out
    assert "no image in a broadcast band" in out
    assert "own" not in out


def test_images_in_a_broadcast_band(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """8600 to 8690 kHz and 910 kHz: 9510 to 9600 kHz, in the 31 m band (9400 to 9900 kHz)."""
    text = CONFIG.replace("7200k, to: 7290k", "8600k, to: 8690k")
    (tmp_path / "vfod.yaml").write_text(text)
    assert 0 == main(["spurs", "quick"])
    says = "  8600 kHz to 8690 kHz: the image is 9510 kHz to 9600 kHz, in the broadcast band 31m; "
    assert says in capsys.readouterr().out


def test_what_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """One line with the remedy, before anything moves."""
    assert UsageError.exit_code == main(["spurs", "quik"])
    assert "did you mean quick" in capsys.readouterr().err
    assert UsageError.exit_code == main(["spurs", "--measure"])
    assert "write vfod spurs SWEEP --measure" in capsys.readouterr().err


def test_changed_ones_mind(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """q, or no terminal at all, leaves everything as it is."""
    for answer in ("q\n", ""):
        monkeypatch.setattr("sys.stdin", io.StringIO(answer))
        assert 0 == main(["spurs", "quick", "--measure"])
        assert "nothing was measured" in capsys.readouterr().err


def test_images_that_cannot_be_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A journal in which the image frequencies were not swept: said, and nothing is listed."""
    journal = tmp_path / "journal.sqlite"
    store = Direct(journal)
    store.open(1_795_640_400.0)
    assert 0 == main(["spurs", "quick", "--images", "--journal", str(journal)])
    assert "nothing can be told" in capsys.readouterr().out
    for words, says in (
        (["--images"], "write vfod spurs SWEEP --images"),
        (["quick", "--images", "--measure"], "take one of them"),
    ):
        assert UsageError.exit_code == main(["spurs", *words])
        assert says in capsys.readouterr().err


def test_without_a_sweep_there_is_nothing_to_expect(tmp_path: Path) -> None:
    """Said, with the remedy, as of a plan."""
    (tmp_path / "vfod.yaml").write_text("vfos: {main: {port: /dev/main}}\n")
    with pytest.raises(UsageError, match="has no sweep; describe one under sweeps:"):
        spurs([])
