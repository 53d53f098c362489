"""What a restart takes from the journal, written as the daemon writes it."""

from pathlib import Path

from tests.store.samples import EVENING, stamped
from vfod import events as e
from vfod.app.recall import MEMORY, Memory, Recalled
from vfod.store import Direct

WINDOW = e.Origin(door=e.Door.WINDOW)
STARTED = e.SweepStarted(sweep="evening", channels=11, dial=7_200_000, by=WINDOW)
#: As the keeper ends a sweep for the battery's sake.
ENDED = e.SweepEnded(
    sweep="evening", visits=5, passes=0, reason="battery", by=e.Origin(door=e.Door.DAEMON)
)


async def remembered(path: Path, *events: e.Event) -> Memory:
    store = Direct(path)
    store.open(EVENING)
    for number, event in enumerate(events, 1):
        store.add(stamped(number, event))
    await store.close()
    return Memory(path)


def observed(dial: int, floor: float | None) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep="evening", dial=dial, band="41m", readings=8, level=-70.0, highest=-68.0,
        unit="dBm", floor=floor, active=None if floor is None else True, lateness=0.0,
    )  # fmt: skip


async def test_floors_of_the_last_day_are_remembered(tmp_path: Path) -> None:
    """The mean of each half hour of the day; visits without one do not count."""
    visits = (observed(7_200_000, -101.0), observed(7_205_000, None), observed(7_210_000, -99.0))
    memory = await remembered(tmp_path / "j", *visits)
    half_hour = int(EVENING // 1800) % 48
    (past,) = memory.of("main", EVENING + 3600).floors
    assert ("evening", "41m", half_hour) == (past.sweep, past.band, past.half_hour)
    assert -100.0 == past.floor
    assert () == memory.of("main", EVENING + 2 * MEMORY).floors
    assert () == memory.of("attic", EVENING + 3600).floors


async def test_a_battery_that_was_low_is_remembered(tmp_path: Path) -> None:
    """With the highest voltage at which it was low; the sweep it ended is not taken up again."""
    low = e.BatteryLow(battery=3.5), ENDED, e.BatteryLow(battery=3.4)
    memory = await remembered(tmp_path / "j", STARTED, *low)
    assert 3.5 == memory.battery_low_at("main")
    assert Recalled(alive=EVENING + 4) == memory.of("main", EVENING + 100)


async def test_a_battery_that_was_charged_is_forgotten(tmp_path: Path) -> None:
    """What was told since holds."""
    events = (e.BatteryLow(battery=3.5), e.BatteryFine(battery=4.1))
    assert (await remembered(tmp_path / "j", *events)).battery_low_at("main") is None
    again = await remembered(tmp_path / "k", *events, e.BatteryLow(battery=3.3))
    assert 3.3 == again.battery_low_at("main")
