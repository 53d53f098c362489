"""The leak check finds what it is there to find, and nothing else."""

from pathlib import Path

import pytest

from tests.order import LONGEST

pytest_plugins = ["pytester"]

HEAD = """
import asyncio, socket, threading
import pytest

pytestmark = pytest.mark.no_leaks
kept = []
"""

LEAKS = {
    "task sleeper": """
async def test_it():
    kept.append(asyncio.create_task(asyncio.Event().wait(), name="sleeper"))
    await asyncio.sleep(0)
""",
    "descriptor ": """
def test_it():
    kept.append(socket.socket())
""",
    "thread dawdler": """
def test_it():
    thread = threading.Thread(target=threading.Event().wait, name="dawdler", daemon=True)
    thread.start()
""",
}

CLEAN = """
@pytest.fixture
async def sleeper():
    task = asyncio.create_task(asyncio.Event().wait())
    yield
    task.cancel()

async def test_it(sleeper):
    near, far = socket.socketpair()
    reader, writer = await asyncio.open_connection(sock=near)
    await asyncio.to_thread(far.close)
    writer.close()
    await writer.wait_closed()
"""


@pytest.fixture
def run(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> pytest.Pytester:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[1]))
    pytester.makeini(
        "[pytest]\nasyncio_mode = auto\nasyncio_default_fixture_loop_scope = function\n"
        "markers =\n    real_time: _\n    no_leaks: _\n"
    )
    return pytester


@pytest.mark.parametrize("leak", LEAKS)
def test_a_leak_fails_the_test(run: pytest.Pytester, leak: str) -> None:
    """A task, a descriptor or a thread that is left over is an error that names it."""
    run.makepyfile(HEAD + LEAKS[leak])
    result = run.runpytest_subprocess("-p", "tests.loops", "-p", "no:xdist")
    result.assert_outcomes(passed=1, errors=1)
    result.stdout.fnmatch_lines([f"E *{leak}*"])


def test_what_the_fixtures_tidy_up_is_no_leak(run: pytest.Pytester) -> None:
    """The check looks after the fixtures have been torn down, and after the loop was closed."""
    run.makepyfile(HEAD + CLEAN)
    run.runpytest_subprocess("-p", "tests.loops", "-p", "no:xdist").assert_outcomes(passed=1)


@pytest.mark.parametrize("name", LONGEST)
def test_the_tests_that_begin_first_are_there(name: str) -> None:
    """One that was renamed would begin late, and nobody would notice but by the time."""
    file, _, function = name.partition("::")
    assert f"def {function}(" in (Path(__file__).parents[1] / file).read_text()
