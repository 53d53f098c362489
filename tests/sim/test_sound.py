"""The sound of the simulated receiver: late, quieted, a tone; on the jumping clock."""

from math import pi, sin

import numpy as np
import pytest

from vfod.radio.receiver import Detector
from vfod.sim.jump import SimClock
from vfod.sim.scenario import parse
from vfod.sim.sound import SimSound
from vfod.sim.world import World, build
from vfod.survey.sound import RATE, level_of, line, noise_of

NOON = 1_795_608_000.0
STATION, EMPTY = 7_210_000, 7_230_000

SCENARIO = """
box: {output: true, settle: 0s}
receiver: {intermediate_frequency: 0Hz}
floor: {bands: [{from: 7100kHz, to: 7600kHz, hours: {0: -110}}]}
stations:
  - {name: Radio Brackwater, frequency: 7210kHz, power: -60}
"""


def made(detector: Detector, delay: float = 0.2) -> tuple[SimClock, World, SimSound]:
    clock = SimClock(NOON)
    world = build(parse(SCENARIO), clock=clock, seed=1)
    sound = SimSound(world.receiver, clock, detector=lambda _: detector, delay=delay)
    return clock, world, sound


async def tuned(clock: SimClock, world: World, hertz: int, seconds: float = 1.0) -> None:
    before = world.receiver.past[-1].oscillator
    world.receiver.tune(before, float(hertz), clock.wall())
    await clock.sleep_until(clock.monotonic() + seconds)


async def test_a_carrier_is_the_tone_of_its_distance() -> None:
    """1 kHz beside a direct receiver's oscillator is 1 kHz by a transform that is not ours."""
    clock, world, sound = made(Detector.DIRECT)
    await tuned(clock, world, STATION - 1000)
    now = clock.monotonic()
    samples = np.array(sound.part(now - 0.512, now))
    peak = np.argmax(np.abs(np.fft.rfft(samples * np.hanning(len(samples)))))
    assert 1000 == pytest.approx(peak * RATE / len(samples), abs=2)
    world.box.close()


async def test_it_is_late_by_the_delay() -> None:
    """What was tuned away from is heard for the delay, to the sample."""
    clock, world, sound = made(Detector.DIRECT, delay=0.2)
    await tuned(clock, world, STATION - 1000, 2.0)
    moved = clock.monotonic()
    await tuned(clock, world, EMPTY, 1.0)
    before = sound.part(moved + 0.1, moved + 0.2)
    after = sound.part(moved + 0.2, moved + 0.3)
    assert 800 == len(before) == len(after)
    station, empty = line(before), line(after)
    assert station is not None
    assert empty is not None
    assert station > 30 > 20 > empty
    world.box.close()


async def test_a_carrier_quietens_behind_an_envelope_detector() -> None:
    """With a gain control the noise drops by what the whole would have risen."""
    clock, world, sound = made(Detector.ENVELOPE)
    await tuned(clock, world, EMPTY)
    noise = noise_of(sound.part(clock.monotonic() - 0.5, clock.monotonic()))
    await tuned(clock, world, STATION)
    quiet = noise_of(sound.part(clock.monotonic() - 0.5, clock.monotonic()))
    # -60 dBm over -110 dBm in the noise bandwidth of 5 kHz and its skirts, by the scenario.
    assert noise - quiet > 20
    world.box.close()


async def test_the_mute_silences_it() -> None:
    """Behind the mute there is nothing at all."""
    clock, world, sound = made(Detector.DIRECT)
    await tuned(clock, world, EMPTY)
    world.receiver.mute(True, clock.wall())
    await clock.sleep_until(clock.monotonic() + 1.0)
    now = clock.monotonic()
    assert {0} == set(sound.part(now - 0.5, now))
    assert {0} != set(sound.part(now - 1.0, now - 0.85))
    world.box.close()


def test_a_level_is_over_a_full_scale_sine() -> None:
    """A sine at a tenth of full scale is at -20 dB: AES17's definition, 0 dB FS a full sine."""
    from array import array

    samples = array("h", [round(3276.7 * sin(2 * pi * 440 * n / RATE)) for n in range(RATE)])
    assert -20.0 == pytest.approx(level_of(samples), abs=0.01)
