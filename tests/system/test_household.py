"""Simulator, broker and daemon as a listener has them, killed and started in any order."""

import asyncio
import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.real_parts import Server
from tests.system.household import Household, until
from vfod.clock import wait_until
from vfod.store import Reader

PARTS = ("box", "broker", "daemon")
CHANNELS = range(7_200_000, 7_450_001, 5_000)

#: Observations that a kill -9 may cost: two seconds of them (a visit takes 0.35 s), the one under
#: way, and those of a commit for which the disk takes its time.
MAY_REPEAT = 20

pytestmark = pytest.mark.real_time


@pytest.fixture
def household(tmp_path: Path, mosquitto: Server) -> Iterator[Household]:
    it = Household(tmp_path, mosquitto)
    yield it
    it.close()


def now() -> float:
    return asyncio.get_running_loop().time()


async def sweeping(it: Household) -> None:
    """Wait until the sweep moves."""
    await until(lambda: it.vfo()["sweep"]["phase"] == "sweeping", now)
    visits = it.vfo()["visits"]
    await until(lambda: it.vfo()["visits"] >= visits + 3, now)


async def all_agree(it: Household) -> None:
    """Hold the dial still, and compare what each door says."""
    await sweeping(it)
    it.ask("stay", seconds=60)
    vfo = it.vfo()
    assert "up" == vfo["link"]["phase"]
    dial = vfo["dial"]

    def agreed() -> bool:
        retained = it.retained()
        return (
            str(dial) == retained.get("vfod-main/dial/frequency")
            and "ready" == retained.get("vfod-main/$state") == retained.get("vfod/$state")
            and "yielded" == retained.get("vfod-main/sweep/state")
            and dial == it.scraped() == it.vfo()["dial"]
        )

    await until(agreed, now)
    it.ask("resume")
    await sweeping(it)


async def test_every_door_tells_the_same(household: Household) -> None:
    """Status, a nudge, a tune, a sweep, the knob: shell, metrics, MQTT and journal agree."""
    it = household
    for part in ("box", "daemon"):
        it.start(part)
    await until(lambda: it.vfo()["dial"], now)
    await sweeping(it)
    before = it.vfo()["sweep"]["channel"]
    it.knob(b"+++")
    await until(lambda: it.vfo()["sweep"]["phase"] == "yielded", now)
    assert "knob" == it.vfo()["moved_by"]["door"]
    await until(lambda: it.vfo()["sweep"]["phase"] == "sweeping", now)
    assert it.vfo()["sweep"]["channel"] - before <= 15_000
    it.ask("nudge", hertz=-5000)
    assert "shell" == it.vfo()["moved_by"]["door"]
    await all_agree(it)
    assert 0 == it.stop("daemon")
    assert "disconnected" == it.retained()["vfod/$state"]


async def test_killed_in_any_order_all_agree_again(household: Household) -> None:
    """No help needed, and the sweep is at the channel it left: none skipped, few repeated."""
    it = household
    for part in ("box", "daemon"):
        it.start(part)
    await until(lambda: it.vfo()["dial"], now)
    await sweeping(it)
    for number, order in enumerate(itertools.permutations(PARTS)):
        for part in order:
            it.kill(part)
        back = order if number % 2 else order[::-1]
        for part in back:
            it.start(part)
        await until(lambda: it.vfo()["dial"], now)
        await all_agree(it)
    it.stop("daemon")
    with Reader(it.journal) as reader:
        dials = [one.observed.dial for one in reader.observations()]
    places = [CHANNELS.index(dial) for dial in dials]
    moves = [(b - a) % len(CHANNELS) for a, b in itertools.pairwise(places)]
    back_again = [move for move in moves if move not in (0, 1)]
    assert all(move >= len(CHANNELS) - MAY_REPEAT for move in back_again), moves
    assert 6 >= len(back_again)


@pytest.mark.parametrize("order", list(itertools.permutations(("broker", "daemon"))))
async def test_retained_values_are_right_again(
    household: Household, order: tuple[str, ...]
) -> None:
    """Both were away, for longer than the first pauses; they come back in either order.

    How soon is judged on the clock that jumps: tests/outputs/test_door.py has the pauses, and
    test_mqtt_pacing.py what a door does that has been opened.
    """
    it = household
    it.start("box")
    it.start("daemon")
    await until(lambda: it.vfo()["visits"] >= 1, now)
    it.ask("stay")
    it.ask("tune", frequency=9_420_000)
    it.kill("broker")
    it.ask("tune", frequency=9_425_000)
    away = now()
    if order[0] == "daemon":
        it.kill("daemon")
        it.start("daemon")
        await until(lambda: it.vfo()["dial"], now)
    await wait_until(away + 6.0)
    it.start("broker")
    if order[0] == "broker":
        it.kill("daemon")
        it.start("daemon")
        await until(lambda: it.vfo()["dial"], now)

    def right() -> bool:
        retained = it.retained()
        wanted = {
            "vfod/$state": "ready",
            "vfod-main/$state": "ready",
            "vfod-main/dial/frequency": str(it.vfo()["dial"]),
            "vfod-main/link/state": "up",
        }
        return wanted.items() <= retained.items()

    await until(right, now)
