"""Windows shared by sweeps, and watches that come between, as they are kept."""

from datetime import date, time
from itertools import pairwise
from zoneinfo import ZoneInfo

from tests.run.shack import NOON, Shack, shack, sweep
from vfod import events as e
from vfod.plan.dates import Span
from vfod.plan.localtime import night_of
from vfod.plan.moments import Lasting, UtcTime
from vfod.plan.sweep import Sweep
from vfod.plan.windows import Guest, Window

UTC = ZoneInfo("UTC")
FEW = Sweep(name="few", vfo="main", channels=(7_206_000, 7_208_000), hold=None)
WATCH = Sweep(name="watch", vfo="main", channels=(7_420_000,), hold=None)


def window(*guests: Guest) -> Window:
    return Window(
        name="first",
        sweep="evening",
        start=time(13),
        end=time(15),
        zone=UTC,
        guests=guests,
    )


def observed(it: Shack) -> list[tuple[float, e.ChannelObserved]]:
    return [(s.time, s.event) for s in it.seen if isinstance(s.event, e.ChannelObserved)]


async def test_a_guest_is_visited_in_between_and_under_its_own_name() -> None:
    """Every half minute the two channels of the guest, all else the evening's."""
    own = sweep(hold=None)
    windows = [window(Guest(sweep="few", every=30.0))]
    async with shack(sweeps=[own, FEW], windows=windows) as it:
        await it.until(e.WindowOpened, limit=3700)
        await it.wait(1800)
        assert {"evening", "few"} == {event.sweep for _, event in observed(it)}
        few = [when for when, event in observed(it) if event.dial == FEW.channels[0]]
        assert 60 <= len(few) <= 64
        # A visit is observed at its end; a tenth of a second for the simulated line.
        assert all(after - before <= 30.1 for before, after in pairwise(few))
        assert {"few"} == {event.sweep for _, event in observed(it) if event.dial in FEW.channels}
        passes = [event for event in it.of(e.PassCompleted) if isinstance(event, e.PassCompleted)]
        assert {2} == {event.visits for event in passes if event.sweep == "few"}
        own_passes = [event.number for event in passes if event.sweep == "evening"]
        assert list(range(1, len(own_passes) + 1)) == own_passes
        state = it.stream.state.vfos["main"].sweep
        assert ("evening", len(own_passes)) == (state.name, state.passes)


async def test_a_watch_comes_between_and_the_sweep_goes_on_where_it_was() -> None:
    """At 13:30 UTC for ten minutes on 7420 kHz, then back to the channel that was next."""
    own = sweep(hold=None)
    night = night_of(NOON + 3600, UTC)
    assert date(night.year, night.month, night.day) == night
    watch = Window(
        name="watch",
        sweep="watch",
        start=UtcTime(time(13, 30)),
        end=Lasting(600),
        zone=UTC,
        dates=(Span(night, night),),
        priority=100,
    )
    async with shack(sweeps=[own, WATCH], windows=[window(), watch]) as it:
        await it.until(e.WindowOpened, times=3, limit=7300)
        await it.wait(60)
        seen = observed(it)
        names = [event.sweep for _, event in seen]
        first, last = names.index("watch"), len(names) - names[::-1].index("watch") - 1
        assert {"watch"} == set(names[first : last + 1])
        assert {7_420_000} == {event.dial for _, event in seen[first : last + 1]}
        assert NOON + 5400 <= seen[first][0] < NOON + 5410
        assert NOON + 5990 <= seen[last][0] <= NOON + 6000
        # In the order of the band, without a channel left out or repeated by the watch.
        dials = [event.dial for _, event in seen if event.sweep == "evening"]
        channels = sorted(set(dials))
        begin = channels.index(dials[0])
        expected = [channels[(begin + place) % len(channels)] for place in range(len(dials))]
        assert expected == dials
        assert NOON + 6000 <= seen[last + 1][0] < NOON + 6010
