"""The sun against worked examples of textbooks, and against the formula of the hour angle.

Meeus, Astronomical Algorithms, 2nd edition, as quoted by the tests of a public library; the solar
position algorithm's report (NREL/TP-560-34302), as quoted; docs/standards.md, sections 5.1 and 5.5.
"""

from datetime import UTC, datetime
from math import radians, tan

import pytest

from vfod.radio.sun import DAY, Site, SunEvent, elevation, event_of_day, noon_near


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


# --- worked examples -----------------------------------------------------------------------------


def test_equation_of_time_of_the_report() -> None:
    """14.64 minutes on 2003-10-17: the sun is highest that much before the mean noon."""
    site = Site(latitude=39.742476, longitude=-105.1786)
    mean_noon = utc("2003-10-17T12:00") + 105.1786 * DAY / 360
    assert 14.64 * 60 == pytest.approx(mean_noon - noon_near(mean_noon, site), abs=2)


def test_equation_of_time_of_meeus() -> None:
    """Example 28.b: 13 m 42.7 s at 0h on 1992-10-13, when it is noon at the date line."""
    midnight = utc("1992-10-13T00:00")
    noon = noon_near(midnight, Site(latitude=0, longitude=180))
    assert 13 * 60 + 42.7 == pytest.approx(midnight - noon, abs=2)


def test_declination_of_meeus() -> None:
    """Example 25.a: -7 degrees 47 minutes 06 seconds at the same instant; by the highest stand of
    the sun at the equator.
    """
    declination = -(7 + 47 / 60 + 6 / 3600)
    noon = noon_near(utc("1992-10-13T00:00"), Site(latitude=0, longitude=180))
    highest = elevation(noon, Site(latitude=0, longitude=180))
    assert 90 + declination == pytest.approx(highest, abs=0.01)


def test_zenith_of_the_report() -> None:
    """50.111622 degrees, refracted at 820 mbar and 11 degrees, at 12:30:30 on 2003-10-17 (UTC-7).

    Refraction by the report's own formula (its equation 42), of the elevation without it.
    """
    seen = elevation(utc("2003-10-17T19:30:30"), Site(latitude=39.742476, longitude=-105.1786))
    bent = 820 / 1010 * 283 / (273 + 11) * 1.02 / (60 * tan(radians(seen + 10.3 / (seen + 5.11))))
    assert 50.111622 == pytest.approx(90 - seen - bent, abs=0.01)


# --- hour angle ----------------------------------------------------------------------------------

#: Twilights by the zenith angle at which they begin.
SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL = (
    SunEvent.SUNSET,
    SunEvent.CIVIL_DUSK,
    SunEvent.NAUTICAL_DUSK,
    SunEvent.ASTRONOMICAL_DUSK,
)
#: The solstices of 2026, on which the declination is 23.44 degrees north and south all day long.
JUNE, DECEMBER = "2026-06-21", "2026-12-21"


@pytest.mark.parametrize(
    ("latitude", "day", "angles"),
    [
        (50, JUNE, {SUNSET: 122.7761, CIVIL: 133.9436, NAUTICAL: 150.3719, ASTRONOMICAL: None}),
        (50, DECEMBER, {SUNSET: 60.5243, CIVIL: 70.1559, NAUTICAL: 80.5516, ASTRONOMICAL: 90.4171}),
        (60, JUNE, {SUNSET: 141.5041, CIVIL: 168.1873, NAUTICAL: None, ASTRONOMICAL: None}),
        (66.5, JUNE, {SUNSET: None, CIVIL: None, NAUTICAL: None, ASTRONOMICAL: None}),
        (-35, JUNE, {SUNSET: 73.4864, CIVIL: 80.5316, NAUTICAL: 88.4560, ASTRONOMICAL: 96.1760}),
    ],
)
def test_hour_angles_at_the_solstices(
    latitude: float, day: str, angles: dict[SunEvent, float | None]
) -> None:
    """cos H = (cos z - sin phi sin delta) / (cos phi cos delta), within the tenth of a degree by
    which the declination and the length of the day are not quite those of the formula; where the
    formula has no answer there is no event.
    """
    site = Site(latitude=latitude, longitude=0)
    noon = noon_near(utc(f"{day}T12:00"), site)
    for event, angle in angles.items():
        found = event_of_day(event, noon, site)
        if angle is None:
            assert found is None
        else:
            assert found is not None
            assert angle == pytest.approx((found - noon) / DAY * 360, abs=0.1)
