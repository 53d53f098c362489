"""What plagues a real receiver, each fault switched on alone on an otherwise ideal one."""

from math import exp
from statistics import stdev
from typing import Any

import pytest

from vfod.sim.air import Air
from vfod.sim.jump import SimClock
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import Floor, FloorBand, ReceiverSetup, Scenario, Station, parse
from vfod.sim.world import build

START = 1e9
FLOOR = Floor(bandwidth=5000, bands=(FloorBand(low=7_200_000, high=7_450_000, hours={0: -130.0}),))
STRONG = Station(name="A", frequency=7_300_000, power=-40.0)


def receiver(*stations: Station, **changes: Any) -> SimReceiver:
    """No noise but the air's, and a detector that averages so long that nothing trembles."""
    given = {"noise": -200, "jitter": 0, "time_constant": 1000, **changes}
    setup = ReceiverSetup.model_validate(given)
    return SimReceiver(Air(Scenario(floor=FLOOR, stations=stations)), setup, seed=3)


def tuned(frequency: int, *, injection: str = "high") -> float:
    return frequency + (455_000.0 if injection == "high" else -455_000.0)


@pytest.mark.parametrize(("release", "calm"), [(0.1, 0.4), (0.3, 1.2), (1.0, 3.9)])
def test_gain_comes_back_slowly(release: float, calm: float) -> None:
    """A step of 50 dB down is within 1 dB after ln 50 release constants: 0.4, 1.2 or 3.9 s.

    A tenth earlier it is not.
    """
    station = Station(name="A", frequency=7_300_000, power=-50.0)
    floor = Floor(bandwidth=5000, bands=(FloorBand(low=1, high=10**8, hours={0: -100.36}),))
    air = Air(Scenario(floor=floor, stations=(station,)))
    setup = ReceiverSetup.model_validate(
        {"noise": -200, "time_constant": 1000, "gain_control": {"release": release}}
    )
    it = SimReceiver(air, setup)
    quiet = it.shown(tuned(7_400_000), START)
    it.tune(None, tuned(7_300_000), START - 100)
    it.tune(tuned(7_300_000), tuned(7_400_000), START)
    assert 50.0 == pytest.approx(it.shown(tuned(7_400_000), START) - quiet, abs=0.3)
    assert abs(it.shown(tuned(7_400_000), START + calm + 0.02) - quiet) <= 1.0
    assert abs(it.shown(tuned(7_400_000), START + 0.9 * calm) - quiet) > 1.0


def test_gain_is_taken_away_at_once() -> None:
    """A step up follows the attack: after a tenth of a second nothing is left of it."""
    it = receiver(STRONG, gain_control={"attack": "10ms", "release": "1s"})
    it.tune(None, tuned(7_400_000), START - 100)
    it.tune(tuned(7_400_000), tuned(7_300_000), START)
    assert -40.0 - 90 * exp(-1) == pytest.approx(it.shown(tuned(7_300_000), START + 0.01), abs=1)
    assert -40.0 == pytest.approx(it.shown(tuned(7_300_000), START + 0.1), abs=0.1)


def test_a_strong_neighbour_leaks() -> None:
    """60 dB below itself up to 20 kHz away, which the skirts alone would hide; not beyond."""
    it = receiver(STRONG, leakage={"loss": "60dB", "reach": "20kHz"})
    for away in (10_000, 19_000):
        assert -100.0 == pytest.approx(it.shown(tuned(7_300_000 + away), START), abs=0.1), away
    assert -129.0 > it.shown(tuned(7_321_000), START)
    assert -60.0 == pytest.approx(it.shown(tuned(7_303_500), START), abs=0.1)
    assert -129.0 > receiver(STRONG).shown(tuned(7_310_000), START)


@pytest.mark.parametrize(("injection", "side"), [("high", 1), ("low", -1)])
def test_the_image_lies_on_the_other_side_of_the_oscillator(injection: str, side: int) -> None:
    """Twice the intermediate frequency away, beyond the oscillator (textbook)."""
    image = Station(name="B", frequency=7_300_000 + side * 910_000, power=-40.0)
    changes = {"injection": injection, "image_rejection": "50dB"}
    shown = receiver(image, **changes).shown(tuned(7_300_000, injection=injection), START)
    assert -90.0 == pytest.approx(shown, abs=0.1)
    del changes["image_rejection"]
    assert -129.0 > receiver(image, **changes).shown(tuned(7_300_000, injection=injection), START)


def test_it_hears_itself() -> None:
    """A signal of its own shows where it is, although nothing is at the antenna."""
    it = receiver(own_signals=[{"frequency": "7235kHz", "level": "-95dBm"}])
    assert -95.0 == pytest.approx(it.shown(tuned(7_235_000), START), abs=0.1)
    assert -129.0 > it.shown(tuned(7_250_000), START)


def test_the_detector_is_unsteady() -> None:
    """Readings scatter by what the detector adds, in decibels."""
    it = receiver(STRONG, unsteadiness="0.8dB")
    table = it.level_table()
    levels = [table.level(it.counts(tuned(7_300_000), START + k)).value for k in range(2000)]
    assert 0.8 == pytest.approx(stdev(levels), rel=0.06)


async def test_the_relay_clicks_when_the_filter_is_switched() -> None:
    """The box tells the receiver; the click is there at once and gone after some of its decays."""
    clock = SimClock(wall=START)
    scenario = parse(
        "box: {output: true}\n"
        "floor: {bands: [{from: 7100kHz, to: 7600kHz, hours: {0: -130}}]}\n"
        "receiver: {noise: -200, relay: {level: -50dBm, decay: 100ms}}"
    )
    world = build(scenario, clock=clock)
    await clock.sleep_until(clock.monotonic() + 10)
    now = clock.wall()
    shown = world.receiver.shown
    world.box.feed(b"select n=0\n")
    assert -129.0 > shown(tuned(7_300_000), now)
    world.box.feed(b"select n=3\n")
    assert -50.0 == pytest.approx(shown(tuned(7_300_000), now), abs=0.5)
    # Amplitude falls to 1/e in a decay, which is 8.7 dB.
    assert -93.4 == pytest.approx(shown(tuned(7_300_000), now + 0.5), abs=0.5)
    assert -125.0 > shown(tuned(7_300_000), now + 1.0)
    world.box.close()
