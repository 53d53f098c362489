"""The examples of docs/page.md and docs/home.md, run as they stand there."""

import asyncio
import json
import re
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.real_parts import Server, real_part
from tests.system.household import Household, until
from vfod.config.loading import parse
from vfod.store import Reader

pytestmark = pytest.mark.real_time

HOME, PAGE = Path("docs/home.md"), Path("docs/page.md")

REST = """
vfos: {main: {port: /dev/x}}
"""


#: The box says how strong, and the sound would say more, were the card there.
SOUND = "level_from: both\n    audio: {program: arecord, device: nothing-there, delay: 100ms}"


def now() -> float:
    return asyncio.get_running_loop().time()


def blocks(page: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(), re.M | re.S)


@pytest.fixture
async def household(tmp_path: Path, mosquitto: Server) -> AsyncIterator[Household]:
    it = Household(tmp_path, mosquitto, first=SOUND)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 1, now)
        it.ask("stay")
        it.ask("tune", frequency=9_420_000)
        await until(lambda: it.retained().get("vfod-main/dial/frequency") == "9420000", now)
        yield it
    finally:
        it.close()


def run(command: str) -> str:
    """What a command prints; it must succeed."""
    done = subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, timeout=120, check=False
    )
    assert 0 == done.returncode, done.stderr
    return done.stdout.strip()


async def test_the_examples_for_a_hub(household: Household) -> None:
    """Frequency, link, state, sound and clock; a nudge, a frequency, a sweep."""
    real_part("mosquitto_pub")
    await until(lambda: household.retained().get("vfod-main/sound/state"), now)
    at = f"-p {household.broker.port} -t"
    shown = {
        command: await asyncio.to_thread(run, command.replace("-t", at, 1))
        for command in blocks(HOME, "sh")
        if "_sub" in command
    }
    assert ["9420000", "up", "ready", "gone", "false", "trusted"] == list(shown.values())
    commands = [command for command in blocks(HOME, "sh") if "_pub" in command]
    nudge, frequency, note, sweep = (c.replace("-t", at, 1) for c in commands)
    # A person tuned just now, and automation waits its turn; so the command is given again.
    await until(lambda: (run(nudge), household.vfo()["dial"] != 9_420_000)[1], now)
    assert "mqtt" == household.vfo()["moved_by"]["door"]
    await until(lambda: (run(frequency), household.vfo()["dial"] == 9_420_000)[1], now)
    run(note)

    def noted() -> bool:
        with Reader(household.journal) as reader:
            kept = [entry.event for entry in reader.events(kinds=("note-taken",))]
        return "drums, then talk" in str(kept)

    await until(noted, now)
    household.ask("sweep-stop")
    start = sweep.replace("start evening", "start test")
    await until(lambda: (run(start), household.vfo()["sweep"]["phase"] != "idle")[1], now)


async def test_the_examples_for_scripts(household: Household) -> None:
    """The table of requests and the stream, by curl."""
    rpc, events = (
        command.replace("127.0.0.1:8073", f"127.0.0.1:{household.web}")
        for command in blocks(PAGE, "sh")
        if "curl" in command
    )
    real_part("curl")
    answer = json.loads(await asyncio.to_thread(run, rpc))
    assert 9_420_000 == answer["result"]["vfos"]["main"]["dial"]
    stream = await asyncio.to_thread(run, f"{events.strip()} | head -n 4")
    data = next(line for line in stream.splitlines() if line.startswith("data: "))
    assert 9_420_000 == json.loads(data.removeprefix("data: "))["vfos"]["main"]["dial"]


@pytest.mark.parametrize("text", [*blocks(HOME, "yaml"), *blocks(PAGE, "yaml")])
def test_the_settings_are_sound(text: str) -> None:
    """Each block of the pages is a part of a configuration without complaints."""
    parse(REST + text, "f")
