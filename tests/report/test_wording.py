"""Single figures as text: true signs, no false certainty, a dash for what cannot be said."""

import pytest

from vfod.report.text import table, wrapped
from vfod.report.wording import kilohertz, level, share
from vfod.survey.occupancy import Reason, Share, Unsaid


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (Share(value=0.42, low=0.38, high=0.47), "42 % (38 to 47)"),
        (Share(value=0.0, low=0.0, high=0.0004), "0 % (0 to <0.1)"),
        (Share(value=0.2, low=0.198, high=0.203), "20.0 % (19.8 to 20.3)"),
        (Share(value=1.0, low=0.963, high=0.9996), "100 % (96 to 99.9)"),
        (Share(value=0.9999, low=0.99, high=1.0), "99.9 % (99.0 to 100)"),
        (Share(value=0.001, low=0.0, high=0.06), "0.1 % (0 to 6)"),
        (Unsaid(reason=Reason.FEW_VISITS), "\N{EN DASH}"),
    ],
)
def test_shares(figure: Share | Unsaid, text: str) -> None:
    """Whole percent, tenths where that is known, and never 0 or 100 of what is neither."""
    assert text == share(figure)


def test_levels_and_frequencies() -> None:
    """A true minus sign; kilohertz without needless digits; nothing where there is nothing."""
    assert ("\N{MINUS SIGN}61.2", "") == (level(-61.2), level(None))
    assert ("9420", "9422.5") == (kilohertz(9_420_000), kilohertz(9_422_500))


def test_tables_of_the_terminal() -> None:
    """Numbers to the right, empty columns left out, no line longer than the terminal."""
    lines = list(table((">kHz", "band", "name"), [("9420", "", "A"), ("12", "", "B" * 50)], 20))
    assert ["   kHz  name", "  9420  A"] == lines[:2]
    assert 20 == len(lines[2])
    assert "…" == lines[2][-1]


def test_sentences_of_the_terminal() -> None:
    """As many lines as they need, indented; a word that is too long is not cut."""
    assert ["* one two", "  three", "  incomprehensibilities"] == list(
        wrapped("one two three incomprehensibilities", 10, "* ")
    )
