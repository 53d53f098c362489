"""Times as a person writes them, against the zone's offsets of RFC 3339 notation."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from vfod.cli.when import parse_when
from vfod.errors import QuantityError

BERLIN = ZoneInfo("Europe/Berlin")

#: Half past six in the morning after a night; Berlin is an hour ahead of UTC.
MORNING = datetime(2026, 11, 25, 5, 30, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("2h", "2026-11-25T04:30:00+01:00"),
        ("1h30m", "2026-11-25T05:00:00+01:00"),
        ("22:00", "2026-11-24T22:00:00+01:00"),
        ("06:00", "2026-11-25T06:00:00+01:00"),
        ("06:31", "2026-11-24T06:31:00+01:00"),
        ("2026-11-24", "2026-11-24T00:00:00+01:00"),
        ("2026-11-24 22:00", "2026-11-24T22:00:00+01:00"),
        ("2026-07-01 22:00", "2026-07-01T22:00:00+02:00"),
        ("2026-11-24T22:00:00Z", "2026-11-24T22:00:00+00:00"),
        ("2026-11-24T22:00-05:00", "2026-11-24T22:00:00-05:00"),
    ],
)
def test_a_time(text: str, meant: str) -> None:
    """A duration is ago, a clock time its last occurrence, a date its beginning in the zone."""
    assert datetime.fromisoformat(meant).timestamp() == parse_when(text, MORNING, BERLIN)


@pytest.mark.parametrize("text", ["", "yesterday", "25:00", "2026-13-01", "22", "9999999-01-01"])
def test_no_time(text: str) -> None:
    """What is no time gets examples of some."""
    with pytest.raises(QuantityError, match="is not a time; write 3h"):
        parse_when(text, MORNING, BERLIN)


def test_the_machines_own_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a configuration a time is what the clock on the wall shows."""
    monkeypatch.setenv("TZ", "UTC+3")
    import time

    time.tzset()
    try:
        wanted = datetime.fromisoformat("2026-11-24T22:00:00-03:00").timestamp()
        assert wanted == parse_when("22:00", MORNING, None)
    finally:
        monkeypatch.undo()
        time.tzset()
