"""A hold is left for guests and come back to: the guest is in time, the hold keeps its limit.

The station is the simulator's, on 7210 kHz; the guest is two channels every half minute. By hand: a
visit takes 2.3 s (0.3 s settle, 2 s dwell), a look at the held channel comes every half second, and
the simulated line takes a tenth of a second.
"""

from datetime import time
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from tests.run.shack import NOON, SCENARIO, SHELL, Shack, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.plan.sweep import Hold, Sweep
from vfod.plan.windows import Guest, Window
from vfod.state import SweepPhase

HELD = 7_210_000
FEW = Sweep(name="few", vfo="main", channels=(7_206_000, 7_208_000), hold=None)
#: From the end of a look to the guest, and what the line takes.
LOOK = 0.6


def window(*guests: Guest) -> Window:
    zone = ZoneInfo("UTC")
    return Window(
        name="first", sweep="evening", start=time(12, 1), end=time(15), zone=zone, guests=guests
    )


WINDOW = window(Guest(sweep="few", every=30.0))


def shown(it: Shack) -> tuple[SweepPhase, int | None]:
    """What the state says that the sweep does, and at which channel."""
    sweep = it.stream.state.vfos["main"].sweep
    return sweep.phase, sweep.channel


def stamped(it: Shack, *kinds: type[e.Event]) -> list[tuple[float, e.Event]]:
    return [(one.time, one.event) for one in it.seen if isinstance(one.event, kinds)]


def dials(it: Shack, name: str) -> list[int]:
    found = [ev for ev in it.of(e.ChannelObserved) if isinstance(ev, e.ChannelObserved)]
    return [ev.dial for ev in found if ev.sweep == name]


def names(it: Shack) -> list[str]:
    """The course of the hold, guests by name, from its beginning."""
    words = {e.HoldBegan: "hold", e.HoldLeft: "left", e.HoldResumed: "back", e.HoldEnded: "ended"}
    found = []
    for one in it.seen:
        if type(one.event) in words:
            found.append(words[type(one.event)])
        elif isinstance(one.event, e.ChannelObserved) and found:
            found.append(one.event.sweep)
    return found


async def test_the_sweep_comes_back_to_the_channel_and_holds_to_its_limit() -> None:
    """Two minutes' hold, left for the guest every half minute; then on to the next channel."""
    own = sweep(hold=Hold(limit=120, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        ended = await it.until(e.HoldEnded, limit=400)
        assert isinstance(ended, e.HoldEnded)
        assert ("limit", HELD) == (ended.reason, ended.dial)
        course = names(it)
        # Half a minute after it was last begun; the first one is near the window's beginning.
        visits = ["left", "few", "few", "back"]
        assert ["hold", *visits * (len(course) // 4), "ended"] == course
        assert course.count("back") in (3, 4)
        (began,) = [when for when, _ in stamped(it, e.HoldBegan)]
        (over,) = [when for when, _ in stamped(it, e.HoldEnded)]
        assert over - began == pytest.approx(120, abs=0.1)
        backs = [ev for _, ev in stamped(it, e.HoldResumed) if isinstance(ev, e.HoldResumed)]
        assert [HELD] * len(backs) == [ev.dial for ev in backs]
        # A guest's pass is two visits; the time at the channel is what is left of the limit.
        assert [4.6] * len(backs) == pytest.approx([ev.away for ev in backs], abs=0.1)
        assert ended.seconds == pytest.approx(120 - sum(ev.away for ev in backs), abs=0.1)
        # The channel of the hold once, and then the one after it.
        await it.until(e.ChannelObserved, times=3, limit=30)
        assert [7_200_000, 7_205_000, HELD, 7_215_000] == dials(it, "evening")[:4]


async def test_a_hold_does_not_keep_a_guest_waiting() -> None:
    """A station that never pauses, held at for ten minutes: each half minute has its guest, late
    by one look (half a second) at most.
    """
    own = sweep(hold=Hold(limit=600, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        await it.until(e.HoldEnded, limit=800)
        await it.wait(60)
        few = [
            when
            for when, ev in stamped(it, e.ChannelObserved)
            if isinstance(ev, e.ChannelObserved) and ev.dial == FEW.channels[0]
        ]
        assert len(few) > 20
        assert max(after - before for before, after in pairwise(few)) <= 30.1 + LOOK


async def test_what_it_cost_is_told_without_the_guests() -> None:
    """The pass has the seconds of the hold as `held`; the guest's visits are no part of them."""
    own = sweep(hold=Hold(limit=90, most=1, rest=3600))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        ended = await it.until(e.HoldEnded, limit=400)
        assert isinstance(ended, e.HoldEnded)
        passes: list[e.PassCompleted] = []
        while not passes or passes[-1].sweep != "evening" or not passes[-1].held:
            done = await it.until(e.PassCompleted, limit=200)
            assert isinstance(done, e.PassCompleted)
            passes.append(done)
        assert ended.seconds == pytest.approx(passes[-1].held, abs=0.01)
        state = it.stream.state.vfos["main"].sweep
        assert (passes[-1].seconds, passes[-1].held) == (state.revisit, state.held)
        # All that the pass took: 11 visits, the hold, and the guest's visits.
        began = stamped(it, e.SweepStarted)[0][0]
        few = [
            ev
            for when, ev in stamped(it, e.ChannelObserved)
            if isinstance(ev, e.ChannelObserved)
            and ev.sweep == "few"
            and when <= began + passes[-1].seconds
        ]
        expected = 11 * 2.3 + ended.seconds + len(few) * 2.3
        assert passes[-1].seconds == pytest.approx(expected, abs=0.4 + 0.3 * len(few))


async def test_the_state_shows_where_it_is() -> None:
    """Holding at the channel, sweeping at the guest's, holding at the channel again."""
    own = sweep(hold=Hold(limit=120, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        await it.until(e.HoldBegan, limit=400)
        assert (SweepPhase.HOLDING, HELD) == shown(it)
        await it.until(e.HoldLeft, limit=100)
        await it.until(e.ChannelObserved, limit=5)
        phase, channel = shown(it)
        assert SweepPhase.SWEEPING is phase
        assert channel in FEW.channels
        await it.until(e.HoldResumed, limit=5)
        assert (SweepPhase.HOLDING, HELD) == shown(it)
        assert HELD == it.dial


async def test_a_station_that_ends_meanwhile_is_left_after_the_quiet() -> None:
    """It goes off while the guest has the dial: three seconds after the return the hold ends."""
    # The guest comes each half minute from the window's beginning at 12:01 on.
    off = SCENARIO.replace("power: -60", 'power: -60, hours: ["11:00-12:03"]')
    own = sweep(hold=Hold(limit=600, quiet=3, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW], scenario=off) as it:
        ended = await it.until(e.HoldEnded, limit=300)
        assert isinstance(ended, e.HoldEnded)
        assert "quiet" == ended.reason
        (left, _), (last_back, _) = stamped(it, e.HoldLeft, e.HoldResumed)[-2:]
        assert left < NOON + 180 < last_back
        over = it.clock.wall()
        assert over - last_back == pytest.approx(3, abs=0.6)


async def test_a_hand_at_the_guests_channel_ends_the_hold() -> None:
    """After the quiet time the guest is finished, and the sweep goes on behind the held channel."""
    own = sweep(hold=Hold(limit=600, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW], quiet=60) as it:
        await it.until(e.HoldLeft, limit=400)
        await it.wait(1)
        it.world.box.turn(3)
        await it.until(e.SweepYielded, limit=5)
        ended = it.of(e.HoldEnded)[-1]
        assert isinstance(ended, e.HoldEnded)
        assert ("yield", HELD) == (ended.reason, ended.dial)
        assert SweepPhase.YIELDED is it.phase()
        seen = len(it.of(e.ChannelObserved))
        await it.until(e.SweepResumed, limit=70)
        await it.until(e.ChannelObserved, times=3, limit=20)
        assert [*FEW.channels, 7_215_000] == [
            ev.dial for ev in it.of(e.ChannelObserved)[seen:] if isinstance(ev, e.ChannelObserved)
        ]
        assert [] == it.of(e.HoldResumed)


async def test_a_skip_at_the_guests_channel_skips_that_one() -> None:
    """The hold goes on; a skip at its own channel ends it."""
    own = sweep(hold=Hold(limit=600, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        await it.until(e.HoldLeft, limit=400)
        await it.wait(1)
        await it.ask(r.SkipChannel(), SHELL)
        resumed = await it.until(e.HoldResumed, limit=10)
        assert isinstance(resumed, e.HoldResumed)
        assert resumed.away == pytest.approx(1 + 2.3, abs=0.2)
        await it.ask(r.SkipChannel(), SHELL)
        ended = it.of(e.HoldEnded)[-1]
        assert isinstance(ended, e.HoldEnded)
        assert ("skip", HELD) == (ended.reason, ended.dial)


async def test_a_lost_line_at_the_guests_channel_ends_the_hold() -> None:
    """When it is back, the guest is finished and the sweep goes on."""
    own = sweep(hold=Hold(limit=600, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        await it.until(e.HoldLeft, limit=400)
        await it.wait(1)
        it.port.unplug()
        await it.until(e.SweepPaused, limit=10)
        assert SweepPhase.PAUSED is it.phase()
        await it.wait(20)
        it.port.plug()
        seen = len(it.of(e.ChannelObserved))
        await it.until(e.ChannelObserved, times=3, limit=60)
        assert [*FEW.channels, 7_215_000] == [
            ev.dial for ev in it.of(e.ChannelObserved)[seen:] if isinstance(ev, e.ChannelObserved)
        ]


async def test_the_limit_may_be_over_before_the_return() -> None:
    """A hold whose time is up while the guest has the dial is not come back to."""
    own = sweep(hold=Hold(limit=22, most=99))
    async with shack(sweeps=[own, FEW], windows=[WINDOW]) as it:
        for _ in range(12):
            await it.until(e.HoldEnded, limit=400)
        await it.wait(60)
        course = names(it)
        assert "ended" in [course[k + 3] for k, name in enumerate(course[:-3]) if name == "left"]
        assert {"limit"} == {ev.reason for ev in it.of(e.HoldEnded) if isinstance(ev, e.HoldEnded)}
        channels = list(dict.fromkeys(dials(it, "evening")))
        expected = [channels[k % len(channels)] for k in range(len(dials(it, "evening")))]
        assert expected == dials(it, "evening")


async def test_a_guest_in_a_guests_hold() -> None:
    """A guest that holds itself gives way to another, which comes before the return."""
    holding = Sweep(
        name="few",
        vfo="main",
        channels=(7_206_000, HELD),
        known_quiet=(7_206_000,),
        hold=Hold(limit=40, most=99),
    )
    third = Sweep(name="third", vfo="main", channels=(7_241_000,), hold=None)
    # Both stations are the same strong one: the own sweep holds where the second one is.
    two = SCENARIO + "  - {name: Radio Other, frequency: 7225kHz, power: -60}\n"
    own = sweep(hold=Hold(limit=300, most=99))
    guests = window(Guest(sweep="few", every=60.0), Guest(sweep="third", every=45.0))
    async with shack(sweeps=[own, holding, third], windows=[guests], scenario=two) as it:
        while True:
            ended = await it.until(e.HoldEnded, limit=1000)
            assert isinstance(ended, e.HoldEnded)
            if ended.dial == 7_225_000:
                break
        assert "limit" == ended.reason
        reasons = [ev.reason for ev in it.of(e.HoldEnded) if isinstance(ev, e.HoldEnded)]
        assert "guest" in reasons
        third_at = [
            when
            for when, ev in stamped(it, e.ChannelObserved)
            if isinstance(ev, e.ChannelObserved) and ev.sweep == "third"
        ]
        assert max(after - before for before, after in pairwise(third_at)) <= 45.1 + LOOK + 2.3
