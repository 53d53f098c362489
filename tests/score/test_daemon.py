"""The fast walk of the score judges as the daemon does: the same sweep by both, visit by visit."""

import json

import pytest

from tests.run.shack import NOON, SCENARIO, shack
from tests.run.test_hearing import Hung
from tests.score.receivers import (
    CHANNELS,
    CONTROLLED,
    LIFELIKE,
    NIGHT,
    RELAY,
    VISIT,
    Kind,
    kinds,
    sounds,
)
from tests.score.walk import walk
from vfod import events as e
from vfod import requests as r
from vfod.radio.receiver import Detector
from vfod.sim.air import Air
from vfod.sim.scenario import parse
from vfod.survey.occupancy import Share, Visit, occupancy

#: Two hours, a quarter of a scored night.
STRETCH = NIGHT / 4

#: A silent band but for a steady, two slow, a fast and a regular station.
STATIONS = """
  - {name: Radio Aldermark, frequency: 7205kHz, power: -75}
  - {name: Radio Brackwater, frequency: 7220kHz, power: -80,
     cycle: {on: 20m, off: 30m, irregular: true}}
  - {name: Radio Cormorant, frequency: 7240kHz, power: -65,
     cycle: {on: 25m, off: 15m, irregular: true}}
  - {name: Radio Dunmoor, frequency: 7265kHz, power: -85,
     cycle: {on: 2m, off: 3m, irregular: true}}
  - {name: Radio Elverholt, frequency: 7300kHz, power: -70, cycle: {on: 5m, off: 8m}}
"""


async def test_the_daemon_judges_the_same() -> None:
    """Every visit but those on which a station came or went within a dwell, and equal shares."""
    kind = kinds()[0]
    scenario = SCENARIO.split("stations:")[0] + "stations:" + STATIONS
    sweep = kind.plan().sweep
    async with shack(sweeps=[sweep], scenario=scenario, receiver=kind.receiver) as it:
        began = it.clock.wall()
        await it.ask(r.StartSweep(sweep="score"))
        await it.until(e.PassCompleted, times=int(STRETCH / VISIT / len(CHANNELS)), limit=NIGHT)
        seen = [(s.time, s.event) for s in it.seen if isinstance(s.event, e.ChannelObserved)]
    assert NOON <= began < NOON + 10
    end = seen[-1][0] + 1
    walked = list(walk(kind, Air(parse(scenario), 1), began, end, seed=1))
    assert len(seen) == pytest.approx(len(walked), abs=1)
    pairs = list(zip((event for _, event in seen), walked, strict=False))
    assert all(event.dial == visit.dial for event, visit in pairs)
    differing = sum(event.active != visit.active for event, visit in pairs)
    assert differing <= 0.003 * len(pairs)
    levels = sorted(
        abs(event.level - visit.level) for event, visit in pairs if event.level is not None
    )
    assert 0.3 > levels[int(0.95 * len(levels))]
    for dial in CHANNELS:
        daemon = occupancy(
            [Visit(time, event.active) for time, event in seen if event.dial == dial], began, end
        )
        fast = occupancy(
            [Visit(visit.time, visit.active) for visit in walked if visit.dial == dial], began, end
        )
        assert isinstance(daemon.tonight, Share)
        assert isinstance(fast.tonight, Share)
        assert daemon.tonight.value == pytest.approx(fast.tonight.value, abs=1.5 / fast.judged)


@pytest.mark.parametrize("kind", [sounds()[0], sounds()[2]], ids=lambda kind: kind.name)
async def test_the_daemon_hears_the_same(kind: Kind) -> None:
    """Sound, late, behind a gain control and a relay: its levels and what is made of them."""
    setup = json.dumps({**LIFELIKE, **CONTROLLED, **RELAY})
    scenario = f"{SCENARIO.split('stations:')[0]}receiver: {setup}\nstations: {STATIONS}"
    hung, sweep = Hung(), kind.plan().sweep
    async with shack(
        sweeps=[sweep], scenario=scenario, source=kind.source, sound=hung, receiver=kind.receiver
    ) as it:
        hung.hang(it, kind.detector, kind.delay, mute_silences=False)
        began = it.clock.wall()
        await it.ask(r.StartSweep(sweep="score"))
        await it.until(e.PassCompleted, times=3)
        seen = [s.event for s in it.seen if isinstance(s.event, e.ChannelObserved)]
        assert any(isinstance(s.event, e.FilterSelected) for s in it.seen)
    walked = list(walk(kind, Air(parse(scenario), 1), began, it.clock.wall() + 1.0, seed=1))
    pairs = list(zip(seen, walked, strict=False))
    assert 3 * len(CHANNELS) == len(pairs)
    assert all(event.dial == visit.dial for event, visit in pairs)
    assert 2 >= sum(event.active != visit.active for event, visit in pairs)
    assert {True, False} <= {event.active for event in seen}
    levels = sorted(
        abs(event.level - visit.level) for event, visit in pairs if event.level is not None
    )
    # Noise is another where a sample begins elsewhere: by a third of a decibel, of a line by two.
    assert (3.0 if kind.detector is Detector.PRODUCT else 0.6) > levels[int(0.9 * len(levels))]
