"""What the tests of the line share."""

import threading
from collections.abc import AsyncIterator, Iterator

import pytest

from tests.device.terminals import Ear, Pty
from tests.device.tiny import TinyBox
from tests.device.watched_link import Bench


@pytest.fixture(autouse=True)
def _closings_are_over() -> Iterator[None]:
    """A serial port is closed by a thread of its own, which may outlive a test by a moment."""
    yield
    for thread in threading.enumerate():
        if thread.name.startswith("close "):
            thread.join(10)


@pytest.fixture
async def bench() -> AsyncIterator[Bench]:
    made = Bench(TinyBox())
    yield made
    await made.close()


@pytest.fixture
async def pty() -> AsyncIterator[Pty]:
    made = Pty()
    yield made
    made.unplug()


@pytest.fixture
async def ear() -> Ear:
    return Ear()
