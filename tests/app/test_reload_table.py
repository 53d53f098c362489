"""Each row of the table in vfod/config/changes.py: that key changed, and what then happens.

The link of no VFO is dropped where the row does not say so; a sweep goes on where it can.
"""

from pathlib import Path

import pytest

import tests.app.reload_sweep_rows
import tests.app.reload_vfo_rows
import tests.app.reload_window_rows  # noqa: F401 - with the import they are in CASES
from tests.app.reload_rows import CASES, Case
from tests.app.reloading import attended
from vfod import events as e
from vfod.config.changes import TABLE, Takes, row


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.key)
async def test_a_row(case: Case, tmp_path: Path) -> None:
    """It is told when the change takes effect, and that is when it does."""
    async with attended(tmp_path, *case.before) as it:
        answer = await it.reload(*case.swaps)
        takes = TABLE[row(case.key)]
        assert case.key in answer["when"][takes]
        assert case.key in answer["data"]["changed"]
        assert (case.key in answer["data"]["waiting"]) == (takes is Takes.RESTART)
        assert (*answer["data"]["waiting"],) == it.daemon.stream.state.config_waiting
        await case.check(it, answer)
        if takes is not Takes.LINE:
            assert [] == it.since(e.LinkLost) + it.since(e.LinkLost, "attic")
        if not case.ends:
            assert [] == it.since(e.SweepEnded)


def test_every_row_is_tested() -> None:
    """Those that need a broker or a certificate are in tests/system/test_reload.py.

    Windows and watches go by their names: with another one it is another window, `windows.last`.
    """
    elsewhere = {key for key in TABLE if key.startswith(("mqtt", "web.tls"))} | {
        "windows.*.name",
        "watches.*.name",
    }
    assert set(TABLE) == {row(case.key) for case in CASES} | elsewhere
