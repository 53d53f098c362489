"""What is scraped: values by hand, the checker's own judgement, and bounds.

Names, units and suffixes: OpenMetrics 1.0 (draft-richih-opsawg-openmetrics-01) and the naming
guide of the text format, judged by promtool and by the library's strict OpenMetrics parser.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, replace

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.outputs.house import GREETED, House, observed, tuned
from vfod import events as e
from vfod.outputs.metrics import Metrics
from vfod.sim.jump import SimClock

pytestmark = pytest.mark.no_leaks

OPENMETRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@dataclass
class Journal:
    """What a journal says of itself."""

    queued: int = 3
    dropped: int = 1
    failing: bool = False


class Scraped:
    """Metrics that count what happens in a house."""

    def __init__(self) -> None:
        self.house = House(SimClock(1_795_629_600.0))
        self.journal = Journal()
        self.metrics = Metrics(
            subscribe=self.house.subscribe,
            snapshot=self.house.snapshot,
            tell=self.house.tell,
            clock=self.house.clock,
            version="0.1.0",
            journal=self.journal,
            queues=self.house.stream.queues,
        )
        self.tally = self.metrics.tally("main")

    async def happen(self, *events: e.Event) -> None:
        self.house.happen(*events)
        clock = self.house.clock
        await clock.sleep_until(clock.monotonic() + 0.01)

    def page(self, accept: str = "") -> str:
        return self.metrics.render(accept)[0].decode()

    def ours(self) -> list[str]:
        """The samples of the daemon itself, without those of the process and the interpreter."""
        return [line for line in self.page().splitlines() if line.startswith("vfod_")]

    def value(self, sample: str) -> float | None:
        found = [line for line in self.ours() if line.rpartition(" ")[0] == sample]
        return float(found[0].rpartition(" ")[2]) if found else None


@pytest.fixture
async def scraped() -> AsyncIterator[Scraped]:
    scraped = Scraped()
    task = asyncio.create_task(scraped.metrics.run())
    await scraped.happen()
    yield scraped
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def evening(scraped: Scraped) -> None:
    """A box greets, is tuned, three visits are made, and the line is lost."""
    scraped.house.tell(e.DoorFailed(door="mqtt", reason="refused", detail="not you"))
    await scraped.happen(
        GREETED,
        e.BoxMeasured(battery=8.14, temperature=21.5),
        e.OutputSwitched(on=True, by=e.Origin(door=e.Door.DAEMON)),
        e.BatteryLow(battery=8.14),
        e.AudioHeard(source="parec rx"),
        e.AudioTimed(delay=0.25, means="mute", used=0.25),
        e.FilterSelected(select=0),
        e.FilterSelected(select=3),
        tuned(9_420_001),
        e.SweepStarted(
            sweep="evening", channels=3, dial=9_400_000, by=e.Origin(door=e.Door.WINDOW)
        ),
        observed(9_400_000, lateness=0.0004),
        observed(9_405_000, lateness=0.004, active=True),
        replace(observed(9_410_000, lateness=3.0), band=None),
        e.LinkLost(port="/dev/vfo", reason="lost", detail="unplugged"),
        # An attempt to open it again that fails in another way is no further loss.
        e.LinkLost(port="/dev/vfo", reason="missing", detail="no such port"),
    )
    scraped.tally.measured("tune", 0.025, "ok")
    scraped.tally.measured("tune", 0.031, "ok")
    scraped.tally.measured("read", 0.9, "lost")
    scraped.tally.strays["garbage"] += 7
    scraped.tally.retries += 2
    scraped.metrics.count(e.Door.SHELL, "tune", "ok")
    scraped.metrics.count(e.Door.SHELL, "tune", "range")
    scraped.metrics.count(e.Door.SHELL, "tune", "ok")


async def test_the_values_of_an_evening(scraped: Scraped) -> None:
    """By hand from what happened; the oscillator of the house runs 455 kHz above the dial."""
    await evening(scraped)
    lateness = "vfod_visit_lateness_seconds"
    for sample, expected in {
        'vfod_build_info{version="0.1.0"}': 1,
        'vfod_dial_frequency_hertz{vfo="main"}': 9_420_001,
        'vfod_oscillator_frequency_hertz{vfo="main"}': 9_875_001,
        'vfod_link_up{vfo="main"}': 0,
        'vfod_link_losses_total{reason="lost",vfo="main"}': 1,
        'vfod_link_losses_total{reason="missing",vfo="main"}': None,
        'vfod_battery_volts{vfo="main"}': 8.14,
        'vfod_temperature_celsius{vfo="main"}': 21.5,
        'vfod_filter_switchings_total{vfo="main"}': 1,
        'vfod_battery_low{vfo="main"}': 1,
        'vfod_door_failures_total{door="mqtt",reason="refused"}': 1,
        'vfod_door_up{door="mqtt"}': 0,
        'vfod_output_on{vfo="main"}': 1,
        'vfod_window_open{vfo="main"}': 0,
        'vfod_level_decibels{reference="dBm",vfo="main"}': -103.5,
        'vfod_noise_floor_decibels{reference="dBm",vfo="main"}': -104,
        'vfod_line_questions_total{result="ok",verb="tune",vfo="main"}': 2,
        'vfod_line_questions_total{result="lost",verb="read",vfo="main"}': 1,
        'vfod_line_answer_seconds_bucket{le="0.02",vfo="main"}': 0,
        'vfod_line_answer_seconds_bucket{le="0.03",vfo="main"}': 1,
        'vfod_line_answer_seconds_count{vfo="main"}': 3,
        'vfod_line_strays_total{kind="garbage",vfo="main"}': 7,
        'vfod_line_retries_total{vfo="main"}': 2,
        'vfod_line_gaps_total{vfo="main"}': 0,
        'vfod_queue_length{queue="test"}': 0,
        'vfod_queue_dropped_total{queue="test"}': 0,
        'vfod_visits_total{band="31m",vfo="main"}': 2,
        'vfod_visits_total{band="outside",vfo="main"}': 1,
        'vfod_active_visits_total{band="31m",vfo="main"}': 1,
        'vfod_active_visits_total{band="outside",vfo="main"}': 0,
        lateness + '_bucket{le="0.001",vfo="main"}': 1,
        lateness + '_bucket{le="0.005",vfo="main"}': 2,
        lateness + '_bucket{le="1.0",vfo="main"}': 2,
        lateness + '_bucket{le="+Inf",vfo="main"}': 3,
        lateness + '_count{vfo="main"}': 3,
        lateness + '_sum{vfo="main"}': 3.0044,
        'vfod_sweep_phase{phase="sweeping",vfo="main"}': 1,
        'vfod_sweep_phase{phase="idle",vfo="main"}': 0,
        'vfod_events_total{kind="channel-observed"}': 3,
        'vfod_requests_total{door="shell",method="tune",result="ok"}': 2,
        'vfod_requests_total{door="shell",method="tune",result="range"}': 1,
        'vfod_door_up{door="metrics"}': 1,
        "vfod_journal_queue_length": 3,
        "vfod_journal_dropped_total": 1,
        "vfod_journal_failing": 0,
    }.items():
        assert expected == scraped.value(sample), sample


async def test_sound_and_clock(scraped: Scraped) -> None:
    """What the sound is, as one of its words; whether a sweep does without, and the clock."""
    assert 0 == scraped.value("vfod_clock_doubted")
    assert scraped.value('vfod_sound_state{state="good",vfo="main"}') is None
    await scraped.happen(
        e.AudioHeard(source="parec rx"), e.AudioTimed(delay=0.25, means="mute", used=0.25)
    )
    assert 1 == scraped.value('vfod_sound_state{state="good",vfo="main"}')
    assert 0.25 == scraped.value('vfod_sound_delay_seconds{vfo="main"}')
    assert 0 == scraped.value('vfod_sweep_without_levels{vfo="main"}')
    await scraped.happen(
        e.AudioLost(source="parec rx", reason="lost", detail="parec ended"),
        e.LevelsMissed(sweep="evening", reason="gone"),
    )
    scraped.house.tell(e.ClockDoubted(known=0.0, reason="before-journal"))
    await scraped.happen()
    found = [line for line in scraped.ours() if line.startswith("vfod_sound_state{")]
    assert {"clipped": "0.0", "gone": "1.0", "good": "0.0", "silent": "0.0"} == {
        line.split('"')[1]: line.rpartition(" ")[2] for line in found
    }
    assert 1 == scraped.value('vfod_sweep_without_levels{vfo="main"}')
    assert 1 == scraped.value("vfod_clock_doubted")


async def test_what_is_not_known_has_no_sample(scraped: Scraped) -> None:
    """Before a box has greeted there is no frequency; not 0, and not NaN."""
    names = {line.partition("{")[0].partition(" ")[0] for line in scraped.ours()}
    assert not names & {
        "vfod_dial_frequency_hertz",
        "vfod_oscillator_frequency_hertz",
        "vfod_battery_volts",
        "vfod_temperature_celsius",
    }
    assert 0 == scraped.value('vfod_link_up{vfo="main"}')


async def test_the_checker_has_no_complaint(
    scraped: Scraped, promtool: Callable[[str], list[str]]
) -> None:
    """Neither of a daemon just started nor of one with a past."""
    assert [] == promtool(scraped.page())
    await evening(scraped)
    assert [] == promtool(scraped.page())


async def test_a_strict_parser_reads_the_other_format(scraped: Scraped) -> None:
    """OpenMetrics: units are in the names, and the text ends as it must."""
    await evening(scraped)
    page = scraped.page(OPENMETRICS)
    parsed = text_string_to_metric_families(page)  # type: ignore[no-untyped-call] # the library's
    families = {family.name: family for family in parsed}
    units = {name: family.unit for name, family in families.items() if family.unit}
    for name, unit in {
        "vfod_dial_frequency_hertz": "hertz",
        "vfod_battery_volts": "volts",
        "vfod_sound_delay_seconds": "seconds",
        "vfod_temperature_celsius": "celsius",
        "vfod_visit_lateness_seconds": "seconds",
        "vfod_line_answer_seconds": "seconds",
        "vfod_level_decibels": "decibels",
    }.items():
        assert unit == units[name]
    assert "info" == families["vfod_build"].type
    assert page.endswith("# EOF\n")


async def test_the_number_of_series_does_not_grow(scraped: Scraped) -> None:
    """A thousand channels in one band and a thousand turns of the knob add no series."""
    await evening(scraped)
    before = len(scraped.ours())
    for number in range(1000):
        dial = 9_400_000 + 5 * number
        await scraped.happen(
            tuned(dial),
            observed(dial, active=bool(number % 2)),
            e.KnobTurned(number=number, dial=dial, oscillator=(dial + 455_000) * 1000),
        )
    assert before + 1 == len(scraped.ours()), "the kind of event that is new"
    assert len(scraped.page().splitlines()) < 300
    assert not any("9400" in line.partition("}")[0] for line in scraped.ours())


async def test_what_a_queue_lost_is_not_forgotten(scraped: Scraped) -> None:
    """A counter never falls, also when the part that was too slow is gone."""
    stream = scraped.house.stream
    slow = stream.subscribe("slow", limit=2)
    await scraped.happen(*(tuned(9_420_000 + number) for number in range(5)))
    sample = 'vfod_queue_dropped_total{queue="slow"}'
    assert (3, 2) == (scraped.value(sample), scraped.value('vfod_queue_length{queue="slow"}'))
    stream.unsubscribe(slow)
    assert (3, 0) == (scraped.value(sample), scraped.value('vfod_queue_length{queue="slow"}'))


def test_a_second_line_to_a_vfo_is_counted_with_the_first(scraped: Scraped) -> None:
    """The counters outlive links and configurations."""
    assert scraped.tally is scraped.metrics.tally("main")
