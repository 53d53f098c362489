"""`vfod agenda --ics`: read by an independent library, and held against the rules of RFC 5545."""

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.__main__ import main
from vfod.cli.agenda import from_configuration
from vfod.cli.ics import calendar
from vfod.config.loading import load
from vfod.errors import UsageError

#: 2026-10-24 12:00 UTC, the day before the clocks go back in Europe.
WHEN = datetime(2026, 10, 24, 12, 0, tzinfo=UTC).timestamp()


def window(**changes: Any) -> dict[str, Any]:
    given = {
        "vfo": "main",
        "window": "night",
        "sweep": "evening",
        "night": "2026-10-24",
        "opens": WHEN + 3600,
        "closes": WHEN + 7200.4,
        "runs": True,
        "reasons": [],
        "after": None,
    }
    return {**given, **changes}


def events(text: bytes) -> list[Any]:
    return list(icalendar.Calendar.from_ical(text).walk("VEVENT"))


def keeps_the_rules(text: bytes) -> None:
    """Sections 3.1 (lines of at most 75 octets, CRLF), 3.3.11, 3.6, 3.6.1, 3.7."""
    assert text.endswith(b"\r\n")
    lines = text[:-2].split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"\r" not in b"".join(lines)
    assert b"\n" not in b"".join(lines)
    for line in lines:
        line.decode("utf-8")  # no character is cut in two
    whole = text.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]
    assert "BEGIN:VCALENDAR" == whole[0]
    assert "END:VCALENDAR" == whole[-1]
    assert {"VERSION:2.0"} < set(whole)
    assert 1 == sum(line.startswith("PRODID:") for line in whole)
    inside = re.findall(r"BEGIN:VEVENT\n(.*?)\nEND:VEVENT", "\n".join(whole), re.DOTALL)
    assert inside
    for event in inside:
        names = [re.split("[:;]", line)[0] for line in event.split("\n")]
        assert len(names) == len(set(names))
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"} <= set(names)
        for line in event.split("\n"):
            name, _, value = line.partition(":")
            if name.startswith("DT"):
                assert re.fullmatch(r"\d{8}T\d{6}Z", value)
            if name in ("SUMMARY", "DESCRIPTION"):
                # Every comma, semicolon and backslash is escaped, and nothing else is.
                assert re.fullmatch(r"([^\\;,\x00-\x08\x0a-\x1f\x7f]|\\[\\;,n])*", value)


def test_an_agenda_read_by_a_calendar(config: Path) -> None:
    """A window every night: seven events with the instants of the agenda."""
    found = from_configuration(load(str(config)), 7, None, WHEN)["windows"]
    text = calendar(found, WHEN)
    keeps_the_rules(text)
    read = events(text)
    assert [w["opens"] for w in found] == [n["DTSTART"].dt.timestamp() for n in read]
    assert [w["closes"] for w in found] == [n["DTEND"].dt.timestamp() for n in read]
    assert {"both: sweep both"} == {str(n["SUMMARY"]) for n in read}
    assert {WHEN} == {n["DTSTAMP"].dt.timestamp() for n in read}
    # On the 25th the clocks of Berlin go back: 22:00 there is 20:00 UTC before, 21:00 UTC after.
    assert [20, 21] == [n["DTSTART"].dt.hour for n in read[:2]]


def test_a_reason_is_in_the_description(config: Path) -> None:
    """Why a window is longer or shorter than written."""
    config.write_text(config.read_text().replace('until: "02:00"', 'until: "06:00"'))
    found = from_configuration(load(str(config)), 1, None, WHEN)["windows"]
    (event,) = events(calendar(found, WHEN))
    assert "9 h instead of 8 h, because the clocks go back" in str(event["DESCRIPTION"])


def test_uids_are_each_others_own_and_stay() -> None:
    """Read again later, moved by the sun: the same event. Parts, nights, windows, VFOs: others."""
    several = [
        window(),
        window(after="watch", opens=WHEN + 9000, closes=WHEN + 9100),
        window(after="watch", opens=WHEN + 9900, closes=WHEN + 9950),
        window(night="2026-10-25"),
        window(window="morning"),
        window(vfo="attic"),
        window(vfo="a/b", window="c"),
        window(vfo="a", window="b/c"),
    ]
    uids = [str(n["UID"]) for n in events(calendar(several, WHEN))]
    assert len(several) == len(set(uids))
    moved = [{**w, "opens": w["opens"] - 60, "reasons": ["sunset is earlier"]} for w in several]
    assert uids == [str(n["UID"]) for n in events(calendar(moved, WHEN + 86400))]
    assert uids[1:] == [str(n["UID"]) for n in events(calendar(several[1:], WHEN + 8000))]


def test_what_does_not_run_is_no_event() -> None:
    """And a calendar without any cannot be (section 3.6: at least one component)."""
    assert 1 == len(events(calendar([window(), window(runs=False)], WHEN)))
    with pytest.raises(UsageError, match="no window opens in that time"):
        calendar([window(runs=False)], WHEN)


@given(
    name=st.text(min_size=1, max_size=120),
    reasons=st.lists(st.text(max_size=90), max_size=3),
)
def test_any_text_survives(name: str, reasons: list[str]) -> None:
    """Folded, escaped and read back, whatever a name consists of; only controls become spaces."""
    text = calendar([window(window=name, reasons=reasons)], WHEN)
    keeps_the_rules(text)
    (event,) = events(text)
    wanted = f"{name}: sweep evening".encode("utf-8", "replace").decode()
    plain = "".join(" " if (ord(s) < 32 and s != "\n") or ord(s) == 127 else s for s in wanted)
    assert plain == str(event["SUMMARY"])


def test_the_example_of_the_standard() -> None:
    """RFC 5545, section 3.3.11: three lines of a text and how they are written."""
    reason = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    whole = calendar([window(reasons=[reason])], WHEN).replace(b"\r\n ", b"")
    assert rb"Project XYZ Final Review\nConference Room - 3B\nCome Prepared." in whole


def test_the_command(config: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    """Bytes on the standard output, ready for a file; either this or JSON."""
    assert 0 == main(["agenda", "--ics", "--days", "3"])
    out = capfdbinary.readouterr().out
    keeps_the_rules(out)
    assert 3 <= len(events(out)) <= 4
    assert 2 == main(["agenda", "--ics", "--json"])
    assert b"take one of them" in capfdbinary.readouterr().err
