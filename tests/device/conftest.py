"""What the tests of the line share."""

from collections.abc import AsyncIterator

import pytest

from tests.device.terminals import Ear, Pty
from tests.device.tiny import TinyBox
from tests.device.watched_link import Bench


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
