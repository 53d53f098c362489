"""The whole daemon under a real metrics server: scraped, without complaint, with bounded series."""

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.real_parts import Prometheus, Server
from tests.system.household import Household, until

pytestmark = pytest.mark.real_time

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
        return int(value('count({__name__=~"vfod_.*"})'))

    # Each is asked for until it is so: a scrape that came to nothing leaves a gap in all series.
    await until(lambda: value("up") == 1, now)
    await until(lambda: value("vfod_visits_total") > 5, now)
    await until(lambda: value("vfod_link_up") == 1, now)
    await until(lambda: value('vfod_door_up{door="mqtt"}') == 1, now)
    await until(lambda: value('vfod_sweep_phase{phase="sweeping"}') == 1, now)
    await until(lambda: value('vfod_line_questions_total{verb="tune",result="ok"}') > 0, now)
    await until(lambda: value("sum(vfod_queue_dropped_total)") == 0, now)
    before = await until(series, now)
    visits = await until(lambda: value("vfod_visits_total"), now)
    await until(lambda: value("vfod_visits_total") > visits + 10, now)
    after = await until(series, now)
    assert after <= before + 2, "at most an event of a new kind"
    assert after < MOST
    it.ask("stay")
    await until(lambda: value("vfod_dial_frequency_hertz") == it.vfo()["dial"], now)
    assert [] == promtool(it.page())
