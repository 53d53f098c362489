"""Which carriers are likely now; by the rules of common practice in docs/standards.md, section 12.

The minutes in which a station is plain are those of section 3 there.
"""

import datetime as dt

import pytest

from vfod.radio.carriers import CARRIERS, carriers_on
from vfod.radio.guide import Light, candidates, light, light_by_the_clock, wait_for
from vfod.radio.receiver import Detector, Range, Receiver

ALL = Receiver(ranges=(Range(low=50_000, high=30_000_000, detector=Detector.DIRECT),))


def at(hour: int, minute: int, second: int = 0) -> float:
    """A time of 2026-11-25, UTC."""
    return dt.datetime(2026, 11, 25, hour, minute, second, tzinfo=dt.UTC).timestamp()


def likely(sky: Light) -> set[int]:
    """The likely ones, in whole megahertz."""
    found = candidates(at(12, 0), sky, ALL)
    return {one.frequency // 1_000_000 for one in found if one.likely}


def test_by_day_and_by_night() -> None:
    """The border lies near 10 MHz, which is good at all hours; long wave is heard always."""
    assert {0, 9, 10, 14, 15, 20} == likely(Light.DAY)
    assert {0, 2, 3, 4, 5, 7, 9, 10} == likely(Light.NIGHT)
    assert {0, 4, 5, 7, 9, 10, 14, 15} == likely(Light.TWILIGHT)


@pytest.mark.parametrize(
    ("when", "wait"),
    [((12, 0), 0), ((12, 7, 59), 0), ((12, 8), 22 * 60), ((12, 29, 30), 30), ((12, 38), 22 * 60)],
)
def test_when_a_carrier_is_plain(when: tuple[int, ...], wait: float) -> None:
    """RWM: minutes 0 to 7 and 30 to 37; else how long it takes."""
    (carrier,) = carriers_on(9_996_000)
    assert wait == wait_for(carrier, at(*when))


def test_the_order() -> None:
    """Likely ones first, of them those that need no waiting, of these the highest."""
    found = candidates(at(12, 15), Light.DAY, ALL)
    order = [(not one.likely, one.wait > 0, -one.frequency) for one in found]
    assert sorted(order) == order
    assert 20_000_000 == found[0].frequency
    assert "WWV (Colorado)" == found[0].names


def test_only_what_the_receiver_reaches() -> None:
    """Nobody is sent to where nothing can be heard."""
    receiver = Receiver(ranges=(Range(low=4_000_000, high=9_999_000, detector=Detector.DIRECT),))
    found = {one.frequency for one in candidates(at(12, 0), Light.NIGHT, receiver)}
    assert {4_996_000, 5_000_000, 7_850_000, 9_996_000} == found
    everything = {one.frequency for one in candidates(at(12, 0), Light.NIGHT, ALL)}
    assert {one.frequency for one in CARRIERS} == everything


def test_the_sky() -> None:
    """The horizon is at -0.833 degrees, twilight ends at -12 (docs/standards.md, section 5)."""
    by = [light(degrees) for degrees in (20.0, -0.8, -0.9, -11.9, -12.1)]
    assert [Light.DAY, Light.DAY, Light.TWILIGHT, Light.TWILIGHT, Light.NIGHT] == by
    clock = [light_by_the_clock(hour) for hour in (3, 6, 12, 17, 18)]
    assert [Light.NIGHT, Light.TWILIGHT, Light.DAY, Light.TWILIGHT, Light.NIGHT] == clock
