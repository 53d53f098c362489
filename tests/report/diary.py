"""Nights that a test makes up: events and observations as the daemon would have written them."""

import datetime as dt
from collections.abc import Callable, Iterable
from pathlib import Path
from zoneinfo import ZoneInfo

from vfod import events as e
from vfod.plan.moments import parse_moment
from vfod.plan.windows import Window
from vfod.report.setting import Setting
from vfod.store import Writer

BERLIN = ZoneInfo("Europe/Berlin")
NIGHT = dt.date(2026, 11, 25)
WINDOW = e.Origin(door=e.Door.WINDOW)

#: Ten channels of two bands of the test's own, hertz.
DIALS = tuple(range(7_200_000, 7_246_000, 5_000))


def at(text: str, zone: ZoneInfo = BERLIN) -> float:
    """`25 22:00` of November 2026, or a whole ISO time, local time in Berlin."""
    if len(text) < 10:
        text = f"2026-11-{text.replace(' ', 'T')}"
    return dt.datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()


def band(dial: int) -> str:
    return "lower" if dial <= 7_220_000 else "upper"


class Diary:
    """A journal in the making."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._writer = Writer(path)
        self._writer.open(0.0)
        self._sequence = 0

    def close(self) -> Path:
        self._writer.close()
        return self.path

    def say(self, when: float, *events: e.Event, vfo: str = "main") -> None:
        for event in events:
            daemons = isinstance(event, e.DaemonStarted | e.DaemonStopped)
            self._sequence += 1
            self._writer.add(
                e.Stamped(
                    sequence=self._sequence, time=when, vfo="" if daemons else vfo, event=event
                )
            )

    def started(self, when: float) -> None:
        self.say(when, e.DaemonStarted(version="0", config_path="/c", config_digest="c"))

    def greeted(self, when: float, model: str = "sim") -> None:
        self.say(
            when,
            e.LinkGreeted(
                port="/dev/vfo", protocol=1, model=model, firmware="1", serial="1", boot="1",
                low=1, high=60_000_000_000, resolution=1, settle=0.01, abilities=(),
            ),
        )  # fmt: skip

    def window(self, opens: float, closes: float, *, night: dt.date = NIGHT) -> None:
        self.say(
            opens,
            e.WindowOpened(
                window="evening", sweep="evening", night=night.isoformat(), opens=opens,
                closes=closes,
            ),
        )  # fmt: skip

    def sweep(
        self,
        begins: float,
        ends: float,
        *,
        dials: Iterable[int] = DIALS,
        pace: float = 6.0,
        active: Callable[[int, float], bool | None] = lambda dial, when: False,
        level: float | None = -60.0,
        unit: str = "dBm",
        vfo: str = "main",
    ) -> int:
        """Visits one after the other; `level` is that of active ones. Returns how many."""
        when, count = begins + pace, 0
        around = list(dials)
        while when <= ends:
            dial = around[count % len(around)]
            is_active = active(dial, when)
            measured = None if level is None else level if is_active else -100.0
            self.say(
                when,
                e.ChannelObserved(
                    sweep="evening", dial=dial, band=band(dial), readings=4,
                    level=measured, highest=measured, unit=unit,
                    floor=None if is_active is None else -100.0, active=is_active, lateness=0.0,
                ),
                vfo=vfo,
            )  # fmt: skip
            when, count = when + pace, count + 1
        self._writer.commit()
        return count


#: The window of the night, and a station that is always there and one that comes and goes.
OPENS, CLOSES = at("25 20:00"), at("26 06:00")
STEADY, COMING = DIALS[0], DIALS[5]


def on_the_air(dial: int, when: float) -> bool:
    """One station always, one from 22:00 to 02:00."""
    return dial == STEADY or (dial == COMING and at("25 22:00") <= when <= at("26 02:00"))


def ordinary(diary: Diary) -> None:
    """A night with a hand from 23:00 to 23:10 and a lost line from 03:00 to 03:30."""
    diary.started(at("25 12:30"))
    diary.greeted(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.say(OPENS, e.SweepStarted(sweep="evening", channels=10, dial=DIALS[0], by=WINDOW))
    diary.sweep(OPENS, at("25 23:00"), active=on_the_air)
    knob = e.Origin(door=e.Door.KNOB)
    diary.say(
        at("25 23:00"),
        e.KnobTurned(number=1, dial=7_300_000, oscillator=1),
        e.KnobTurned(number=2, dial=7_301_000, oscillator=1),
        e.SweepYielded(sweep="evening", dial=DIALS[3], to=knob, until=at("25 23:10")),
    )
    diary.say(at("25 23:10"), e.SweepResumed(sweep="evening", dial=DIALS[3], lost=600.0))
    diary.sweep(at("25 23:10"), at("26 03:00"), active=on_the_air)
    diary.say(at("26 03:00"), e.LinkLost(port="/dev/vfo", reason="missing", detail="gone"))
    diary.greeted(at("26 03:30"))
    diary.sweep(at("26 03:30"), CLOSES, active=on_the_air)
    diary.say(CLOSES, e.WindowClosed(window="evening", sweep="evening"))


def window(
    start: str = "20:00", end: str = "06:00", zone: ZoneInfo = BERLIN, name: str = "evening"
) -> Window:
    return Window(
        name=name, sweep="evening", start=parse_moment(start), end=parse_moment(end), zone=zone
    )


def setting(**changes: object) -> Setting:
    """A listener in Berlin, at noon after the night."""
    given: dict[str, object] = {
        "vfo": "main",
        "zone": BERLIN,
        "now": at("26 12:30"),
        "windows": (window(),),
    }
    return Setting(**{**given, **changes})  # type: ignore[arg-type]  # the fields are checked there
