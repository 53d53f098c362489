"""The daemon is killed in mid-window, the clock moves, the daemon starts again: one honest gap."""

import asyncio
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.app.nights import EVENING
from vfod import events as e
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.config.loading import parse
from vfod.report.gather import gather
from vfod.report.setting import Setting
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import load as load_scenario
from vfod.sim.world import build
from vfod.store import Direct, Entry, Observation, Reader

NIGHT = Path(__file__).parent.parent / "golden" / "night.yaml"
HOUR = 3600.0
#: That night, but over at midnight: from 20:00 in Berlin, which is UTC + 1 in November.
CONFIG = NIGHT.read_text(encoding="utf-8").replace("until: 06:00", 'until: "00:00"')
OPENS = dt.datetime(2026, 11, 25, 19, 0, tzinfo=dt.UTC).timestamp()
CLOSES = OPENS + 4 * HOUR
#: The kill, 100 minutes into the window, and a second short of it: what a crash may cost.
KILLED = OPENS + 6000.0


class Killed(Direct):
    """A journal of a process that ends without a word: what was not written by then never is."""

    dead = False

    async def flush(self) -> list[e.Event]:
        return [] if self.dead else await super().flush()

    async def close(self) -> None:
        if self.dead:
            self._writer._disconnect()
            self._writer._unlock()
        else:
            await super().close()


async def run(
    journal: Path,
    *,
    wall: float,
    seconds: float,
    killed: bool = False,
    meanwhile: Callable[[SimClock], None] | None = None,
    after: float = 0.0,
) -> None:
    """The daemon from `wall` on for so long; `meanwhile` happens to its clock `after` so long."""
    clock = SimClock(wall)
    world = build(load_scenario(), clock=clock, seed=11)
    memory = Memory(journal)
    store = Killed(journal)
    store.open(clock.wall())
    daemon = Daemon(
        parse(CONFIG, "night.yaml"),
        clock=clock,
        store=store,
        port_for=lambda _: MemoryPort(world.box),
        memory=memory,
        seed=5,
    )
    living = asyncio.create_task(daemon.run())
    began = clock.monotonic()
    if meanwhile is not None:
        await clock.sleep_until(began + after)
        meanwhile(clock)
    await clock.sleep_until(began + seconds)
    store.dead = killed
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)
    world.box.close()


@dataclass
class Told:
    """What the journal has in the morning."""

    events: list[Entry]
    observations: list[Observation]

    @classmethod
    def by(cls, journal: Path) -> "Told":
        with Reader(journal) as reader:
            return cls(reader.events(), list(reader.observations()))

    def of(self, *kinds: str) -> list[e.Event]:
        return [n.event for n in self.events if n.kind in kinds and n.event is not None]


def reason_in_the_morning(journal: Path) -> str:
    """What the report of the night says of its one gap, and of nearly all of it."""
    config = parse(CONFIG, "night.yaml")
    setting = Setting(
        vfo="main", zone=config.place.zone, now=CLOSES + 600, windows=tuple(config.windows)
    )
    with Reader(journal) as reader:
        (window,) = gather(reader, setting, dt.date(2026, 11, 25)).windows
    (gap,) = window.gaps
    reason, seconds = gap.reasons[0]
    assert seconds > 0.9 * (gap.ends - gap.begins)
    return reason


def one_night_with_one_gap(told: Told, until: float, reason: str) -> None:
    """One window of one night, one entry for what is missing of it, and nothing measured in it."""
    opened = [n for n in told.of("window-opened") if isinstance(n, e.WindowOpened)]
    assert {("night", "2026-11-25", OPENS, CLOSES)} == {
        (n.window, n.night, n.opens, n.closes) for n in opened
    }
    assert 1 == len(told.of("window-closed"))
    (gap,) = (n for n in told.of("window-missed") if isinstance(n, e.WindowMissed))
    assert ("night", "2026-11-25", reason) == (gap.window, gap.night, gap.reason)
    # A crash may cost two seconds of observations (README), a visit takes 4.3 s, a hold 30 s.
    assert KILLED - 40 < gap.since <= KILLED
    assert until <= gap.until <= until + 25
    right = [seen for seen in told.observations if not seen.doubted]
    assert [] == [seen for seen in right if gap.since < seen.time < gap.until]
    before = [seen for seen in right if seen.time <= gap.since]
    after = [seen for seen in right if seen.time >= gap.until]
    assert before[-1].time == pytest.approx(gap.since, abs=0.01)
    assert gap.until <= after[0].time < gap.until + 10
    # It goes on with the channel that it had last, and sweeps to the end of the window.
    assert before[-1].observed.dial == after[0].observed.dial
    assert CLOSES - 40 < after[-1].time <= CLOSES
    dials = [seen.observed.dial for seen in after]
    assert len(set(dials)) == 51


async def test_a_power_cut_of_two_hours(tmp_path: Path) -> None:
    """The clock went on meanwhile: the night is joined late."""
    journal = tmp_path / "journal.sqlite"
    await run(journal, wall=EVENING, seconds=KILLED - EVENING, killed=True)
    back = KILLED + 2 * HOUR
    await run(journal, wall=back, seconds=CLOSES + 600 - back)
    told = Told.by(journal)
    one_night_with_one_gap(told, back, "daemon-down")
    assert "gone without a word" in reason_in_the_morning(journal)
    assert [] == told.of("clock-doubted", "clock-jumped")


@pytest.mark.parametrize(
    ("wakes_at", "doubt"),
    [
        (dt.datetime(1970, 1, 1, 0, 0, 30, tzinfo=dt.UTC).timestamp(), "before-release"),
        (KILLED - 0.5 * HOUR, "before-journal"),
    ],
    ids=["1970", "half an hour ago"],
)
async def test_a_machine_that_wakes_in_the_past(
    tmp_path: Path, wakes_at: float, doubt: str
) -> None:
    """After a cut of an hour its clock is wrong for two minutes, until network time is there.

    Until then no window runs, though the one clock is in the middle of it; then it is joined.
    """
    journal = tmp_path / "journal.sqlite"
    await run(journal, wall=EVENING, seconds=KILLED - EVENING, killed=True)
    back = KILLED + HOUR
    await run(
        journal,
        wall=wakes_at,
        seconds=CLOSES + 600 - back,
        meanwhile=lambda clock: clock.set_wall(back + 120),
        after=120,
    )
    told = Told.by(journal)
    (doubted,) = told.of("clock-doubted")
    assert isinstance(doubted, e.ClockDoubted)
    assert doubt == doubted.reason
    (trusted,) = told.of("clock-trusted")
    assert isinstance(trusted, e.ClockTrusted)
    assert 120 <= trusted.doubted <= 141
    one_night_with_one_gap(told, back + 120, "daemon-down")
    assert "the daemon was not running" == reason_in_the_morning(journal)
    # The entries of the doubt are marked, and only those.
    kinds = [n.kind for n in told.events if n.doubted]
    assert "clock-doubted" in kinds
    assert "link-greeted" in kinds
    assert "window-opened" not in kinds


async def test_a_machine_that_slept(tmp_path: Path) -> None:
    """Nobody was killed: suspended for an hour in mid-window, and the night goes on."""
    journal = tmp_path / "journal.sqlite"
    await run(
        journal,
        wall=EVENING,
        seconds=CLOSES + 600 - EVENING - HOUR,
        meanwhile=lambda clock: clock.suspend(HOUR),
        after=KILLED - EVENING,
    )
    told = Told.by(journal)
    (gap,) = (n for n in told.of("window-missed") if isinstance(n, e.WindowMissed))
    assert "asleep" == gap.reason
    assert pytest.approx(gap.until - gap.since, abs=0.01) == HOUR
    assert 1 == len(told.of("window-opened"))
    assert 1 == len(told.of("sweep-started"))
    assert "the machine slept" == reason_in_the_morning(journal)
