"""`vfod level` beside a running daemon, as processes."""

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

from tests.real_parts import Server
from tests.system.household import Household, until

pytestmark = [pytest.mark.real_time, pytest.mark.timeout(120)]


def now() -> float:
    return asyncio.get_running_loop().time()


async def test_a_point_is_read_while_a_sweep_gives_way(tmp_path: Path, mosquitto: Server) -> None:
    """The daemon keeps its line; the sweep goes on when the verb ends, whatever came of it."""
    it = Household(tmp_path, mosquitto)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 2, now)
        where = ("--config", str(it.config), "--socket", str(it.socket))
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "vfod", "level", "table", "--at", "7210", *where),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        out, err = await process.communicate(b"-60dBm\n\n")
        assert 2 == process.returncode
        assert b" counts (they scatter by " in out
        assert b"a table needs two points at least" in err
        assert b"sweep test resumed at " in err
        await until(lambda: it.vfo()["sweep"]["phase"] == "sweeping", now)
        assert 0 == it.vfo()["link"]["losses"]
    finally:
        it.close()
