"""A door that fails is said to, waits and is built anew, whatever happened to it."""

import asyncio

import pytest

from vfod.errors import AlreadyRunningError, DoorError
from vfod.events import DoorFailed, DoorOpened, Event
from vfod.outputs.door import Opened, Pauses, keep_open
from vfod.sim.jump import SimClock

pytestmark = pytest.mark.no_leaks


class Life:
    """What a door goes through: each entry is an error to fail with, at once or after seconds."""

    def __init__(self, *fates: Exception | tuple[float, Exception] | None) -> None:
        self.clock = SimClock(0.0)
        self.told: list[Event] = []
        self.began: list[float] = []
        self._fates = list(fates)

    async def serve(self, opened: Opened) -> None:
        self.began.append(self.clock.monotonic())
        match self._fates.pop(0):
            case None:
                return
            case Exception() as error:
                raise error
            case (float() | int() as seconds, error):
                opened("here")
                await self.clock.sleep_until(self.clock.monotonic() + seconds)
                raise error

    async def run(self) -> None:
        await keep_open(
            "attic",
            self.serve,
            tell=self.told.append,
            clock=self.clock,
            pauses=Pauses(first=1.0, limit=4.0, steady=10.0),
            jitter=lambda: 0.5,
        )


def lost(reason: str = "lost") -> DoorError:
    return DoorError("it is gone", remedy="wait", reason=reason)


def failed(reason: str = "lost", detail: str = "it is gone; wait") -> DoorFailed:
    return DoorFailed(door="attic", reason=reason, detail=detail)


OPENED = DoorOpened(door="attic", where="here")


async def test_pauses_grow_to_a_limit_and_begin_anew() -> None:
    """1, 2, 4, 4 seconds; 1 again only after the door stayed open for ten."""
    life = Life(lost(), lost(), lost(), lost(), (3, lost()), (10, lost()), None)
    await life.run()
    assert [0, 1, 3, 7, 11, 11 + 3 + 4, 18 + 10 + 1] == life.began


async def test_each_reason_is_told_once_an_incident() -> None:
    """Until it is open again; a new reason is news."""
    life = Life(lost(), lost(), lost("refused"), lost(), (1, lost()), lost(), None)
    await life.run()
    assert [failed(), failed("refused"), OPENED, failed()] == life.told


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (AlreadyRunningError("another", remedy="stop it"), ("already-running", "another; stop it")),
        (OSError(28, "No space left"), ("system", "[Errno 28] No space left")),
        (ExceptionGroup("both", [lost(), lost()]), ("lost", "it is gone; wait")),
    ],
)
async def test_what_is_foreseen_is_not_logged(
    error: Exception, expected: tuple[str, str], caplog: pytest.LogCaptureFixture
) -> None:
    """A word and a sentence, from whatever was raised."""
    life = Life(error, None)
    await life.run()
    assert [failed(*expected)] == life.told
    assert [] == caplog.records


async def test_a_defect_is_logged_with_its_place(caplog: pytest.LogCaptureFixture) -> None:
    """And does not get past the door."""
    life = Life(ZeroDivisionError("oh"), None)
    await life.run()
    assert [failed("internal", "ZeroDivisionError: oh")] == life.told
    (record,) = caplog.records
    assert record.exc_info is not None


async def test_being_cancelled_ends_it() -> None:
    """In the midst of serving as well as of a pause."""
    for life in (Life((100.0, lost())), Life(lost())):
        task = asyncio.create_task(life.run())
        await life.clock.sleep_until(life.clock.monotonic() + 0.5)
        task.cancel()
        assert [asyncio.CancelledError] == [
            type(ended) for ended in await asyncio.gather(task, return_exceptions=True)
        ]
        assert 1 == len(life.began)
