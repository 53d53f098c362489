"""Counts to decibels, and S-units against IARU Region 1 Technical Recommendation R.1."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.radio.levels import Bound, Level, LevelTable, microvolts, of_microvolts, s_units

RISING = LevelTable(points=((100, -120.0), (300, -100.0), (900, -40.0)))
FALLING = LevelTable(points=((200, -30.0), (800, -120.0)), unit="dB")

#: R.1: S9 = -73 dBm below 30 MHz, -93 dBm above, 6 dB a unit (docs/standards.md).
R1 = [
    ("S1", -121, -141),
    ("S2", -115, -135),
    ("S3", -109, -129),
    ("S4", -103, -123),
    ("S5", -97, -117),
    ("S6", -91, -111),
    ("S7", -85, -105),
    ("S8", -79, -99),
    ("S9", -73, -93),
    ("S9+20 dB", -53, -73),
    ("S9+40 dB", -33, -53),
]


@pytest.mark.parametrize(("reading", "hf", "vhf"), R1, ids=[row[0] for row in R1])
def test_s_units(reading: str, hf: int, vhf: int) -> None:
    """Every row of R.1's table, below and above 30 MHz."""
    assert reading == s_units(hf, 9_420_000)
    assert reading == s_units(vhf, 144_300_000)


#: The column of microvolts across 50 ohms that belongs to R.1's levels below 30 MHz: computed, as
#: V = sqrt(P R) (docs/standards.md section 4.1, mark C), to the figures given there.
MICROVOLTS = [
    *((-121, 0.199), (-115, 0.398), (-109, 0.793), (-103, 1.583), (-97, 3.159), (-91, 6.302)),
    *((-85, 12.574), (-79, 25.089), (-73, 50.059), (-53, 500.593), (-33, 5005.933)),
]


@pytest.mark.parametrize(("level", "volts"), MICROVOLTS)
def test_microvolts(level: float, volts: float) -> None:
    """Every row of the column, and back; above 30 MHz a tenth of the voltage, 20 dB less."""
    assert volts == pytest.approx(microvolts(level), abs=0.0006)
    assert volts / 10 == pytest.approx(microvolts(level - 20), abs=0.0006)
    assert level == pytest.approx(of_microvolts(volts), abs=0.03)


def test_the_nominal_voltage_of_s9() -> None:
    """In print S9 is 50 uV, and 34 dB over a microvolt (F2: rounded; 33.99 computed)."""
    assert -73 == pytest.approx(of_microvolts(50), abs=0.05)
    assert 34 == pytest.approx(of_microvolts(1) * -1 - 73, abs=0.02)


def test_s_units_between_the_rows() -> None:
    """The nearest unit is said, and nothing below S0."""
    assert "S7" == s_units(-87.9, 9_420_000)
    assert "S6" == s_units(-88.1, 9_420_000)
    assert "S9" == s_units(-72.6, 9_420_000)
    assert "S0" == s_units(-160, 9_420_000)


@pytest.mark.parametrize(
    ("table", "counts", "level"),
    [
        (RISING, 100, Level(-120.0, "dBm")),
        (RISING, 200, Level(-110.0, "dBm")),
        (RISING, 300, Level(-100.0, "dBm")),
        (RISING, 600.5, Level(-69.95, "dBm")),
        (RISING, 900, Level(-40.0, "dBm")),
        (RISING, 99, Level(-120.0, "dBm", Bound.AT_MOST)),
        (RISING, 901, Level(-40.0, "dBm", Bound.AT_LEAST)),
        (FALLING, 500, Level(-75.0, "dB")),
        (FALLING, 199, Level(-30.0, "dB", Bound.AT_LEAST)),
        (FALLING, 1000, Level(-120.0, "dB", Bound.AT_MOST)),
    ],
)
def test_table(table: LevelTable, counts: float, level: Level) -> None:
    """Straight lines between the points, a bound off the ends, never extrapolated."""
    found = table.level(counts)
    assert level.bound == found.bound
    assert level.unit == found.unit
    assert level.value == pytest.approx(found.value)


@given(a=st.floats(0, 1000), b=st.floats(0, 1000))
def test_table_keeps_order(a: float, b: float) -> None:
    """A higher count is never a lower level where the table rises, nor a higher where it falls."""
    low, high = sorted((a, b))
    assert RISING.level(low).value <= RISING.level(high).value
    assert FALLING.level(low).value >= FALLING.level(high).value


def test_words() -> None:
    """A bound is spoken before the value, the unit after it."""
    assert "at least -40.0 dBm" == str(RISING.level(1000))
    assert "-110.0 dBm" == str(RISING.level(200))


@pytest.mark.parametrize(
    ("points", "complaint"),
    [
        (((1, -1.0),), "fewer than two points"),
        (((1, -3.0), (1, -2.0)), "counts do not rise"),
        (((2, -3.0), (1, -2.0)), "counts do not rise"),
        (((1, -3.0), (2, -2.0), (3, -2.5)), "neither rise nor fall"),
        (((1, -3.0), (2, -3.0)), "neither rise nor fall"),
        (((1, -3.0), (2, float("nan"))), "no number"),
    ],
)
def test_tables_refused(points: tuple[tuple[int, float], ...], complaint: str) -> None:
    """A table in which a reading would have two meanings is refused with the reason."""
    with pytest.raises(UsageError, match=complaint):
        LevelTable(points=points)
