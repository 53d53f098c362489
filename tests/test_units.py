"""Quantities as text: what is read, what is refused and how it is printed."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod import units
from vfod.errors import QuantityError


@pytest.mark.parametrize(
    ("text", "hertz"),
    [
        ("9420", 9_420_000),
        ("9420k", 9_420_000),
        ("9420kHz", 9_420_000),
        ("9420 kHz", 9_420_000),
        ("9.42M", 9_420_000),
        ("9.420000MHz", 9_420_000),
        ("9420000Hz", 9_420_000),
        ("9_420_000Hz", 9_420_000),
        ("7200.5k", 7_200_500),
        ("0.001", 1),
        (".5k", 500),
        ("77.5", 77_500),
        ("9420.0000000", 9_420_000),
    ],
)
def test_a_frequency_is_read_exactly(text: str, hertz: int) -> None:
    """A bare number is kilohertz; other units are written; not a hertz is lost."""
    assert hertz == units.parse_frequency(text)


@pytest.mark.parametrize(
    "text",
    ["", " ", "9.4.2M", "nan", "inf", "1e6", "-9420", "+9420", "0", "9,42M", "9420m", "9420mhz",
     "9420.0005", "9420 Hz Hz", "٩٤٢٠", "9420k5", "0x10", "9420..", "9420.", "--5", "1" * 41],
)  # fmt: skip
def test_what_is_no_frequency_is_refused_with_a_remedy(text: str) -> None:
    """Signs, exponents, foreign digits, wrong units, fractions of a hertz: one clear line."""
    with pytest.raises(QuantityError) as caught:
        units.parse_frequency(text)
    assert caught.value.remedy


def test_a_decimal_comma_is_told_so() -> None:
    """Half of Europe writes one."""
    with pytest.raises(QuantityError, match="write a point for the comma"):
        units.parse_frequency("9,42M")


@pytest.mark.parametrize(
    ("text", "fitting"),
    [
        ("9420M", ["9420k"]),
        ("9.42", ["9.42M"]),
        ("9420000k", ["9420000Hz"]),
        ("9.42 mhz", ["9.42M"]),
        ("9.4205", ["9.4205M"]),
        ("9500M-9510M", ["9500k"]),
        ("0.2M", ["0.2M"]),
        ("200", ["200k"]),
        ("120000", ["120000k", "120000Hz"]),
        ("40000M", ["40000k"]),
        ("80000000000", []),
        ("9,42", []),
        ("2026-11-25", []),
        ("abc", []),
        ("", []),
        ("1" * 50, []),
    ],
)
def test_the_same_digits_on_another_scale(text: str, fitting: list[str]) -> None:
    """Those units with which they lie where a listener may mean them."""
    assert fitting == units.other_scales(text, *units.USUAL)


def test_a_file_needs_units() -> None:
    """Without a default unit a bare number names both likely meanings."""
    with pytest.raises(QuantityError, match=r"9\.42k .* 9\.42M"):
        units.parse_frequency("9.42", bare=None)


@pytest.mark.parametrize(
    ("text", "hertz"), [("-5k", -5000), ("+5", 5000), ("5", 5000), ("\u22122.5k", -2500), ("0", 0)]
)
def test_a_shift_has_a_sign(text: str, hertz: int) -> None:
    """Differences may be negative, also with the typographer's minus."""
    assert hertz == units.parse_shift(text)


@given(st.integers(min_value=0, max_value=10**15 - 1))
def test_millihertz_survive_the_wire(value: int) -> None:
    """Three decimals of hertz say every millihertz and nothing else."""
    text = units.format_millihertz(value)
    assert value == units.parse_millihertz(text)
    assert 3 == len(text.partition(".")[2])


@pytest.mark.parametrize(
    "text", ["", "1.", "1.0000", "-1", "+1", "1e3", "1,5", ".5", "²", "1" * 13]
)
def test_millihertz_are_strict(text: str) -> None:
    """The wire's numbers have no sign, no exponent and at most three decimals."""
    with pytest.raises(QuantityError):
        units.parse_millihertz(text)


@given(st.integers(min_value=1, max_value=10**9))
def test_a_printed_frequency_reads_back(hertz: int) -> None:
    """What a listener is shown can be typed again."""
    assert hertz == units.parse_frequency(units.format_frequency(hertz))


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("2s", 2.0), ("500ms", 0.5), ("30m", 1800.0), ("1h30m", 5400.0), ("10min", 600.0),
     ("1.5h", 5400.0), ("1d", 86400.0), ("0s", 0.0)],
)  # fmt: skip
def test_a_duration_is_read(text: str, seconds: float) -> None:
    """Durations carry their unit."""
    assert seconds == units.parse_duration(text)


@pytest.mark.parametrize("text", ["", "2", "s", "2x", "-2s", "1h30", "nan", "1e3s", "2..s"])
def test_what_is_no_duration_is_refused(text: str) -> None:
    """A missing unit is not guessed."""
    with pytest.raises(QuantityError):
        units.parse_duration(text)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(2, "2 s"), (0.3, "0.3 s"), (107.1, "107.1 s"), (600, "10 min"), (28800, "8 h"),
     (5400, "1 h 30 min"), (-3, "-3 s")],
)  # fmt: skip
def test_a_duration_is_printed(seconds: float, text: str) -> None:
    """As a person says it."""
    assert text == units.format_duration(seconds)


@pytest.mark.parametrize(
    ("kilohertz", "metres"),
    [(60, 4996.5410), (153, 1959.4278), (7200, 41.6378), (9400, 31.8928), (9900, 30.2821),
     (10000, 29.9792), (20000, 14.9896), (26965, 11.1178), (27405, 10.9393), (5950, 50.3853)],
)  # fmt: skip
def test_wavelengths(kilohertz: int, metres: float) -> None:
    """docs/standards.md, wavelengths: computed from c = 299 792 458 m/s (SI)."""
    assert metres == pytest.approx(units.wavelength(kilohertz * 1000), abs=5e-5)


def test_the_published_long_wave() -> None:
    """162 kHz is 1850.5707284 m (docs/standards.md, found in print)."""
    assert pytest.approx(1850.5707284, abs=1e-7) == units.wavelength(162_000)


@pytest.mark.parametrize("parse", [units.parse_frequency, units.parse_shift])
def test_a_number_that_no_door_would_take(parse: Callable[[str], int]) -> None:
    """Told as what it is, by the shell and by the configuration."""
    for text in ("9" * 30 + "Hz", "9" * 18 + "MHz"):
        with pytest.raises(QuantityError, match="is too large for a frequency"):
            parse(text)
    assert 999_999 <= parse("999999Hz")
