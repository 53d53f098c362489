"""Comparing with a carrier, against worked values computed independently in rational arithmetic.

The formulas are elementary: y = (f_c - a) / f_d - 1 for the upper sideband, (f_c + a) / f_d - 1
for the lower, f_d the frequency the receiver is tuned to, where all oscillators hang on the
crystal; the VFO's frequency instead of f_d where only the VFO does.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.radio.calibration import Beat, Sideband, crystal_error, tuned
from vfod.radio.carriers import CARRIERS, carriers_on
from vfod.radio.receiver import Crystal, Detector, Injection, Range

DIRECT = Range(low=100_000, high=30_000_000, detector=Detector.DIRECT, injection=Injection.LOW)


def beat(oscillator: Fraction | int, tone: Fraction | int, sideband: str = "upper") -> Beat:
    """A beat with the 10 MHz carrier."""
    return Beat(
        carrier=10_000_000,
        oscillator=Fraction(oscillator),
        tone=Fraction(tone),
        sideband=Sideband(sideband),
        deviation=0.1,
        limit=1e-8,
    )


@pytest.mark.parametrize(
    ("tuned_to", "sideband", "tone", "error", "crystal"),
    [
        (9_999_000, "upper", 1000, 0.0, 25_000_000.0),
        (9_999_000, "upper", 990, 1.000100e-6, 25_000_025.0025),
        (9_999_000, "upper", 1010, -1.000100e-6, 24_999_974.9975),
        (10_001_000, "lower", 1010, 9.999000e-7, 25_000_024.9975),
    ],
)
def test_worked_values(
    tuned_to: int, sideband: str, tone: int, error: float, crystal: float
) -> None:
    """The worked table of the tone method, with all oscillators on a 25 MHz crystal."""
    found = crystal_error(DIRECT, beat(tuned_to, tone, sideband), Crystal.ALL)
    assert error == pytest.approx(found.error, abs=5e-13)
    assert crystal == pytest.approx(25_000_000 * (1 + found.error), abs=1e-4)


def test_one_part_per_million() -> None:
    """1 ppm is 5, 10, 15 and 20 Hz at 5, 10, 15 and 20 MHz."""
    for megahertz in (5, 10, 15, 20):
        carrier = megahertz * 1_000_000
        zero = Beat(
            carrier=carrier,
            oscillator=Fraction(carrier - megahertz),
            tone=Fraction(0),
            sideband=Sideband.UPPER,
            deviation=1.0,
            limit=1e-8,
        )
        assert 1e-6 == pytest.approx(crystal_error(DIRECT, zero, Crystal.ALL).error, rel=1e-5)


@given(
    parts=st.integers(-100_000, 100_000),
    injection=st.sampled_from(Injection),
    ratio=st.sampled_from([Fraction(1), Fraction(4), Fraction(1, 2)]),
    pitch=st.integers(-3000, 3000),
    crystal=st.sampled_from(Crystal),
)
def test_the_error_put_in_comes_out(
    parts: int, injection: Injection, ratio: Fraction, pitch: int, crystal: Crystal
) -> None:
    """A superheterodyne with a crystal that errs by parts in 10^9 gives the tone that says so."""
    error = Fraction(parts, 10**9)
    receiver = Range(
        low=100_000,
        high=30_000_000,
        detector=Detector.PRODUCT,
        intermediate_frequency=455_000,
        injection=injection,
        ratio=ratio,
    )
    sign = 1 if injection is Injection.HIGH else -1
    oscillator = (10_000_000 + pitch + sign * 455_000) * ratio
    truly_mixed = oscillator / ratio * (1 + error)
    intermediate = 455_000 * (1 + error if crystal is Crystal.ALL else 1)
    truly_tuned = truly_mixed - sign * intermediate
    difference = 10_000_000 - truly_tuned
    found = crystal_error(
        receiver,
        beat(oscillator, abs(difference), "upper" if difference > 0 else "lower"),
        crystal,
    )
    assert float(error) == pytest.approx(found.error, abs=1e-15)


def test_both_sidebands_take_out_the_sound_card() -> None:
    """A sound card whose clock is off shifts both sidebands alike; the mean does not see it."""
    card = 1 + Fraction(200, 10**6)
    upper = crystal_error(DIRECT, beat(9_999_000, 1000 * card), Crystal.ALL).error
    lower = crystal_error(DIRECT, beat(10_001_000, 1000 * card, "lower"), Crystal.ALL).error
    assert abs(upper) > 1.9e-8
    assert abs(upper + lower) / 2 < 1e-11


def test_a_receiver_tuned_nowhere() -> None:
    """An oscillator below the intermediate frequency tunes nothing, and that is said."""
    receiver = Range(
        low=100_000, high=30_000_000, detector=Detector.PRODUCT, intermediate_frequency=455_000
    )
    assert Fraction(-55_000) == tuned(receiver, Fraction(400_000))
    with pytest.raises(UsageError, match="not tuned anywhere"):
        crystal_error(receiver, beat(400_000, 0), Crystal.VFO)


@pytest.mark.parametrize(
    ("station", "kilohertz"),
    [
        # Annex to ITU-R TF.768 (May 2014) and the operators' pages; docs/standards.md, section 3.
        ("WWV", [2500, 5000, 10_000, 15_000, 20_000]),
        ("WWVH", [2500, 5000, 10_000, 15_000]),
        ("CHU", [3330, 7850, 14_670]),
        ("BPM", [2500, 5000, 10_000, 15_000]),
        ("HLA", [5000]),
        ("RWM", [4996, 9996, 14_996]),
        ("MSF", [60]),
        ("DCF77", [77.5]),
        ("ALS162", [162]),
    ],
)
def test_carriers_of_each_station(station: str, kilohertz: list[float]) -> None:
    """As published; nothing else is compared with."""
    own = [carrier for carrier in CARRIERS if carrier.station == station]
    assert [khz * 1000 for khz in kilohertz] == [carrier.frequency for carrier in own]
    # Received by way of the ionosphere to nearly 1e-8 (brochure of NICT).
    assert all(1e-8 == carrier.limit for carrier in own if carrier.frequency > 1_600_000)


def test_carriers() -> None:
    """The published carriers, and the minutes of the one that pulses for most of the hour."""
    assert {"WWV", "WWVH", "BPM"} == {c.station for c in carriers_on(10_000_000)}
    (moscow,) = carriers_on(9_996_000)
    assert [0, 7, 30, 37] == [m for m in (0, 7, 8, 9, 29, 30, 37, 38) if moscow.plain_at(m)]
    (ottawa,) = carriers_on(7_850_000)
    assert all(ottawa.plain_at(minute) for minute in range(60))
    # 198 kHz closed on 27 June 2026, 7335 kHz moved on 1 January 2009, 75 kHz closed in 2011.
    assert set() == {c.frequency for c in CARRIERS} & {198_000, 7_335_000, 75_000}
