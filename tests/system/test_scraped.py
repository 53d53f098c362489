"""The whole daemon under a real metrics server: scraped, without complaint, with bounded series."""

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.real_parts import Prometheus, Server
from tests.system.household import Household, until

pytestmark = [pytest.mark.real_time, pytest.mark.timeout(120)]

#: Series of the daemon itself for one VFO: the text format's page stays one that a person can read.
MOST = 300


@pytest.fixture
def household(tmp_path: Path, mosquitto: Server) -> Iterator[Household]:
    it = Household(tmp_path, mosquitto)
    yield it
    it.close()


async def test_a_real_server_scrapes_a_sweeping_daemon(
    household: Household,
    prometheus: Callable[..., Prometheus],
    promtool: Callable[[str], list[str]],
) -> None:
    """What it stores is what the daemon says; the checker has no complaint; no series is added."""

    def now() -> float:
        return asyncio.get_running_loop().time()

    it = household
    for part in ("box", "daemon"):
        it.start(part)
    await until(lambda: it.vfo()["visits"] > 3, now)
    server = prometheus(f"127.0.0.1:{it.web}")

    def value(expression: str) -> float:
        (found,) = server.query(expression)
        return float(found["value"][1])

    def series() -> int:
        found: list[Any] = server.query('count({__name__=~"vfod_.*"})')
        return int(found[0]["value"][1])

    await until(lambda: value("up") == 1, now)
    await until(lambda: value("vfod_visits_total") > 5, now)
    assert 1 == value("vfod_link_up")
    assert 1 == value('vfod_door_up{door="mqtt"}')
    assert 1 == value('vfod_sweep_phase{phase="sweeping"}')
    assert 0 < value('vfod_line_questions_total{verb="tune",result="ok"}')
    assert 0 == value("sum(vfod_queue_dropped_total)")
    before, visits = series(), value("vfod_visits_total")
    await until(lambda: value("vfod_visits_total") > visits + 10, now)
    assert series() <= before + 2, "at most an event of a new kind"
    assert series() < MOST
    it.ask("stay")
    await until(lambda: value("vfod_dial_frequency_hertz") == it.vfo()["dial"], now)
    assert [] == promtool(it.page())
