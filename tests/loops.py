"""Which loop a test runs on, and whether it leaves something over.

An asynchronous test runs on the loop whose clock jumps, or on the ordinary one when it is marked
`real_time`, as a test with real parts must be.
A test marked `no_leaks` fails when a task, a thread or a file descriptor is left when it ends, its
fixtures included.
"""

import asyncio
import contextlib
import gc
import inspect
import threading
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from vfod.sim.jump import JumpLoop


def pytest_asyncio_loop_factories(
    item: pytest.Item,
) -> Mapping[str, Callable[[], asyncio.AbstractEventLoop]]:
    if item.get_closest_marker("real_time"):
        return {"real": asyncio.SelectorEventLoop}
    return {"jump": JumpLoop}


class Turns:
    """How often the running loop goes round: the same on a slow machine and on a busy one."""

    def __init__(self) -> None:
        self.count = 0


@contextlib.contextmanager
def turns() -> Iterator[Turns]:
    """Counts them, as long as it is held."""
    selector: Any = asyncio.get_running_loop()._selector  # type: ignore[attr-defined]  # its heart
    select, counted = selector.select, Turns()

    def select_and_count(timeout: float | None = None) -> Any:
        counted.count += 1
        return select(timeout)

    selector.select = select_and_count
    try:
        yield counted
    finally:
        del selector.select


@pytest.fixture
def _nothing_open(request: pytest.FixtureRequest) -> Iterator[None]:
    """Set up first, so that it looks when everything else has been torn down, the loop too."""
    if not request.node.get_closest_marker("no_leaks"):
        yield
        return
    descriptors, threads = _descriptors(), set(threading.enumerate())
    yield
    for thread in threading.enumerate():
        # A serial port is closed by a thread of its own, which may outlive a test by a moment.
        if thread.name.startswith("close "):
            thread.join()
    gc.collect()
    left = [f"descriptor {number} -> {end}" for number, end in _descriptors() - descriptors]
    left += [f"thread {thread.name}" for thread in set(threading.enumerate()) - threads]
    assert [] == sorted(left)


@pytest.fixture(autouse=True)
def _no_leaks(request: pytest.FixtureRequest, _nothing_open: None) -> None:
    marked = request.node.get_closest_marker("no_leaks")
    if marked and inspect.iscoroutinefunction(request.function):
        request.getfixturevalue("_no_tasks_left")


@pytest.fixture
async def _no_tasks_left() -> AsyncIterator[None]:
    """Torn down last of what runs on the loop, and before the loop is closed."""
    yield
    left = asyncio.all_tasks() - {asyncio.current_task()}
    assert [] == sorted(f"task {task.get_name()}: {task.get_coro()}" for task in left)


def _descriptors() -> set[tuple[str, str]]:
    found = set()
    for link in Path("/proc/self/fd").iterdir():
        # The descriptor of this very listing is closed again.
        if link.is_symlink():
            found.add((link.name, str(link.readlink())))
    return found
