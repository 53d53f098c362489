"""A night of which a part was not heard: what its report says of that."""

from dataclasses import replace

from tests.report.diary import CLOSES, DIALS, OPENS, WINDOW, Diary, at, on_the_air
from tests.report.test_night import Tell, said, tell
from vfod import events as e

__all__ = ["tell"]  # the fixture


def test_hours_without_sound_are_told(diary: Diary, tell: Tell) -> None:
    """From when to when a sweep measured nothing, and that this is no silence on the bands."""
    diary.started(at("25 12:30"))
    missed = e.LevelsMissed(sweep="evening", reason="gone")
    diary.say(OPENS, e.SweepStarted(sweep="evening", channels=10, dial=DIALS[0], by=WINDOW))
    diary.sweep(OPENS, at("25 22:00"), active=on_the_air)
    diary.say(at("25 22:04"), missed)
    diary.sweep(at("25 22:04"), at("25 23:10"), level=None, active=lambda *_: None)
    diary.say(at("25 23:10"), e.LevelsFound(sweep="evening"))
    diary.sweep(at("25 23:10"), at("26 05:00"), active=on_the_air)
    diary.say(at("26 05:00"), replace(missed, reason="silent"))
    diary.say(
        CLOSES,
        e.SweepEnded(sweep="evening", visits=1, passes=1, reason="window closed", by=WINDOW),
    )
    assert (
        "The sweep went on without levels from 22:04 to 23:10 (gone), from 05:00 to 06:00 "
        "(silent), 2 h 6 min in all, because there was no sound to take them from; silence then "
        "is not silence on the bands."
    ) in said(tell())
