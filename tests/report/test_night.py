"""The facts of a night, also of nights of which hardly anything can be said."""

import datetime as dt
from collections.abc import Callable

import pytest

from tests.report.diary import (
    CLOSES,
    COMING,
    DIALS,
    NIGHT,
    OPENS,
    STEADY,
    WINDOW,
    Diary,
    at,
    on_the_air,
    ordinary,
    setting,
    window,
)
from vfod import events as e
from vfod.plan.stations import parse
from vfod.radio.sun import Site, SunEvent
from vfod.report.facts import Night
from vfod.report.gather import gather
from vfod.report.page import night_page
from vfod.report.setting import bounds
from vfod.report.text import night_lines
from vfod.store import Keeping, Reader, Writer
from vfod.survey.occupancy import Share, Unsaid

QUIET = DIALS[9]


Tell = Callable[..., Night]


@pytest.fixture
def tell(diary: Diary) -> Tell:
    """Closes the diary and tells the night; both renderings of it must come about as well."""

    def told(night: dt.date = NIGHT, **changes: object) -> Night:
        with Reader(diary.close()) as reader:
            found = gather(reader, setting(**changes), night)
        assert list(night_lines(found, 80))
        assert "</html>" in night_page(found)
        return found

    return told


def said(night: Night) -> str:
    return " ".join(night_lines(night, 1000))


def test_an_ordinary_night(diary: Diary, tell: Tell) -> None:
    """Windows, gaps with their reasons, passes, revisit, bands, moves, who was steady."""
    ordinary(diary)
    diary.say(at("25 20:01"), e.PassCompleted(sweep="evening", number=1, visits=10, seconds=60.0))
    night = tell()
    (kept,) = night.windows
    assert (OPENS, CLOSES, True) == (kept.opens, kept.closes, kept.planned)
    assert [("23:00", "23:10"), ("03:00", "03:30")] == [
        (f"{dt.datetime.fromtimestamp(gap.begins, setting().zone):%H:%M}",
         f"{dt.datetime.fromtimestamp(gap.ends, setting().zone):%H:%M}")
        for gap in kept.gaps
    ]  # fmt: skip
    assert ["gave way to knob", "the VFO was not reached: missing"] == [
        gap.reasons[0][0] for gap in kept.gaps
    ]
    assert 36_000 - 600 - 1800 == pytest.approx(kept.swept, abs=20)
    assert night.revisit is not None
    assert 60.0 == night.revisit.median
    assert [("knob", 7_301_000, 2)] == [(m.who, m.to, m.times) for m in night.moves]
    assert [("lower", True, True), ("upper", False, False)] == [
        (one.spell.band, one.from_the_start, one.to_the_end) for one in night.open_bands
    ]
    upper = night.open_bands[1].spell
    assert at("25 22:00") == pytest.approx(upper.begins, abs=61)
    assert at("26 02:00") == pytest.approx(upper.ends, abs=61)
    assert [STEADY] == [one.evidence.dial for one in night.steady]
    assert [("evening", 1, 60.0)] == [(p.sweep, p.count, p.mean) for p in night.passes]
    assert "No earlier night" in said(night)


def test_occupancy_has_intervals(diary: Diary, tell: Tell) -> None:
    """Of what came and went four of ten hours; of what never came an upper bound."""
    ordinary(diary)
    by_dial = {channel.sums.dial: channel.occupancy for channel in tell().channels}
    coming = by_dial[COMING].tonight
    assert isinstance(coming, Share)
    # Ten minutes of them and forty of the window were not watched.
    assert coming.low <= 230 / 560 <= coming.high
    never = by_dial[QUIET].tonight
    assert isinstance(never, Share)
    assert (0.0, 0.0) == (never.value, never.low)
    assert 0 < never.high < 0.02
    assert isinstance(by_dial[COMING].long_run, Unsaid)


def test_occupancy_of_bands(diary: Diary, tell: Tell) -> None:
    """Active channels and time over all of them (Report ITU-R SM.2256, section 2.17)."""
    ordinary(diary)
    bands = {name: found.tonight for name, found in tell().band_occupancy.items()}
    # One of five channels always; one of five for four hours of the watched 560 minutes, less ten.
    for name, truth in (("lower", 1 / 5), ("upper", 230 / 560 / 5)):
        told = bands[name]
        assert isinstance(told, Share)
        assert truth == pytest.approx(told.value, abs=0.003)
        assert told.low <= truth <= told.high


def test_the_list_of_stations(diary: Diary, tell: Tell) -> None:
    """Heard, not heard, not looked for, and what the list does not explain; by half a raster."""
    ordinary(diary)
    listed = parse(
        "khz,from,to,name\n"
        "7201,18:00,05:00,Always There\n"  # 1 kHz beside its channel
        "7215,20:00,22:00,Silent\n"
        "9420,20:00,22:00,Elsewhere\n"
        "7225,10:00,11:00,By Day\n",
        "list",
    )
    night = tell(stations=listed)
    assert night.stations is not None
    assert ["Always There"] == [one.name for one in night.stations.heard]
    assert ["Silent"] == [one.name for one in night.stations.not_heard]
    assert ["Elsewhere"] == [one.name for one in night.stations.not_looked]
    (unknown,) = night.stations.unknown
    assert COMING == unknown.dial
    text = list(night_lines(night, 100))
    lead = [line for line in text if line and not line.startswith((" ", "*"))]
    # It leads the night.
    assert ["Expected and heard", "Expected and not heard", "Unknown"] == lead[2:5]


def test_what_is_new(diary: Diary, tell: Tell) -> None:
    """Active for the first time in two weeks though it was visited; the steady one is not new."""
    diary.sweep(at("24 20:00"), at("24 22:00"), active=lambda dial, _: dial == STEADY)
    ordinary(diary)
    night = tell()
    assert night.fresh is not None
    assert [COMING] == [channel.sums.dial for channel in night.fresh]
    assert 1 == night.earlier


def test_notes_of_the_night(diary: Diary, tell: Tell) -> None:
    """By the time they are about, also one that was taken the next day."""
    ordinary(diary)
    shell = e.Origin(door=e.Door.SHELL, who="listener")
    for taken, about, text in (
        (at("25 22:00"), at("25 22:00"), "drums"),
        (at("27 09:00"), at("26 01:00"), "later"),
        (at("27 09:01"), at("27 09:01"), "another day"),
    ):
        diary.say(
            taken,
            e.NoteTaken(text=text, sinpo="45344", heard=None, at=about, dial=COMING,
                        band="upper", level=-60.0, unit="dBm", by=shell),
        )  # fmt: skip
    assert ["drums", "later"] == [note.text for note in tell().notes]


def test_an_empty_night(diary: Diary, tell: Tell) -> None:
    """Nothing at all in the journal: every list says so, and none pretends silence."""
    night = tell(windows=())
    assert (0, 0, None, ()) == (night.visits, night.judged, night.revisit, night.channels)
    text = said(night)
    assert "No channel was visited, so nothing can be said of what was on the air" in text
    assert "No window is known for this night" in text
    assert "No band was looked at." in text
    assert "There is no picture" in night_page(night)


def test_a_night_of_which_only_the_sums_are_left(diary: Diary, tell: Tell) -> None:
    """Said so, and the channels are told; it is no night in which nobody looked."""
    ordinary(diary)
    later = CLOSES + 100 * 86400
    writer = Writer(diary.close())
    writer.open(later)
    while writer.tend(later, Keeping(zone=setting().zone, keep=31 * 86400.0)):
        pass
    writer.close()
    night = tell(now=later)
    assert not night.visits
    assert list(DIALS) == [channel.sums.dial for channel in night.channels]
    assert 0 < sum(channel.sums.active for channel in night.channels)
    text = said(night)
    assert "were given up because of their age (journal.keep)" in text
    assert "No channel was visited, so" not in text


def test_a_night_of_one_visit(diary: Diary, tell: Tell) -> None:
    """One visit is told as one; no share, no revisit time, nothing steady."""
    diary.started(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.say(OPENS, e.SweepStarted(sweep="evening", channels=10, dial=DIALS[0], by=WINDOW))
    diary.sweep(OPENS, OPENS + 7, active=lambda *_: True)
    diary.say(OPENS + 8, e.DaemonStopped(reason="asked to stop"))
    night = tell()
    assert (1, 1, None) == (night.visits, night.judged, night.revisit)
    (channel,) = night.channels
    assert isinstance(channel.occupancy.tonight, Unsaid)
    text = said(night)
    assert "Only 1 visit could be judged" in text
    assert "No channel was visited twice, so there is no revisit time." in text
    assert "Nothing lasted for two visits in a row." in text
    assert "the daemon was stopped" in text
    assert "fewer than 5 visits" in night_page(night)


def test_a_night_with_the_vfo_absent_throughout(diary: Diary, tell: Tell) -> None:
    """The window was planned and opened; not kept, because the VFO was not there since days."""
    diary.started(at("23 12:30"))
    diary.say(at("23 12:30"), e.LinkLost(port="/dev/vfo", reason="missing", detail="none"))
    diary.window(OPENS, CLOSES)
    night = tell()
    (kept,) = night.windows
    assert (0, 0.0, 36_000.0) == (kept.visits, kept.swept, kept.due)
    ((reasons,),) = [[gap.reasons for gap in kept.gaps]]
    assert (("the VFO was not reached: missing", 36_000.0),) == reasons
    text = said(night)
    assert "silence in this report is not silence on the bands" in text
    assert "0% of 10 h" in text


def test_a_night_without_a_daemon(diary: Diary, tell: Tell) -> None:
    """Planned by the configuration, and nobody opened it."""
    diary.started(at("23 12:30"))
    diary.say(at("23 18:00"), e.DaemonStopped(reason="asked to stop"))
    night = tell()
    assert "the daemon was stopped" in said(night)
    assert "evening: the daemon did not open it." in said(night)


def test_a_night_after_a_crash(diary: Diary, tell: Tell) -> None:
    """A run that ended without its last word is told as such, from its last event on."""
    diary.started(at("25 12:30"))
    diary.greeted(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.say(OPENS, e.SweepStarted(sweep="evening", channels=10, dial=DIALS[0], by=WINDOW))
    diary.sweep(OPENS, at("25 22:00"))
    diary.say(at("25 22:00"), e.BoxReset(boot="1"), e.HoldEnded(
        sweep="evening", dial=DIALS[0], seconds=1.0, reason="quiet"))  # fmt: skip
    diary.started(at("25 23:00"))
    diary.greeted(at("25 23:00"))
    diary.window(OPENS, CLOSES)
    diary.sweep(at("25 23:00"), CLOSES)
    (kept,) = tell().windows
    assert ["the daemon was gone without a word (power cut or crash)"] == [
        gap.reasons[0][0] for gap in kept.gaps
    ]


def test_a_machine_that_slept(diary: Diary, tell: Tell) -> None:
    """What events alone do not tell, the daemon told as missed, if only the next day."""
    diary.started(at("25 12:30"))
    diary.greeted(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.say(OPENS, e.SweepStarted(sweep="evening", channels=10, dial=DIALS[0], by=WINDOW))
    diary.sweep(OPENS, at("25 22:00"))
    diary.sweep(at("26 01:00"), CLOSES)
    diary.say(
        at("26 12:10"),
        e.WindowMissed(
            window="evening", sweep="evening", night=NIGHT.isoformat(), opens=OPENS, closes=CLOSES,
            since=at("25 22:00"), until=at("26 01:00"), reason="asleep",
        ),
    )  # fmt: skip
    (gap,) = tell().windows[0].gaps
    ((reason, seconds),) = gap.reasons
    assert "the machine slept" == reason
    assert seconds == pytest.approx(10_800, abs=10)


@pytest.mark.parametrize(
    ("night", "hours", "by", "change"),
    [
        # Europe/Berlin, IANA time zone database: 25 October and 28 March.
        (dt.date(2026, 10, 24), 25, -3600.0, "2026-10-25T01:00+00:00"),
        (dt.date(2027, 3, 27), 23, 3600.0, "2027-03-28T01:00+00:00"),
    ],
)
def test_a_night_across_a_clock_change(
    diary: Diary, tell: Tell, night: dt.date, hours: int, by: float, change: str
) -> None:
    """It has its true length, the window too, and both are told."""
    begins, ends = bounds(night, setting().zone)
    assert hours * 3600 == ends - begins
    (planned,) = [one for one in [window().in_night(night)] if one is not None]
    diary.started(begins + 1)
    diary.greeted(begins + 1)
    diary.window(planned.opens, planned.closes, night=night)
    diary.sweep(planned.opens, planned.closes, active=on_the_air)
    found = tell(night, now=ends + 1)
    (kept,) = found.windows
    assert (hours - 14) * 3600 == kept.due == pytest.approx(kept.swept, abs=10)
    assert (dt.datetime.fromisoformat(change).timestamp(), by) == found.change
    way = "forward" if by > 0 else "back"
    new = "03:00" if by > 0 else "02:00"
    told = f"The clocks went {way} by 1 h at {new}; this night had {hours} h."
    assert told in said(found)
    sign = "+" if by > 0 else "\N{MINUS SIGN}"
    assert f"clocks {sign}1 h" in night_page(found)


def test_a_night_without_levels(diary: Diary, tell: Tell) -> None:
    """Without a level source the visits are told, and that nothing can be said of activity."""
    diary.started(at("25 12:30"))
    diary.sweep(OPENS, OPENS + 3600, level=None, active=lambda *_: None)
    night = tell()
    assert 600 == night.visits
    assert "No level was measured at any visit" in said(night)
    assert "There is no picture" in night_page(night)


def test_a_night_that_has_not_begun(diary: Diary, tell: Tell) -> None:
    """A date of the days to come says so, instead of what there was up to now."""
    diary.started(at("24 09:00"))
    text = said(tell(now=at("24 10:00")))
    assert "The night has not begun; `vfod agenda` shows what is planned." in text
    assert "The night is not over" not in text


def test_a_night_that_is_not_over(diary: Diary, tell: Tell) -> None:
    """What is still to come is not missed: the window is due only up to now."""
    diary.started(at("25 12:30"))
    diary.greeted(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.sweep(OPENS, at("25 21:00"))
    night = tell(now=at("25 21:00"))
    assert 3600.0 == night.windows[0].due
    assert () == night.windows[0].gaps
    assert "The night is not over: this is what there was up to 21:00." in said(night)


def test_two_units_and_two_vfos_are_told(diary: Diary, tell: Tell) -> None:
    """Levels without a common scale are not mixed; who else was at work is said."""
    diary.sweep(OPENS, OPENS + 600, unit="dB")
    diary.sweep(OPENS + 600, OPENS + 3600)
    diary.sweep(OPENS, OPENS + 600, vfo="attic", pace=7.0)
    night = tell()
    assert "dBm" == night.unit
    assert "Levels are in more than one unit (500 visits in dBm, 100 visits in dB)" in said(night)
    assert "Other VFOs were at work too: attic" in said(night)


def test_the_sun(diary: Diary, tell: Tell) -> None:
    """Sunset and sunrise of Berlin, from an almanac's ephemeris to within two minutes."""
    import ephem

    berlin = ephem.Observer()
    berlin.lat, berlin.lon, berlin.pressure, berlin.horizon = "52.5", "13.4", 0, "-0:34"
    berlin.date = "2026/11/25 11:00"
    sets = berlin.next_setting(ephem.Sun()).datetime().replace(tzinfo=dt.UTC).timestamp()
    rises = berlin.next_rising(ephem.Sun()).datetime().replace(tzinfo=dt.UTC).timestamp()
    night = tell(site=Site(latitude=52.5, longitude=13.4))
    assert sets == pytest.approx(night.sun[SunEvent.SUNSET], abs=120)
    assert rises == pytest.approx(night.sun[SunEvent.SUNRISE], abs=120)
    assert "Latitude and longitude are not configured" in said(tell())


def test_names_and_notes_cannot_break_anything(diary: Diary, tell: Tell) -> None:
    """Markup and control characters from notes, lists and devices arrive as text."""
    ordinary(diary)
    evil = "<script>alert(1)</script>\x1b[31m\u202e"
    diary.say(
        at("25 22:00"),
        e.NoteTaken(text=evil, sinpo=None, heard=evil, at=at("25 22:00"), dial=COMING,
                    band="upper", level=None, unit=None, by=e.Origin(door=e.Door.SHELL)),
        e.SweepEnded(sweep="evening", visits=1, passes=0, reason=evil,
                     by=e.Origin(door=e.Door.SHELL, who=evil)),
        e.DialTuned(dial=1, oscillator=1, produced=1, by=e.Origin(door=e.Door.MQTT, who=evil)),
    )  # fmt: skip
    night = tell(vfo="main")
    page = night_page(night)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    for text in (page, "\n".join(night_lines(night, 200))):
        assert not set("\x1b\u202e") & set(text)
        assert "\\x1b[31m\\u202e" in text
