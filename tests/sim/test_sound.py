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


#: A gain control, a leaking filter, an image, a signal of its own and a relay.
LIFELIKE = """
box: {output: true, settle: 0s}
receiver:
  intermediate_frequency: 455kHz
  leakage: {loss: 60dB, reach: 20kHz}
  image_rejection: 40dB
  gain_control: {attack: 10ms, release: 1s}
  own_signals: [{frequency: 7255kHz, level: -80}]
  relay: {level: -60, decay: 100ms}
floor: {bands: [{from: 7100kHz, to: 8600kHz, hours: {0: -110}}]}
stations:
  - {name: Radio Brackwater, frequency: 7210kHz, power: -60}
  - {name: Radio Aldermark, frequency: 8200kHz, power: -50}
"""
MIXED = 455_000


def lifelike(detector: Detector, text: str = LIFELIKE) -> tuple[SimClock, World, SimSound]:
    clock = SimClock(NOON)
    world = build(parse(text), clock=clock, seed=1)
    return clock, world, SimSound(world.receiver, clock, detector=lambda _: detector, delay=0.0)


def level_between(sound: SimSound, since: float, until: float) -> float:
    return level_of(sound.part(since, until))


@pytest.mark.parametrize(("release", "within"), [(0.1, 0.4), (0.3, 1.2), (1.0, 3.9)])
async def test_gain_comes_back_slowly(release: float, within: float) -> None:
    """A step of 50 dB down is within 1 dB after ln 50 time constants, and was not before."""
    text = LIFELIKE.replace("release: 1s", f"release: {release}s").replace("reach: 20", "reach: 2")
    clock, world, sound = lifelike(Detector.ENVELOPE, text)
    await tuned(clock, world, EMPTY + MIXED, 30.0)
    usual = level_between(sound, clock.monotonic() - 1.0, clock.monotonic())
    await tuned(clock, world, STATION + MIXED, 2.0)
    left = clock.monotonic()
    await tuned(clock, world, EMPTY + MIXED, 30.0)
    moved = [level_between(sound, left + t, left + t + 0.05) for t in (0.3 * within, within)]
    assert usual - moved[0] > 5
    assert 1.0 == pytest.approx(usual - moved[1], abs=0.6)
    world.box.close()


async def test_gain_is_taken_at_once() -> None:
    """A station bursts in at full scale and is as loud as any after five attacks."""
    clock, world, sound = lifelike(Detector.PRODUCT)
    await tuned(clock, world, EMPTY + MIXED, 30.0)
    came = clock.monotonic()
    await tuned(clock, world, STATION + MIXED - 1000, 1.0)
    assert 32_767 == max(sound.part(came, came + 0.02))
    later = level_between(sound, came + 0.1, came + 0.2)
    assert later == pytest.approx(level_between(sound, came + 0.8, came + 1.0), abs=0.5)
    world.box.close()


def peak(samples: object) -> float:
    """The frequency of the strongest line, by a transform that is not ours."""
    heard = np.array(samples)
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    return float(np.argmax(spectrum)) * RATE / len(heard)


@pytest.mark.parametrize(
    ("dial", "tone"),
    [
        # 700 Hz below the carrier; the image of 8200 kHz, 910 kHz above and 300 Hz off; its own.
        (7_209_300, 700),
        (7_290_300, 300),
        (7_254_500, 500),
    ],
)
async def test_image_and_own_signals_are_tones_too(dial: int, tone: int) -> None:
    """Each is heard as far from the carrier as it is by arithmetic of the mixer."""
    clock, world, sound = lifelike(Detector.PRODUCT)
    await tuned(clock, world, dial + MIXED, 20.0)
    now = clock.monotonic()
    assert tone == pytest.approx(peak(sound.part(now - 1.0, now)), abs=2)
    world.box.close()


async def test_a_neighbour_leaks_into_the_gain_and_not_into_the_tones() -> None:
    """15 kHz from a station 60 dB down by leakage: the noise drops, and no line is left."""
    strong = LIFELIKE.replace("power: -60", "power: -40")
    clock, world, sound = lifelike(Detector.PRODUCT, strong)
    await tuned(clock, world, STATION + 15_000 + MIXED, 20.0)
    beside = sound.part(clock.monotonic() - 1.0, clock.monotonic())
    await tuned(clock, world, STATION + 30_000 + MIXED, 20.0)
    away = sound.part(clock.monotonic() - 1.0, clock.monotonic())
    # -100 dBm over -110 in 5 kHz and its skirts: noise and it together, over the noise alone.
    noise = 10 ** (-11.0) * 5434 / 5000
    drop = 10 * np.log10((noise + 1e-10) / noise)
    assert drop == pytest.approx(noise_of(away) - noise_of(beside), abs=0.4)
    assert 12 > (line(beside) or 0.0)
    world.box.close()


async def test_a_relay_takes_the_gain_away() -> None:
    """After its thump of -60 dBm over noise at -110 gain comes back as after such a station."""
    clock, world, sound = lifelike(Detector.ENVELOPE)
    await tuned(clock, world, EMPTY + MIXED, 30.0)
    usual = level_between(sound, clock.monotonic() - 1.0, clock.monotonic())
    moved = clock.monotonic()
    world.receiver.switch(clock.wall())
    await tuned(clock, world, EMPTY + 5000 + MIXED, 10.0)
    for after, down in ((1.0, 50 * np.exp(-1.0)), (3.0, 50 * np.exp(-3.0))):
        heard = level_between(sound, moved + after - 0.02, moved + after + 0.02)
        assert down == pytest.approx(usual - heard, abs=1.0)
    world.box.close()
