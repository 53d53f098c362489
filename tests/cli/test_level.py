"""`vfod level`: tables and settle times of the simulated box, whose truth is known."""

import asyncio
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from math import exp
from pathlib import Path

import pytest

from vfod.cli.level import (
    RESERVE,
    Prompt,
    level,
    make_table,
    measure_settling,
    settle_lines,
    yaml_of,
)
from vfod.cli.levelbox import Direct
from vfod.config.loading import parse as parse_config
from vfod.config.model import VfoConfig
from vfod.device.link import Link
from vfod.errors import UsageError
from vfod.radio.levels import LevelTable
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import parse
from vfod.sim.world import World, build
from vfod.survey.settling import settled

NOON = 1_795_608_000.0

SCENARIO = """
box: {{output: true}}
floor: {{bands: [{{from: 7100kHz, to: 7600kHz, hours: {{0: -130}}}}]}}
receiver: {{noise: -110dBm{more}}}
stations:
  - {{name: Radio Brackwater, frequency: 7210kHz, power: -60}}
"""

CONFIG = """
vfos:
  main:
    port: /dev/main
    level_table: {0: -130dBm, 4095: -10dBm}
    receiver: [{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}]
"""

STATION, EMPTY = 7_210_000, 7_240_000


def settings() -> VfoConfig:
    return parse_config(CONFIG, "vfod.yaml").vfos["main"]


@asynccontextmanager
async def linked(more: str = "") -> AsyncIterator[tuple[Direct, World]]:
    clock = SimClock(NOON)
    world = build(parse(SCENARIO.format(more=more)), clock=clock, seed=1)
    link = await Link.open(MemoryPort(world.box), clock, 1, lambda _: None)
    running = asyncio.create_task(link.run())
    try:
        yield Direct(link, clock, settings()), world
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        link.close()
        world.box.close()


@pytest.mark.parametrize(("release", "wanted"), [(0.1, 0.4), (0.3, 1.2), (1.0, 3.9)])
async def test_the_settle_of_a_known_gain_control(release: float, wanted: float) -> None:
    """50 dB are within 1 dB after ln 50 = 3.9 time constants of an exponential: arithmetic."""
    more = f", gain_control: {{attack: 20ms, release: {release * 1000:g}ms}}"
    async with linked(more) as (box, _):
        up, down = await measure_settling(box, settings(), EMPTY, STATION, 8.0)
        assert 50 == pytest.approx(up.end - down.end, abs=5)
        assert up.after is not None
        assert down.after is not None
        assert up.after < 0.2
        assert wanted == pytest.approx(down.after, rel=0.15)
        *_, written = settle_lines(EMPTY, STATION, up, down)
        proposed = float(written.removeprefix("settle: ").removesuffix("s"))
        assert down.after * (1 + RESERVE) <= proposed <= down.after * (1 + RESERVE) + 0.05


async def test_a_record_too_short_is_said() -> None:
    """Nothing is proposed from a level that still moves."""
    async with linked(", gain_control: {attack: 20ms, release: 2s}") as (box, _):
        jumps = await measure_settling(box, settings(), EMPTY, STATION, 2.0)
        said = "\n".join(settle_lines(EMPTY, STATION, *jumps))
        assert "still moving at the end" in said
        assert "settle:" not in said


def test_two_frequencies_of_the_same_level_tell_little() -> None:
    """It is said, with what to do."""
    flat = settled([[(k / 100, -60.0) for k in range(300)]], 3.0)
    assert 0.0 == flat.after
    assert "tell more" in settle_lines(EMPTY, STATION, flat, flat)[-2]


@pytest.mark.parametrize("constant", [0.05, 0.4])
def test_an_exponential_by_arithmetic(constant: float) -> None:
    """Of 20 dB, 1 dB is left after ln 20 time constants."""
    jump = [(k / 200, -60.0 - 20 * exp(-k / 200 / constant)) for k in range(800)]
    found = settled([jump], 4.0)
    assert 2.9957 * constant == pytest.approx(found.after, abs=0.02)


def answers(world: World, lines: Iterable[str | None], said: list[str]) -> Prompt:
    """A person who sets the station's level to what is typed."""
    left = iter(lines)

    async def prompt(text: str) -> str | None:
        said.append(text)
        line = next(left)
        if line is not None and line.strip().endswith("dBm"):
            one = parse(SCENARIO.format(more="").replace("-60}", f"{line.strip()[:-3]}}}"))
            other = build(one, clock=SimClock(world.clock.wall()), seed=1)
            world.receiver._air = other.air
            other.box.close()
        return None if line is None else line + "\n"

    return prompt


async def test_a_table_is_walked_through(capsys: pytest.CaptureFixture[str]) -> None:
    """The points are those of the simulator's own table; slips are told and cost nothing."""
    typed = ["-90dBm", "loud", "-70", "-30dB", "0uV", "-70dBm", "-50dBm", "back", "-50dBm", ""]
    async with linked() as (box, world):
        said: list[str] = []
        prompt = answers(world, typed, said)
        found = await make_table(box, STATION, prompt)
        assert found is not None
        assert len(typed) == len(said)
        truth = world.receiver.level_table()
        for counts, decibels in found.points:
            assert decibels == pytest.approx(truth.level(counts).value, abs=1.0)
    out = capsys.readouterr().out
    assert "'loud' is not a level in dBm or dB; write it like -73dBm" in out
    assert "'-70' has no unit; write -70dBm" in out
    assert "the points before are in dBm" in out
    assert "dropped: " in out
    # R.1: S9 is -73 dBm below 30 MHz, an S-unit 6 dB.
    assert "-70dBm, S9+3 dB" in out
    assert "-90dBm, S6" in out
    assert "0 is no level; write what the source gives, like 50uV" in out


async def test_a_source_with_a_scale_in_microvolts(capsys: pytest.CaptureFixture[str]) -> None:
    """50 uV is S9, -73.0 dBm: docs/standards.md section 4.1 (50.059, computed)."""
    async with linked() as (box, world):
        prompt = answers(world, ["50uV", "-93dBm", ""], [])
        await make_table(box, STATION, prompt)
    assert "-73dBm, S9, 50.1 \u00b5V" in capsys.readouterr().out


async def test_what_is_printed_can_be_pasted() -> None:
    """The configuration reads the text as the same table, rising or falling."""
    for points in (((200, -110.0), (900, -20.5)), ((10, -20.0), (900, -110.0))):
        table = LevelTable(points)
        text = CONFIG.replace("level_table: {0: -130dBm, 4095: -10dBm}", yaml_of(table))
        assert {"vfo": table} == parse_config(text, "vfod.yaml").vfos["main"].level_tables


async def test_a_point_that_does_not_fit_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Below its own noise the detector stands still: the same counts for two levels."""
    async with linked() as (box, world):
        prompt = answers(world, ["-180dBm", "-170dBm", "back", "-60dBm", ""], [])
        found = await make_table(box, STATION, prompt)
        assert found is not None
        assert [-180.0, -60.0] == [decibels for _, decibels in found.points]


async def test_one_point_is_no_table(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is printed to paste, and why."""
    async with linked() as (box, world):
        prompt = answers(world, ["-60dBm", None], [])
        assert await make_table(box, None, prompt) is None
    assert "two points at least" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["settle", "9420"], "settle needs two frequencies"),
        (["table", "9420"], "table takes no frequencies"),
        (["settle", "9420", "9450", "--watch", "100ms"], "a second at least"),
    ],
)
def test_slips_of_the_words(words: list[str], says: str, tmp_path: Path) -> None:
    """A clear error before anything is opened."""
    path = tmp_path / "vfod.yaml"
    path.write_text(CONFIG)
    with pytest.raises(UsageError, match=says):
        level([*words, "--config", str(path)])
