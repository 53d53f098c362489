"""Rows of what chooses a window's nights and who shares it, and of watches."""

from typing import Any

from tests.app.reload_rows import FIRST, SWEEP, Check, case
from tests.app.reloading import EVENING, Attended, Swap
from vfod import events as e


def more(keys: str) -> tuple[Swap, ...]:
    """The first window with other keys behind its times."""
    return (("until: 18:40", f"until: 18:40, {keys}"),)


@case("windows.first.for", ("until: 18:40", "for: 50m"))
async def another_length(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert EVENING + 1200 == it.vfo().window.closes


@case("windows.first.dates", *more("dates: [2026-12-01/2026-12-24]"), ends=True)
@case("windows.first.except", *more("except: [2026-11-25]"), ends=True)
@case("windows.first.season", *more("season: A"), ends=True)
async def not_in_this_night(it: Attended, _: dict[str, Any]) -> None:
    """The next opening is another day's, and the sweep ends."""
    await it.wait(0.5)
    assert it.vfo().window.name is None
    assert (it.vfo().window.next_opens or 0) > EVENING


SECOND = "  - {name: second, sweep: friends, from: 18:00, until: 19:00, priority: 0}\n"


@case(
    "windows.second.priority",
    ("priority: 0", "priority: 1"),
    before=((FIRST, FIRST + SECOND),),
    ends=True,
)
async def another_has_the_dial(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["friends"] == [event.sweep for event in it.since(e.SweepStarted)]


# --- guests: from the next pass of the window's own sweep on --------------------------------------

GUEST = "with: [{sweep: friends, every: 20s}]"
SHARED = "with: [{sweep: friends, share: 20%}]"


def visited(*names: str, every: float | None = None) -> Check:
    async def check(it: Attended, _: dict[str, Any]) -> None:
        """In the minutes after the pass, these sweeps are visited, and none besides."""
        await it.until(e.PassCompleted, that=lambda done: done.sweep == "evening")
        it.mark = len(it.seen)
        await it.wait(200)
        seen = it.since(e.ChannelObserved)
        assert set(names) == {event.sweep for event in seen}
        if every is not None:
            passes = [done for done in it.since(e.PassCompleted) if done.sweep == names[-1]]
            assert abs(len(passes) - 200 / every) <= 2

    return check


case("windows.first.with", *more(GUEST))(visited("evening", "friends", every=20))
case(
    "windows.first.with.2",
    ("every: 20s}", "every: 20s}, {sweep: late, every: 30s}"),
    before=(
        *more(GUEST),
        (SWEEP, SWEEP + "\n  late: {channels: [7215k], dwell: 1s, hold: off}"),
    ),
)(visited("evening", "friends", "late", every=30))
case(
    "windows.first.with.1.sweep",
    ("sweep: friends, every", "sweep: late, every"),
    before=(
        *more(GUEST),
        (SWEEP, SWEEP + "\n  late: {channels: [7215k], dwell: 1s, hold: off}"),
    ),
)(visited("evening", "late", every=20))
case("windows.first.with.1.every", ("every: 20s", "every: 50s"), before=more(GUEST))(
    visited("evening", "friends", every=50)
)


@case("windows.first.with.1.share", ("share: 20%", "share: 80%"), before=more(SHARED))
async def a_larger_share(it: Attended, _: dict[str, Any]) -> None:
    """Visits of both take about the same."""
    await it.until(e.PassCompleted, that=lambda done: done.sweep == "evening")
    it.mark = len(it.seen)
    await it.wait(590)
    seen = [event.sweep for event in it.since(e.ChannelObserved)]
    assert 0.6 < seen.count("friends") / len(seen) < 0.9


# --- watches --------------------------------------------------------------------------------------

RELAY = "{name: relay, frequency: 7.4M, at: 2026-11-25 18:20, for: 15m, vfo: main, priority: 100}"
NOTHING: Swap = ("control: {group", "watches: []\ncontrol: {group")
ONE: Swap = ("control: {group", f"watches: [{RELAY}]\ncontrol: {{group")
OTHER = "{name: other, frequency: 7.41M, at: 2026-11-25 18:20, for: 15m}"
TWO: Swap = ("control: {group", f"watches: [{RELAY}, {OTHER}]\ncontrol: {{group")


@case("watches.relay", ("watches: []", f"watches: [{RELAY}]"), before=(NOTHING,), ends=True)
async def one_that_is_due(it: Attended, _: dict[str, Any]) -> None:
    """The evening's sweep ends for it, and takes up again after it."""
    await it.wait(0.5)
    assert ["relay"] == [event.sweep for event in it.since(e.SweepStarted)]
    await it.until(e.SweepStarted, limit=400)
    assert "evening" == it.vfo().sweep.name
    it.mark = len(it.seen)


@case("watches", (f"[{RELAY}, {OTHER}]", f"[{OTHER}, {RELAY}]"), before=(TWO,), ends=True)
@case("watches.relay.priority", ("priority: 100", "priority: 50"), before=(TWO,), ends=True)
async def the_other_has_the_dial(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["other"] == [event.sweep for event in it.since(e.SweepStarted)]


@case("watches.relay.frequency", ("frequency: 7.4M", "frequency: 7.42M"), before=(ONE,))
async def another_frequency(it: Attended, _: dict[str, Any]) -> None:
    """A pass is one visit."""
    await it.wait(6)
    assert 7_420_000 == it.since(e.ChannelObserved)[-1].dial


@case("watches.relay.at", ("18:20", "18:21"), before=(ONE,))
@case("watches.relay.for", ("for: 15m", "for: 16m"), before=(ONE,))
async def it_closes_later(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert EVENING + 360 == it.vfo().window.closes


@case("watches.relay.vfo", ("vfo: main", "vfo: attic"), before=(ONE,), ends=True)
async def to_the_other_vfo(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["relay"] == [event.sweep for event in it.since(e.SweepStarted, "attic")]
