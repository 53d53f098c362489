"""The stream: stamped once, in one order for all, and nothing outside stops it."""

from tests.run.shack import NOON
from vfod import events as e
from vfod.radio.bands import bands_for
from vfod.run.derive import band_edges
from vfod.run.stream import Overflow, Stream
from vfod.sim.jump import SimClock

BY = e.Origin(door=e.Door.SHELL)


def found(dial: int) -> e.DialFound:
    return e.DialFound(dial=dial, oscillator=dial * 1000)


def observed(dial: int) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep="s", dial=dial, band=None, readings=1, level=-90.0, highest=-90.0, unit="dBm",
        floor=None, active=None, lateness=0.0,
    )  # fmt: skip


def names(stream: Stream) -> list[str]:
    return [subscription.name for subscription in stream.subscriptions]


async def test_all_subscribers_see_the_same_in_the_same_order() -> None:
    """Sequence rises by one, derived events follow their cause, the state is the one just after."""
    stream = Stream(SimClock(NOON), ["main"], derive=(band_edges(bands_for(1)),))
    one, two = stream.subscribe("one"), stream.subscribe("two")
    stream.emit(found(7_300_000), vfo="main", cause="9")
    stream.emit(found(9_420_000), vfo="main")
    stream.close()
    first, second = [p async for p in one], [p async for p in two]
    assert first == second
    assert [1, 2, 3, 4] == [s.sequence for s, _ in first]
    assert [e.DialFound, e.BandEntered, e.DialFound, e.BandEntered] == [
        type(s.event) for s, _ in first
    ]
    assert ["9", "9", None, None] == [s.cause for s, _ in first]
    assert ["41m", "31m"] == [first[i][1].vfos["main"].band for i in (1, 3)]
    assert {NOON} == {s.time for s, _ in first}


async def test_a_full_queue_drops_observations_before_events() -> None:
    """What a hand did outlives what a sweep measured; the loss is counted."""
    stream = Stream(SimClock(NOON), ["main"])
    slow = stream.subscribe("slow", limit=3)
    stream.emit(found(1_000_000), vfo="main")
    for dial in range(5):
        stream.emit(observed(dial), vfo="main")
    stream.close()
    kept = [stamped.event async for stamped, _ in slow]
    assert [found(1_000_000), observed(3), observed(4)] == kept
    assert 3 == slow.dropped


async def test_a_viewer_that_is_too_slow_gets_the_newest_state() -> None:
    """It jumps to now instead of falling behind."""
    stream = Stream(SimClock(NOON), ["main"])
    viewer = stream.subscribe("page", limit=2, overflow=Overflow.KEEP_LATEST)
    for dial in range(1, 8):
        stream.emit(found(dial), vfo="main")
    stream.close()
    assert 7 == [state.vfos["main"].dial async for _, state in viewer][-1]


async def test_unsubscribing_ends_the_reader() -> None:
    """A door that leaves is forgotten."""
    stream = Stream(SimClock(NOON), ["main"])
    with stream.following("door") as feed:
        stream.emit(found(5), vfo="main")
        stamped, _ = await anext(feed)
        assert found(5) == stamped.event
        assert ["door"] == names(stream)
    assert [] == names(stream)
    stream.emit(found(6), vfo="main")
    assert [] == [pair async for pair in feed]
