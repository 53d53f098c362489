"""Each default of the README's table as it is lived: a sweep of the smallest configuration.

What nobody configured comes from the configuration's own reader, so that a default which is lost
on the way shows here. The values themselves are those of the table (tests/test_documents.py checks
it); defaults of the line are lived in tests/device, those of MQTT in tests/outputs.
"""

import itertools
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from tests.run.shack import NOON, RECEIVER, SCENARIO, SHELL, Shack, shack
from tests.run.test_keeper import window
from vfod import events as e
from vfod import requests as r
from vfod.config.loading import parse
from vfod.plan.channels import channels_in
from vfod.plan.slots import resolve
from vfod.plan.sweep import plan_sweep
from vfod.plan.windows import Window
from vfod.radio.bands import Band, band_named, bands_for, chain
from vfod.radio.receiver import Detector, Receiver
from vfod.run.given import Afterwards

#: Eleven channels of a band of one's own, and nothing else said.
SMALLEST = """
vfos: {main: {port: /dev/vfo}}
bands: {own: {from: 7200k, to: 7250k}}
sweeps: {evening: {bands: [own]}}
"""
CONFIG = parse(SMALLEST, "smallest.yaml")
SWEEP = CONFIG.sweeps["evening"]
VFO = CONFIG.vfos["main"]
VISIT = 0.3 + 2.0
SWEEP_CHANNELS = range(7_200_000, 7_250_001, 5_000)


@asynccontextmanager
async def house(scenario: str = SCENARIO, *windows: Window) -> AsyncIterator[Shack]:
    assert "return" == VFO.afterwards
    async with shack(
        sweeps=[SWEEP],
        windows=windows,
        quiet=VFO.quiet,
        bands=CONFIG.bands,
        scenario=scenario,
        afterwards=Afterwards(),
        output_on=VFO.output == "on",
    ) as it:
        yield it


def observed(it: Shack) -> list[e.ChannelObserved]:
    return [ev for ev in it.of(e.ChannelObserved) if isinstance(ev, e.ChannelObserved)]


async def test_settle_dwell_and_readings() -> None:
    """0.3 s and 2 s a visit with an envelope detector, with 8 readings in it."""
    async with house("box: {output: true}") as it:
        await it.ask(r.StartSweep(sweep="evening"))
        began = it.clock.wall()
        await it.until(e.PassCompleted, times=2, limit=60)
        times = [s.time for s in it.seen if isinstance(s.event, e.ChannelObserved)]
        assert [b - a for a, b in itertools.pairwise(times)] == pytest.approx(
            [VISIT] * (len(times) - 1), abs=0.02
        )
        # The last of 8 readings lies half of an eighth before the end of its dwell.
        assert times[0] - began == pytest.approx(0.3 + 2 - 0.125, abs=0.02)
        assert {8} == {visit.readings for visit in observed(it)}


@pytest.mark.parametrize(
    ("detector", "settle"),
    [(Detector.ENVELOPE, 0.3), (Detector.PRODUCT, 1.0), (Detector.DIRECT, 1.0)],
)
def test_settle_by_detector_and_doubled_after_a_change_of_range(
    detector: Detector, settle: float
) -> None:
    """Fast with an envelope detector; a second where gain control or audio takes part."""
    intermediate = 0 if detector is Detector.DIRECT else 455_000
    one = replace(RECEIVER.ranges[0], detector=detector, intermediate_frequency=intermediate)
    two = Receiver(ranges=(replace(one, high=7_225_000), replace(one, low=7_225_000)))
    settles = [visit.settle for visit in plan_sweep(SWEEP, two)]
    assert [2 * settle, *[settle] * 4, 2 * settle, *[settle] * 5] == settles


async def test_margin() -> None:
    """Active from 6 dB above the floor, and then down to 3 dB."""
    async with house() as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted, limit=100)
        detector = it.keeper.repertoire.detectors["evening"]
        floor = detector.judge("own", 7_200_000, -100.0, it.clock.wall(), learn=False).floor
        assert floor is not None
        above = [5.9, 6.0, 3.1, 3.0, 2.9, 3.1]
        found = [
            detector.judge("own", 7_200_000, floor + a, it.clock.wall(), learn=False).active
            for a in above
        ]
        assert [False, True, True, True, False, False] == found


async def test_hold_is_limited_and_the_channel_rests() -> None:
    """A station that never stops: 30 s, three times in a row, then not again for ten minutes."""
    async with house() as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.HoldEnded, times=4, limit=1200)
        ended = [(s.time, s.event) for s in it.seen if isinstance(s.event, e.HoldEnded)]
        assert ["limit"] * 4 == [event.reason for _, event in ended]
        assert [event.seconds for _, event in ended] == pytest.approx([30] * 4, abs=0.6)
        gaps = [b - a for (a, _), (b, _) in itertools.pairwise(ended)]
        a_pass = len(SWEEP_CHANNELS) * VISIT
        assert gaps[:2] == pytest.approx([a_pass + 30] * 2, abs=2)
        assert 600 <= gaps[2] <= 600 + a_pass + 32


async def test_hold_ends_with_the_quiet() -> None:
    """Three seconds after the station has gone off the air the sweep goes on."""
    scenario = SCENARIO.replace("power: -60", 'power: -60, hours: ["11:00-12:01"]')
    async with house(scenario) as it:
        await it.wait(10)
        await it.ask(r.StartSweep(sweep="evening"))
        ended = await it.until(e.HoldEnded, limit=120)
        assert isinstance(ended, e.HoldEnded)
        assert "quiet" == ended.reason
        assert it.clock.wall() == pytest.approx(NOON + 60 + 3, abs=0.6)


async def test_quiet_time_after_a_hand_and_a_person() -> None:
    """Ten minutes after either, then the sweep goes on by itself."""
    async with house() as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved)
        for disturb in ("hand", "person"):
            if disturb == "hand":
                it.world.box.turn(2)
            else:
                await it.ask(r.Tune(frequency=7_300_000), SHELL)
            began = it.clock.monotonic()
            await it.until(e.SweepResumed, limit=700)
            assert it.clock.monotonic() - began == pytest.approx(600, abs=1)
            await it.wait(10)


async def test_quiet_time_also_holds_when_a_window_opens() -> None:
    """A hand at 12:57: the window of 13:00 opens, and its sweep moves the dial at 13:07."""
    async with house(SCENARIO, window("13:00", "14:00")) as it:
        await it.wait(57 * 60)
        it.world.box.turn(2)
        await it.until(e.KnobTurned, limit=1)
        where = it.dial
        await it.until(e.WindowOpened, limit=200)
        await it.until(e.SweepYielded, limit=1)
        await it.wait(400)
        assert where == it.dial
        assert [] == observed(it)
        await it.until(e.ChannelObserved, limit=30)
        assert it.clock.wall() == pytest.approx(NOON + 67 * 60, abs=5)


async def test_output_speaker_and_the_end_of_a_window() -> None:
    """On at the box's greeting and left on; muted while it sweeps; the dial returns."""
    async with house("box: {output: false}", window("12:10", "12:20")) as it:
        assert it.world.box.output
        await it.ask(r.Tune(frequency=7_333_000))
        it.desk.end_quiet()
        assert not it.world.box.muted
        await it.until(e.ChannelObserved, limit=700)
        assert [True] == [it.world.box.muted]
        await it.until(e.WindowClosed, limit=700)
        await it.wait(1)
        assert [False] == [it.world.box.muted]
        assert 7_333_000 == it.dial
        assert it.world.box.output


def test_raster() -> None:
    """5 kHz from 0 Hz with both edges; 9 kHz on long and medium wave, 10 kHz in Region 2."""
    assert list(SWEEP_CHANNELS) == [v.dial for v in plan_sweep(SWEEP, RECEIVER)]
    odd = Band(name="odd", low=7_201_000, high=7_211_000)
    assert [7_205_000, 7_210_000] == [c.dial for c in channels_in([odd])]
    rasters = {
        (region, name): band_named(name, bands_for(region)).raster
        for region, name in ((1, "lw"), (1, "mw"), (2, "mw"), (1, "49m"))
    }
    assert {(1, "lw"): 9_000, (1, "mw"): 9_000, (2, "mw"): 10_000, (1, "49m"): 5_000} == rasters


def test_a_chain_of_bands() -> None:
    """The border lies midway between neighbours, rounded down to the raster; counted once."""
    low = Band(name="low", low=7_200_000, high=7_300_000)
    high = Band(name="high", low=7_335_000, high=7_400_000)
    joined = chain((low, high))
    assert [(7_200_000, 7_315_000), (7_315_000, 7_400_000)] == [(b.low, b.high) for b in joined]
    dials = [c.dial for c in channels_in(joined)]
    assert list(range(7_200_000, 7_400_001, 5_000)) == dials


def test_a_night() -> None:
    """From local noon to the next, named by its first date; weekdays mean that date."""
    config = parse(
        SMALLEST + "windows:\n  - {sweep: evening, from: 22:00, until: 23:00, days: [wed]}\n"
        "  - {sweep: evening, from: 01:00, until: 02:00, days: [wed]}\n"
        "place: {zone: Europe/Berlin}\n",
        "f",
    )
    slots = resolve(config.windows, NOON, NOON + 2 * 86400).slots
    # 2026-11-25 is a Wednesday; one o'clock of its night is on Thursday's date.
    assert [("2026-11-25", 21), ("2026-11-25", 0)] == [
        (slot.night.isoformat(), int(slot.opens // 3600 % 24)) for slot in slots[:2]
    ]
