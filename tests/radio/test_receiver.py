"""Dial and oscillator: worked by hand, against an independent formula, and both ways."""

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from vfod.errors import OutOfRangeError, UsageError
from vfod.radio.receiver import Crystal, Detector, Injection, Range, Receiver, complaints

ENVELOPE, PRODUCT, DIRECT = Detector.ENVELOPE, Detector.PRODUCT, Detector.DIRECT
HIGH, LOW = Injection.HIGH, Injection.LOW


def single(detector: Detector, low: int = 100_000, high: int = 30_000_000, **more: object) -> Range:
    return Range(low=low, high=high, detector=detector, **more)  # type: ignore[arg-type]  # by name


#: A superheterodyne with two ranges, as a person would write it.
TWO = (
    single(ENVELOPE, 2_000_000, 10_000_000, intermediate_frequency=455_000, select=1),
    single(
        PRODUCT,
        10_000_000,
        30_000_000,
        intermediate_frequency=9_000_000,
        injection=LOW,
        ratio=Fraction(4),
        select=2,
    ),
)


@pytest.mark.parametrize(
    ("item", "dial", "oscillator"),
    [
        # envelope, high injection: 9 420 + 455 kHz
        (single(ENVELOPE, intermediate_frequency=455_000), 9_420_000, 9_875_000),
        # low injection below and above the intermediate frequency: 9 000 - 7 200, 14 100 - 9 000
        (single(ENVELOPE, intermediate_frequency=9_000_000, injection=LOW), 7_200_000, 1_800_000),
        (single(ENVELOPE, intermediate_frequency=9_000_000, injection=LOW), 14_100_000, 5_100_000),
        # direct: 1 kHz below the carrier, so that it is a tone of 1 kHz
        (single(DIRECT), 10_000_000, 9_999_000),
        (single(DIRECT, offset=0), 10_000_000, 10_000_000),
        # product with its default offset: 10 000 - 1 + 455 kHz
        (single(PRODUCT, intermediate_frequency=455_000), 10_000_000, 10_454_000),
        # four times the mixer, and half of it
        (single(DIRECT, offset=0, ratio=Fraction(4)), 7_055_000, 28_220_000),
        (single(DIRECT, offset=0, ratio=Fraction(1, 2)), 7_055_001, Fraction(7_055_001, 2)),
    ],
)
def test_the_law_by_hand(item: Range, dial: int, oscillator: Fraction) -> None:
    """Sums done by hand for each kind of range (no outside source: this is arithmetic)."""
    receiver = Receiver(ranges=(item,))
    assert oscillator == receiver.oscillator_for(dial)
    assert dial == receiver.dial_for(receiver.millihertz_for(dial), near=dial)


@pytest.mark.parametrize(
    ("carrier", "tone", "y_ppm"),
    [(10_000_000, 990, 1.000100), (10_000_000, 1010, -1.000100), (10_000_000, 1000, 0.0)],
)
def test_the_correction_brings_a_carrier_back_to_its_tone(
    carrier: int, tone: int, y_ppm: float
) -> None:
    """Audio-tone method (docs/standards.md, section 7): dial 9 999 000, carrier 10 000 000 Hz.

    Uncorrected, the tone heard is `tone`; with the y of the table the tone is 1000 Hz again.
    """
    plain = Receiver(ranges=(single(DIRECT),))
    really = float(plain.oscillator_for(carrier)) * (1 + y_ppm * 1e-6)
    assert pytest.approx(tone, abs=1e-3) == carrier - really
    corrected = replace(plain, correction=Fraction(str(y_ppm)))
    really = float(corrected.oscillator_for(carrier)) * (1 + y_ppm * 1e-6)
    assert pytest.approx(1000, abs=1e-6) == carrier - really


def test_default_offsets_and_settle_times() -> None:
    """No offset and 0.3 s with an envelope detector; -1 kHz and 1 s where a carrier is a tone."""
    assert [(0, 0.3), (-1000, 1.0), (-1000, 1.0)] == [
        (item.pitch, item.settling) for item in (single(d) for d in Detector)
    ]
    assert (7, 2.5) == ((own := single(DIRECT, offset=7, settle=2.5)).pitch, own.settling)


def test_where_ranges_meet_the_upper_one_begins() -> None:
    """10 000 kHz exactly belongs to the upper of the two; the outermost edges belong to theirs."""
    receiver = Receiver(ranges=TWO[::-1])
    assert [1, 1, 2, 2] == [
        receiver.range_at(dial).select for dial in (2_000_000, 9_999_999, 10_000_000, 30_000_000)
    ]


@pytest.mark.parametrize("dial", [1_999_999, 30_000_001])
def test_outside_the_tuning_range_is_refused_with_its_ends(dial: int) -> None:
    with pytest.raises(OutOfRangeError, match=r"2000 kHz to 30000 kHz"):
        Receiver(ranges=TWO).oscillator_for(dial)


def test_an_oscillator_of_nothing_is_refused() -> None:
    """Low injection at dial = intermediate frequency needs 0 Hz, which no VFO makes."""
    receiver = Receiver(ranges=(single(ENVELOPE, intermediate_frequency=9_000_000, injection=LOW),))
    with pytest.raises(
        OutOfRangeError, match=r"0 Hz; the dial reaches 100 kHz to 8999\.999 kHz and 9000\.001 kHz"
    ):
        receiver.oscillator_for(9_000_000)
    assert receiver.oscillator_for(9_000_001) == 1


def test_the_vfo_s_limits_are_told_as_dial_frequencies() -> None:
    """A VFO of 5 to 10 MHz behind 455 kHz, high injection, reaches 4 545 to 9 545 kHz."""
    receiver = Receiver(ranges=(single(ENVELOPE, intermediate_frequency=455_000),)).limited(
        5_000_000_000, 10_000_000_000
    )
    assert ((4_545_000, 9_545_000),) == receiver.reachable()
    with pytest.raises(OutOfRangeError, match=r"10055 kHz.*reaches 4545 kHz to 9545 kHz"):
        receiver.oscillator_for(9_600_000)
    assert receiver.oscillator_for(9_545_000) == 10_000_000


def test_limits_narrow_each_other() -> None:
    """What the configuration and the greeting say holds together."""
    receiver = Receiver(ranges=TWO).limited(1_000, 9_000).limited(2_000, 10_000)
    assert (2_000, 9_000) == receiver.limits


def test_a_knob_event_that_fits_two_ranges_stays_in_the_range_of_the_dial() -> None:
    """Oscillator 10 MHz is dial 1 MHz below (high injection) or dial 19 MHz (low injection)."""
    both = (
        single(ENVELOPE, 100_000, 10_000_000, intermediate_frequency=9_000_000),
        single(ENVELOPE, 10_000_000, 30_000_000, intermediate_frequency=9_000_000, injection=LOW),
    )
    receiver = Receiver(ranges=both)
    assert [1_000_000, 1_000_000, 19_000_000] == [
        receiver.dial_for(10_000_000_000, near=near) for near in (None, 9_999_999, 10_000_000)
    ]
    with pytest.raises(OutOfRangeError, match="no dial frequency"):
        receiver.dial_for(50_000_000_000)


# --- ranges that do not fit ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ranges", "index", "complaint"),
    [
        ([], 0, "at least one"),
        ([TWO[0], replace(TWO[1], low=11_000_000)], 1, "gap from 10000 kHz to 11000 kHz"),
        ([replace(TWO[1], low=11_000_000), TWO[0]], 0, "gap from 10000 kHz to 11000 kHz"),
        ([TWO[0], replace(TWO[1], low=9_000_000)], 1, "from 9000 kHz to 10000 kHz"),
        ([replace(TWO[0], high=1_000_000)], 0, "lower end first"),
        ([replace(TWO[0], ratio=Fraction(0))], 0, "ratio 0"),
        ([replace(TWO[0], select=16)], 0, "select 16 is not one of 0 to 15"),
        ([replace(TWO[0], detector=DIRECT)], 0, "no intermediate frequency"),
        ([replace(TWO[0], intermediate_frequency=0)], 0, "needs an intermediate frequency"),
        ([replace(TWO[0], settle=float("nan"))], 0, "settle"),
    ],
)
def test_ranges_that_do_not_fit_name_the_place(
    ranges: list[Range], index: int, complaint: str
) -> None:
    """Each fault names the range as listed and what to change; a Receiver refuses it."""
    found = complaints(ranges)
    assert [index] == [place for place, text in found if complaint in text], found
    with pytest.raises(UsageError, match=f"range {index + 1}: "):
        Receiver(ranges=tuple(ranges))


def test_a_range_inside_another_is_an_overlap_and_makes_no_false_gap() -> None:
    ranges = [
        single(DIRECT, 1_000_000, 10_000_000),
        single(DIRECT, 2_000_000, 3_000_000),
        single(DIRECT, 10_000_000, 20_000_000),
    ]
    found = complaints(ranges)
    assert [1] == [index for index, _ in found]
    assert "from 2000 kHz to 3000 kHz" in found[0][1]


def test_all_faults_come_at_once() -> None:
    """The listener mends the file once, not once for each fault."""
    wrong = [replace(TWO[0], select=16, ratio=Fraction(-1)), replace(TWO[1], low=11_000_000)]
    assert [0, 0, 1] == [index for index, _ in complaints(wrong)]


# --- properties ----------------------------------------------------------------------------------

ranges_drawn = st.builds(
    Range,
    low=st.just(50_000),
    high=st.just(60_000_000),
    detector=st.sampled_from([ENVELOPE, PRODUCT]),
    intermediate_frequency=st.integers(1, 70_000_000),
    injection=st.sampled_from(Injection),
    ratio=st.fractions(Fraction(1, 8), Fraction(8), max_denominator=8),
    offset=st.none() | st.integers(-5_000, 5_000),
)
corrections = st.fractions(-100, 100, max_denominator=1000)
dials = st.integers(50_000, 60_000_000)


@settings(deadline=None, max_examples=500)
@given(ranges_drawn, corrections, dials)
def test_the_law_against_an_independent_formula(item: Range, y: Fraction, dial: int) -> None:
    """The same frequencies worked out the other way round: mixer first, image checked.

    A mixer whose oscillator is f turns the frequency tuned to into the intermediate frequency, as
    sum or difference; the crystal's error makes what leaves the box (1 + y) times what was asked.
    """
    receiver = Receiver(ranges=(item,), correction=y)
    try:
        asked = receiver.oscillator_for(dial)
    except OutOfRangeError:
        # Only nothing at all is refused here: low injection at the intermediate frequency.
        assert item.injection is LOW
        assert dial + item.pitch == item.intermediate_frequency
        return
    mixer = asked * (10**6 + y) / 10**6 / item.ratio
    tuned = dial + item.pitch
    assert item.intermediate_frequency in (mixer + tuned, mixer - tuned, tuned - mixer)
    if item.injection is HIGH and tuned > 0:
        assert mixer > tuned
    if item.injection is LOW and tuned > item.intermediate_frequency:
        assert mixer < tuned


@settings(deadline=None, max_examples=500)
@given(ranges_drawn, corrections, dials)
def test_there_and_back_is_the_same_dial(item: Range, y: Fraction, dial: int) -> None:
    """From the dial to the wire's millihertz and back, for every range and crystal."""
    receiver = Receiver(ranges=(item,), correction=y)
    try:
        millihertz = receiver.millihertz_for(dial)
    except OutOfRangeError:
        return
    assert abs(millihertz - receiver.oscillator_for(dial) * 1000) <= Fraction(1, 2)
    assert dial == receiver.dial_for(millihertz, near=dial)


@settings(deadline=None, max_examples=300)
@given(
    ranges_drawn,
    st.integers(50_001, 59_999_999),
    ranges_drawn,
    corrections,
    st.tuples(st.integers(1, 10**11), st.integers(1, 10**11)),
    st.data(),
)
def test_reachable_says_exactly_what_can_be_tuned(
    first: Range,
    border: int,
    second: Range,
    y: Fraction,
    limits: tuple[int, int],
    data: st.DataObject,
) -> None:
    """A dial frequency is in `reachable` if and only if the law accepts it, ends included."""
    assume(limits[0] < limits[1])
    receiver = Receiver(
        ranges=(replace(first, high=border), replace(second, low=border)),
        correction=y,
        limits=limits,
    )
    parts = receiver.reachable()
    ends = [dial for low, high in parts for dial in (low - 1, low, high, high + 1)]
    dial = data.draw(st.sampled_from([*ends, border - 1, border, border + 1]) | dials)
    try:
        receiver.oscillator_for(dial)
        accepted = True
    except OutOfRangeError:
        accepted = False
    assert accepted == any(low <= dial <= high for low, high in parts)
    for (_, high), (low, _) in itertools.pairwise(parts):
        assert high + 1 < low


@given(
    ppm=st.integers(-200, 200),
    dial=st.integers(200_000, 29_999_000),
    injection=st.sampled_from(Injection),
)
def test_all_oscillators_on_one_crystal(ppm: int, dial: int, injection: Injection) -> None:
    """All frequencies of such a receiver are off by the same part: it is tuned so much lower.

    The frequency it nominally receives, times 1 + y, is the one that was wanted: the formula of
    the tone method (tests/radio/test_calibration.py) turned round.
    """
    part = Range(
        low=100_000,
        high=30_000_000,
        detector=Detector.PRODUCT,
        intermediate_frequency=9_000_000 if injection is Injection.HIGH else 100_000,
        injection=injection,
    )
    it = Receiver(ranges=(part,), correction=Fraction(ppm), crystal=Crystal.ALL)
    oscillator = it.oscillator_for(dial)
    nominal = oscillator - part.mixed
    assert dial + part.pitch == nominal * (1 + Fraction(ppm, 1_000_000))
    assert dial == it.dial_for(it.millihertz_for(dial), near=dial)
    low, high = it.limited(it.millihertz_for(dial), 10**12).reachable()[0]
    assert abs(low - dial) <= 1
    assert high == 30_000_000
