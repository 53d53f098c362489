"""What is told of the receiver's sound: the state, its words, and when a sweep has no levels."""

from datetime import UTC
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from vfod import events as e
from vfod.run.derive import levels
from vfod.run.stream import Stream
from vfod.sim.jump import SimClock
from vfod.state import SoundPhase, State, VfoState, show

#: 2026-11-25 18:00:00 UTC, a Wednesday.
EVENING = 1_795_629_600.0

HEARD = e.AudioHeard(source="parec rx")
LOST = e.AudioLost(source="parec rx", reason="lost", detail="parec ended (Connection terminated)")
SILENT, CLIPPED, GOOD = (e.AudioJudged(soundness=one) for one in ("silent", "clipped", "good"))
STARTED = e.SweepStarted(
    sweep="evening", channels=51, dial=7_200_000, by=e.Origin(door=e.Door.WINDOW)
)


def observed(level: float | None = None) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep="evening",
        dial=7_200_000,
        band="41m",
        readings=0 if level is None else 8,
        level=level,
        highest=level,
        unit="dB",
        floor=None,
        active=None,
        lateness=0.0,
    )


class Told:
    """The real stream, an event a minute."""

    def __init__(self) -> None:
        self.clock = SimClock(EVENING)
        self.stream = Stream(self.clock, ["main"], derive=(levels,))
        self.feed = self.stream.subscribe("test")

    async def happen(self, *events: e.Event) -> None:
        for event in events:
            self.stream.emit(event, vfo="main")
            await self.clock.sleep_until(self.clock.monotonic() + 60)

    @property
    def state(self) -> State:
        return self.stream.state

    @property
    def vfo(self) -> VfoState:
        return self.stream.state.vfos["main"]

    def without(self) -> float | None:
        return self.vfo.sweep.without_levels

    @property
    def text(self) -> str:
        return str(show.to_plain(self.state)["text"])

    async def derived(self) -> list[e.Event]:
        self.feed.close()
        return [
            stamped.event
            async for stamped, _ in self.feed
            if isinstance(stamped.event, e.LevelsMissed | e.LevelsFound)
        ]


@pytest.mark.parametrize(
    ("events", "phase", "since"),
    [
        ([], SoundPhase.NONE, None),
        ([HEARD], SoundPhase.GOOD, 0),
        ([LOST], SoundPhase.GONE, 0),
        ([HEARD, LOST], SoundPhase.GONE, 1),
        ([LOST, e.AudioLost(source="parec rx", reason="missing", detail="")], SoundPhase.GONE, 0),
        ([LOST, HEARD], SoundPhase.GOOD, 1),
        ([HEARD, SILENT], SoundPhase.SILENT, 1),
        ([HEARD, CLIPPED, GOOD], SoundPhase.GOOD, 2),
        # A recorder that starts anew is listened to anew.
        ([HEARD, CLIPPED, LOST, HEARD], SoundPhase.GOOD, 3),
        ([HEARD, SILENT, e.AudioEnded(source="parec rx")], SoundPhase.NONE, None),
    ],
)
async def test_what_the_sound_is_and_since_when(
    events: list[e.Event], phase: SoundPhase, since: int | None
) -> None:
    """A table; minutes since the first event."""
    told = Told()
    await told.happen(*events)
    assert phase is told.vfo.sound.phase
    assert (None if since is None else EVENING + 60 * since) == told.vfo.sound.since


async def test_the_delay_outlives_an_outage() -> None:
    """What is reckoned with is that of before, until it was measured anew."""
    told = Told()
    await told.happen(HEARD, e.AudioTimed(delay=0.2, means="mute", used=0.2), LOST, HEARD)
    assert 0.2 == told.vfo.sound.delay
    await told.happen(e.AudioTimed(delay=None, means="", used=0.3))
    assert 0.3 == told.vfo.sound.delay


async def test_status_says_since_when_and_what_to_do() -> None:
    """In local time, and nothing where nothing is wrong."""
    told = Told()
    await told.happen(HEARD)
    assert 1 == len(told.text.splitlines())
    await told.happen(SILENT)
    assert (
        "the sound from parec rx is silent since Wed 18:01; is it plugged in and turned up? "
        "where the mute silences it, write speaker: leave"
    ) == told.text.splitlines()[1]
    await told.happen(CLIPPED)
    assert (
        "the sound from parec rx is clipped since Wed 18:02; turn down the level of the recording"
    ) == told.text.splitlines()[1]
    await told.happen(LOST)
    zone = ZoneInfo("Asia/Kolkata")
    assert [
        "no sound from parec rx since Wed 23:33: parec ended (Connection terminated); it is tried "
        "again all the time; nothing is measured by it meanwhile"
    ] == show.troubles(told.vfo, zone)
    plain: dict[str, Any] = show.to_plain(told.state)["vfos"]["main"]
    assert show.troubles(told.vfo, UTC) == plain["troubles"]
    assert ("gone", "lost") == (plain["sound"]["phase"], plain["sound"]["reason"])


@pytest.mark.parametrize(
    ("deaf", "reason", "again"),
    [
        (LOST, "gone", HEARD),
        (SILENT, "silent", GOOD),
        (SILENT, "silent", observed(-20.0)),
    ],
)
async def test_a_sweep_without_levels_says_so_once(
    deaf: e.Event, reason: str, again: e.Event
) -> None:
    """And once when it has them again; the status says it meanwhile, with since when."""
    told = Told()
    await told.happen(HEARD, STARTED, observed(-30.0), deaf, observed(), observed(), observed())
    assert EVENING + 4 * 60 == told.without()
    assert "sweep evening goes on without levels since Wed 18:04" == told.text.splitlines()[2]
    await told.happen(again, observed(-31.0))
    assert told.without() is None
    assert [
        e.LevelsMissed(sweep="evening", reason=reason),
        e.LevelsFound(sweep="evening"),
    ] == await told.derived()


@pytest.mark.parametrize(
    "events",
    [
        # Levels are wanted from nowhere, or come from the box all the same.
        [STARTED, observed()],
        [STARTED, LOST, observed(-80.0)],
        # Too loud is bad, and yet a level.
        [HEARD, STARTED, CLIPPED, observed(-10.0)],
        # A visit that was cut short.
        [HEARD, STARTED, observed()],
    ],
)
async def test_nothing_is_missed_where_nothing_is_wrong(events: list[e.Event]) -> None:
    """Only a sound that is gone or silent leaves a sweep without levels."""
    told = Told()
    await told.happen(*events)
    assert [] == await told.derived()


async def test_the_end_of_a_sweep_ends_it() -> None:
    """The next one is told of anew; sound that is wanted no more is not missed."""
    told = Told()
    ended = e.SweepEnded(
        sweep="evening", visits=1, passes=0, reason="", by=e.Origin(door=e.Door.WINDOW)
    )
    await told.happen(LOST, STARTED, observed(), ended)
    assert told.without() is None
    await told.happen(STARTED, observed())
    assert told.without() is not None
    await told.happen(e.AudioEnded(source="parec rx"))
    assert told.without() is None
    missed = e.LevelsMissed(sweep="evening", reason="gone")
    assert [missed, missed] == await told.derived()
