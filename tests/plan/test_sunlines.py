"""The sun of a night beside its windows; values of docs/standards.md, section 5.4, Berlin."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from vfod.plan.sunlines import suns
from vfod.plan.windows import Window
from vfod.radio.sun import DAY, Site

BERLIN = Site(latitude=52.52, longitude=13.405)
#: 2026-12-21 12:00 UTC.
SINCE = datetime(2026, 12, 21, 12, 0, tzinfo=UTC).timestamp()


def window(site: Site | None) -> Window:
    return Window(
        name="night",
        sweep="evening",
        start=time(22),
        end=time(6),
        zone=ZoneInfo("Europe/Berlin"),
        site=site,
    )


def test_a_winter_night_in_berlin() -> None:
    """In local time, an hour after the table's UTC, in the order in which they come."""
    (night,) = suns([window(BERLIN)], SINCE, SINCE + 3600)
    assert date(2026, 12, 21) == night.night
    text = str(night)
    assert text.startswith(
        "sun in the night of 2026-12-21: sunset 15:54, civil dusk 16:36, nautical dusk 17:20,"
        " astronomical dusk 18:02, astronomical dawn 06:0"
    )
    # A day later than in the table, in the week of the solstice: the same within a minute.
    sunrise = datetime.fromtimestamp(dict(night.events)["sunrise"], UTC)  # type: ignore[index]  # a StrEnum is its text
    assert (7, 15) <= (sunrise.hour, sunrise.minute) <= (7, 17)


def test_every_night_of_the_time() -> None:
    """Two days and two hours touch four nights; one that begins at the end is not among them."""
    assert 4 == len(suns([window(BERLIN)], SINCE - 7200, SINCE + 2 * DAY))
    noon = datetime(2026, 12, 22, 11, 0, tzinfo=UTC).timestamp()
    assert 1 == len(suns([window(BERLIN)], SINCE, noon))


def test_where_there_is_none() -> None:
    """Deep in the polar night nothing happens, and without a place nothing is known."""
    (night,) = suns([window(Site(latitude=89.0, longitude=0.0))], SINCE, SINCE + 3600)
    assert "sun in the night of 2026-12-21: neither sets nor rises" == str(night)
    assert [] == suns([window(None)], SINCE, SINCE + 3600)
    assert [] == suns([], SINCE, SINCE + 3600)
