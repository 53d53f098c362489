"""Rows of sweeps, windows and HTTP."""

from typing import Any

import pytest

from tests.app.reload_rows import CORNER, EVERY, FIRST, HELD, SWEEP, case, channels
from tests.app.reloading import EVENING, Attended, Swap
from vfod import events as e
from vfod import requests as r
from vfod.errors import RefusedError

# --- sweeps ---------------------------------------------------------------------------------------


def evening(now: str, *, was: str = SWEEP) -> Swap:
    return was, now


def of(was: str, now: str) -> tuple[Swap, ...]:
    return (evening(SWEEP.replace(was, now)),)


case("sweeps.evening.bands", *of("[corner]", "[13m], raster: 100k"))(
    channels(*range(21_500, 21_801, 100))
)
case(
    "sweeps.evening.channels",
    ("channels: [7.2M, 7.21M]", "channels: [7.2M, 7.22M, 7.23M]"),
    before=of("bands: [corner]", "channels: [7.2M, 7.21M]"),
)(channels(7200, 7220, 7230))
case(
    "sweeps.evening.joined",
    ("joined: false", "joined: true"),
    before=(
        (CORNER, "low: {from: 7200k, to: 7205k}\n  high: {from: 7220k, to: 7225k}"),
        evening(SWEEP.replace("[corner]", "[low, high], joined: false")),
    ),
)(channels(*range(7200, 7226, 5)))
case("sweeps.evening.raster", *of("[corner]", "[corner], raster: 10k"))(channels(*EVERY[::2]))
case("sweeps.evening.order", *of("[corner]", "[corner], order: down"))(channels(*EVERY[::-1]))
case("sweeps.evening.skip", *of("[corner]", "[corner], skip: [7205k, 7220k-7230k]"))(
    channels(7200, 7210, 7215)
)


@case("sweeps.evening.dwell", *of("dwell: 1s", "dwell: 500ms"))
async def shorter(it: Attended, _: dict[str, Any]) -> None:
    before = await it.until(e.PassCompleted)
    after = await it.until(e.PassCompleted)
    assert 7 * 0.5 == pytest.approx(before.seconds - after.seconds, abs=0.4)


@case("sweeps.evening.settle", *of("dwell: 1s", "dwell: 1s, settle: 800ms"))
async def settles_longer(it: Attended, _: dict[str, Any]) -> None:
    before = await it.until(e.PassCompleted)
    after = await it.until(e.PassCompleted)
    assert 7 * 0.5 == pytest.approx(after.seconds - before.seconds, abs=0.4)


@case("sweeps.evening.readings", *of("readings: 4", "readings: 7"))
async def more_readings(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.PassCompleted)
    assert {4} == {one.readings for one in it.since(e.ChannelObserved)}
    assert {7} == {one.readings for one in await it.visits()}


STRICT = of("hold: off", "hold: off, margin: {active: 50dB, stay: 3dB}")


@case("sweeps.evening.margin.active", ("active: 50dB", "active: 6dB"), before=STRICT)
async def active_at_less(it: Attended, _: dict[str, Any]) -> None:
    """The station is 38 dB above the floor."""
    await it.until(e.PassCompleted)
    assert [] == it.since(e.ActivityBegan)
    assert {7_210_000} == {one.dial for one in await it.visits() if one.active}


@case("sweeps.evening.margin.stay", ("stay: 3dB", "stay: 45dB"), before=STRICT)
async def stays_at_more(it: Attended, _: dict[str, Any]) -> None:
    """What is not active needs the other margin, so only the threshold itself can be looked at."""
    detector = it.daemon.vfos["main"].keeper.repertoire.detectors["evening"]
    assert 3.0 == detector._margin.stay
    await it.until(e.SweepChanged)
    assert 45.0 == detector._margin.stay


@case("sweeps.evening.known_quiet", *of("[corner]", "[corner], known_quiet: [7200k, 7230k]"))
async def another_floor(it: Attended, _: dict[str, Any]) -> None:
    """A floor that was taken from other channels is forgotten, and taken from these."""
    await it.until(e.SweepChanged)
    detector = it.daemon.vfos["main"].keeper.repertoire.detectors["evening"]
    assert {} == detector._floors
    assert {7_200_000, 7_230_000} == detector._quiet
    assert {7_210_000} == {one.dial for one in await it.visits() if one.active}


@case("sweeps.evening.hold", *of("hold: off", "hold: {limit: 2s}"))
async def holds(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.SweepChanged)
    held = await it.until(e.HoldBegan)
    assert 7_210_000 == held.dial
    assert 2.0 == pytest.approx((await it.until(e.HoldEnded)).seconds, abs=0.1)


@case("sweeps.evening.hold.limit", ("limit: 2s", "limit: 5s"), before=(evening(HELD),))
async def holds_longer(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.SweepChanged)
    assert 5.0 == pytest.approx((await it.until(e.HoldEnded)).seconds, abs=0.1)


@case("sweeps.evening.hold.quiet", ("limit: 2s", "limit: 2s, quiet: 1s"), before=(evening(HELD),))
async def leaves_sooner(it: Attended, _: dict[str, Any]) -> None:
    """A station that never goes off the air shows no quiet; the plan in force has it."""
    await it.until(e.SweepChanged)
    roster = it.daemon.vfos["main"].keeper.running.roster
    assert roster is not None
    hold = roster.main.sweep.hold
    assert hold is not None
    assert 1.0 == hold.quiet


@case("sweeps.evening.hold.rest", ("rest: 20s", "rest: 10m"), before=(evening(HELD),))
async def rests_longer(it: Attended, _: dict[str, Any]) -> None:
    """From the next hold on: after it none for ten minutes."""
    await it.until(e.SweepChanged)
    await it.until(e.HoldEnded)
    it.mark = len(it.seen)
    await it.wait(120)
    assert [] == it.since(e.HoldBegan)


@case(
    "sweeps.evening.hold.times",
    ("times: 1, rest: 20s", "times: 4, rest: 20s"),
    before=(evening(HELD),),
)
async def rests_later(it: Attended, _: dict[str, Any]) -> None:
    """A pass takes ten seconds, so without a rest it is held in every one."""
    await it.until(e.SweepChanged)
    await it.until(e.HoldEnded)
    it.mark = len(it.seen)
    await it.wait(26)
    assert 2 == len(it.since(e.HoldBegan))


@case("sweeps.late", (SWEEP, f"{SWEEP}\n  late: {{bands: [corner], hold: off}}"), ends=True)
async def a_new_sweep(it: Attended, _: dict[str, Any]) -> None:
    assert "late" == (await it.ask(r.StartSweep(sweep="late")))["data"]["sweep"]


@case("sweeps.evening", (f"  {SWEEP}\n", ""), (FIRST, ""), ("windows:", "windows: []"), ends=True)
async def a_sweep_less(it: Attended, _: dict[str, Any]) -> None:
    """It ends with a reason, its window closes, and nothing starts it again."""
    await it.wait(0.5)
    (ended,) = it.since(e.SweepEnded)
    assert "it is no longer in the configuration" == ended.reason
    assert 1 == len(it.since(e.WindowClosed))
    with pytest.raises(RefusedError, match="there is no sweep 'evening'"):
        await it.ask(r.StartSweep(sweep="evening"))


@case("sweeps.evening.vfo", *of("bands", "vfo: attic, bands"), ends=True)
async def to_the_other_vfo(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert 1 == len(it.since(e.SweepEnded)) == len(it.since(e.WindowClosed))
    assert ["evening"] == [event.sweep for event in it.since(e.SweepStarted, "attic")]


# --- windows --------------------------------------------------------------------------------------

SECOND = "  - {name: second, sweep: friends, from: 18:00, until: 19:00}\n"


@case("windows", (FIRST + SECOND, SECOND + FIRST), before=((FIRST, FIRST + SECOND),), ends=True)
async def another_has_the_dial(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["second"] == [event.window for event in it.since(e.WindowOpened)]


@case("windows.second", (FIRST, SECOND + FIRST), ends=True)
async def one_that_is_due_opens(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["first"] == [event.window for event in it.since(e.WindowClosed)]
    assert ["friends"] == [event.sweep for event in it.since(e.SweepStarted)]


@case("windows.first", (FIRST, ""), ("windows:", "windows: []"), ends=True)
async def one_that_is_gone_closes(it: Attended, _: dict[str, Any]) -> None:
    """As at its end: the sweep is over, the dial back, the speaker released."""
    await it.wait(0.5)
    assert ["the window closed"] == [event.reason for event in it.since(e.SweepEnded)]
    assert 1 == len(it.since(e.WindowClosed))
    assert it.vfo().window.name is None
    assert it.vfo().muted is False


@case("windows.last", ("name: first", "name: last"), ends=True)
async def another_name(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert "last" == it.vfo().window.name


@case("windows.first.sweep", ("first, sweep: evening", "first, sweep: friends"), ends=True)
async def another_sweep(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert ["friends"] == [event.sweep for event in it.since(e.SweepStarted)]


@case("windows.first.from", ("from: 18:00", "from: 17:00"))
@case("windows.first.until", ("until: 18:40", "until: 18:50"))
async def other_times(it: Attended, _: dict[str, Any]) -> None:
    """The sweep goes on, and the window closes by its new times."""
    await it.wait(0.5)
    assert 1 == len(it.since(e.WindowMoved))
    assert [] == it.since(e.WindowClosed) + it.since(e.WindowOpened)
    closes = it.vfo().window.closes
    assert closes in (EVENING + 600, EVENING + 1200)
    await it.until(e.WindowClosed, limit=1300)
    assert closes == pytest.approx(it.clock.wall(), abs=1)
    it.mark = len(it.seen)


@case("windows.first.days", ("until: 18:40", "until: 18:40, days: [thu]"), ends=True)
async def not_on_a_wednesday(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert it.vfo().window.name is None
    assert EVENING - 1800 + 86400 == it.vfo().window.next_opens


# --- HTTP -----------------------------------------------------------------------------------------


PAGE: tuple[Swap, ...] = (("web: off", "web: {listen: '127.0.0.1:0'}"),)


@case("web", ("web: off", "web: {listen: '127.0.0.1:0'}"))
async def the_page_opens(it: Attended, _: dict[str, Any]) -> None:
    await it.wait(0.5)
    assert it.daemon.stream.state.doors["web"].up
    await it.reload(("web: {listen: '127.0.0.1:0'}", "web: off"))
    await it.wait(0.5)
    assert "web" not in it.daemon.stream.state.doors


@case(
    "web.listen",
    ("listen: '127.0.0.1:0'", "listen: 'localhost:0'"),
    before=PAGE,
)
@case("web.names", (":0'", ":0', names: [attic]"), before=PAGE)
@case("web.proxies", (":0'", ":0', proxies: [127.0.0.1]"), before=PAGE)
@case("web.token_file", (":0'", ":0', token_file: one"), before=PAGE)
@case(
    "web.read_token_file",
    ("token_file: one", "token_file: one, read_token_file: other"),
    before=(("web: off", "web: {listen: '127.0.0.1:0', token_file: one}"),),
)
async def the_page_moves(it: Attended, _: dict[str, Any]) -> None:
    was = it.daemon.stream.state.doors["web"].where
    await it.wait(0.5)
    assert was != it.daemon.stream.state.doors["web"].where
    assert 1 == len([event for event in it.since(e.DoorOpened) if event.door == "web"])
