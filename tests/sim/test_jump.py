"""The loop whose clock jumps keeps the order of time, and waits for what is real."""

import asyncio
import re
import socket
import threading

import hypothesis
import hypothesis.strategies as st
import pytest

import vfod.sim.jump
from vfod.sim.jump import JumpLoop, SimClock


async def test_ten_hours_pass_to_the_second() -> None:
    """3600 waits of ten seconds end ten hours later, exactly."""
    clock = SimClock(wall=0.0)
    for visit in range(1, 3601):
        await clock.sleep_until(visit * 10.0)
    assert 36_000.0 == clock.monotonic()
    assert 36_000.0 == clock.wall()


@hypothesis.given(st.lists(st.floats(0.001, 1e6), min_size=1, max_size=20))
def test_timers_come_in_their_order_and_not_early(delays: list[float]) -> None:
    """Each waiter goes on at its own time or just after, the earliest first."""

    async def all_of_them() -> list[tuple[float, float]]:
        clock, seen = SimClock(wall=0.0), []

        async def one(delay: float) -> None:
            await clock.sleep_until(delay)
            seen.append((delay, clock.monotonic()))

        async with asyncio.TaskGroup() as group:
            for delay in delays:
                group.create_task(one(delay))
        return seen

    with asyncio.Runner(loop_factory=JumpLoop) as runner:
        seen = runner.run(all_of_them())
    assert sorted(delays) == [delay for delay, _ in seen]
    for delay, now in seen:
        assert delay <= now <= delay + 1e-6


async def test_bytes_that_are_there_come_before_the_next_timer() -> None:
    """What a real socket holds is read before any time passes."""
    near, far = socket.socketpair()
    reader, writer = await asyncio.open_connection(sock=near)
    far.send(b"ping\n")
    async with asyncio.timeout(0.1):
        assert b"ping\n" == await reader.readline()
    assert 0.0 == asyncio.get_running_loop().time()
    writer.close()
    await writer.wait_closed()
    far.close()


async def test_time_stands_still_while_a_worker_thread_works() -> None:
    """A deadline does not pass while the loop's executor is busy, however long that takes."""
    go_on = threading.Event()
    asyncio.get_running_loop().call_soon(threading.Timer(0.05, go_on.set).start)
    async with asyncio.timeout(0.001):
        assert await asyncio.to_thread(go_on.wait, 10)
    assert 0.0 == asyncio.get_running_loop().time()


@pytest.fixture
def _little_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vfod.sim.jump, "PATIENCE", 0.05)


@pytest.mark.usefixtures("_little_patience")
def test_waiting_for_ever_is_an_error_that_names_the_task() -> None:
    """A deadlock ends with the names of those who wait, not with a test that hangs."""

    async def nobody_comes() -> None:
        await asyncio.get_running_loop().create_future()

    async def main() -> None:
        await asyncio.create_task(nobody_comes(), name="the waiter")

    with (
        asyncio.Runner(loop_factory=JumpLoop) as runner,
        pytest.raises(RuntimeError, match=re.escape("waiting for ever: ") + ".*the waiter"),
    ):
        runner.run(main())


async def test_the_wall_clock_can_be_set_and_moved_alone() -> None:
    """Setting the wall clock moves neither monotonic time nor a wait that is under way."""
    clock = SimClock(wall=1_000_000.0)
    clock.set_wall(2_000_000.0)
    await clock.sleep_until(60.0)
    clock.shift(-3600.0)
    assert 60.0 == clock.monotonic()
    assert 2_000_000.0 + 60.0 - 3600.0 == clock.wall()


@pytest.mark.real_time
async def test_a_test_in_real_time_has_the_ordinary_loop() -> None:
    """The mark takes a test off the jumping loop."""
    assert not isinstance(asyncio.get_running_loop(), JumpLoop)
