"""The responder on a small processor: how large it is, and that the daemon works with it.

The image is vfod/firmware/example_main.c as it is shipped; only its board_ functions are the
tests' own.
"""

import asyncio
import re
import subprocess
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest

from tests.conform.rig import by_command, by_hand, failed, passed_whole, skipped
from tests.firmware.build import ABILITIES, CORTEX_M3, FIRMWARE, RESPONDER, able, compiled
from tests.firmware.emulator import Emulator, deeds_on, image
from tests.firmware.sweeping import CHANNELS, observed, sweep
from tests.real_parts import real_part
from tests.sim.terminal import Terminal
from vfod import events as e
from vfod.clock import SystemClock
from vfod.device.address import port_from

ROOT = Path(__file__).parents[2]

#: What the responder may take of a small processor with everything on: code with its texts, and
#: memory, in bytes.
CODE_LIMIT, MEMORY_LIMIT = 6144, 512


@pytest.fixture(scope="module")
def image_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return image(tmp_path_factory.mktemp("image") / "image.elf")


@pytest.fixture
def emulator(image_file: Path, tmp_path: Path) -> Iterator[Emulator]:
    made = Emulator(image_file, tmp_path / "emulator.log")
    yield made
    made.close()


def sizes(file: Path) -> tuple[int, int]:
    """Code and constants, then memory, as the binary utilities count them."""
    words = [real_part("arm-none-eabi-size"), str(file)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    text, data, bss = map(int, done.stdout.splitlines()[1].split()[:3])
    return text + data, data + bss


def test_it_is_small(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    """At most 6 kB of code and 512 bytes of memory with every ability, and nothing of a library
    but what every compiler calls by itself.
    """
    options = [*CORTEX_M3, "-c", *able(ABILITIES)]
    responder = compiled("arm-none-eabi-gcc", options, [RESPONDER], tmp_path / "vfoline.o")
    source = tmp_path / "one.c"
    source.write_text('#include "vfoline.h"\nstruct vfoline one;\n')
    one = compiled("arm-none-eabi-gcc", options, [source], tmp_path / "one.o")
    (code, own), (_, state) = sizes(responder), sizes(one)
    record_property("code", code)
    record_property("memory", own + state)
    assert 1000 < code <= CODE_LIMIT
    assert 119 + 120 < own + state <= MEMORY_LIMIT
    names = subprocess.run(
        [real_part("arm-none-eabi-nm"), "-u", responder], capture_output=True, text=True, check=True
    )
    assert {"memcpy", "memset", "memmove", "memcmp"} >= set(names.stdout.split()) - {"U"}


def test_what_it_cannot_do_is_not_compiled(tmp_path: Path) -> None:
    """A box without abilities pays for none; docs/firmware.md says how much it is with and without,
    which another version of the compiler may change a little.
    """
    made = [
        sizes(compiled("arm-none-eabi-gcc", [*CORTEX_M3, "-c", *able(words)], [RESPONDER], file))[0]
        for words, file in ((ABILITIES, tmp_path / "all.o"), ((), tmp_path / "none.o"))
    ]
    assert made[0] - made[1] > 800
    page = (ROOT / "docs" / "firmware.md").read_text()
    said = re.search(r"`-Os` \| ([\d.]+) kB \| ([\d.]+) kB", page)
    assert said is not None
    assert made == pytest.approx([float(number) * 1000 for number in said.groups()], abs=250)


def test_the_stack_it_says(tmp_path: Path) -> None:
    """The deepest chain of calls takes no more of the stack than README.md says."""
    file = tmp_path / "vfoline.o"
    options = [
        *CORTEX_M3,
        "-c",
        "-fcallgraph-info=su",
        "-dumpdir",
        f"{tmp_path}/",
        *able(ABILITIES),
    ]
    compiled("arm-none-eabi-gcc", options, [RESPONDER], file)
    graph = next(tmp_path.glob("*.ci")).read_text()
    frames = {
        name: int(size)
        for name, size in re.findall(r'node: { title: "([^"]+)".*?\\n(\d+) bytes', graph)
    }
    calls: dict[str, list[str]] = {name: [] for name in frames}
    for caller, called in re.findall(r'sourcename: "([^"]+)" targetname: "([^"]+)"', graph):
        calls.setdefault(caller, []).append(called)

    def deepest(name: str) -> int:
        return frames.get(name, 0) + max(map(deepest, calls.get(name, [])), default=0)

    said = re.search(r"(\d+) bytes of stack", (FIRMWARE / "README.md").read_text())
    assert said is not None
    assert int(said[1]) - 100 < max(map(deepest, frames)) <= int(said[1])


@pytest.mark.real_time
async def test_the_daemon_sweeps_and_a_reset_costs_no_channel(
    emulator: Emulator, tmp_path: Path
) -> None:
    """Two bands are swept; the processor is reset in the middle, is set up again, and the sweep
    goes on at the channel at which it was.
    """
    seen = await sweep(emulator.port, tmp_path, disturb=emulator.reset)
    assert CHANNELS == observed(seen)
    assert 1 == len([x for x in seen if isinstance(x, e.BoxReset)])
    (resumed,) = (x for x in seen if isinstance(x, e.SweepResumed))
    assert resumed.dial in CHANNELS[11:14]
    first, second = (x.boot for x in seen if isinstance(x, e.LinkGreeted))
    assert first != second


@pytest.fixture
async def terminal(emulator: Emulator) -> AsyncIterator[Terminal]:
    """A terminal on the box, which it has answered."""
    made = Terminal()
    await made.open(port_from(emulator.port))
    made.send(b"\n")
    await made.settle_down()
    made.events.clear()
    yield made
    made.close()


@pytest.mark.real_time
async def test_a_hand_on_it(emulator: Emulator, terminal: Terminal) -> None:
    """Turns come in by an interrupt, are told, and stop a tune that crossed them (6.1, 6.7)."""
    await terminal.ok("step hz=100")
    await terminal.ok("tune f=8000000")
    emulator.hand("+++-b")

    def told() -> bool:
        words = {event.word: event.fields for event in terminal.events}
        return "button" in words and words.get("knob", {}).get("f") == "8000200.000"

    await terminal.until(told)
    await terminal.ok("ping")
    last = terminal.events[-1]
    turns = [event.fields["f"] for event in terminal.events if event.word == "knob"]
    assert "8000200.000" == turns[-1]
    assert ["b"] == [event.fields["b"] for event in terminal.events if event.word == "button"]
    refusal = await terminal.refusal("tune f=9000000 h=1")
    assert ("hand", "8000200.000") == (refusal["code"], refusal["f"])
    assert "9000000.000" == (await terminal.ok(f"tune f=9000000 h={last.head[1:]}"))["f"]
    # At the end of the range it goes no further and tells nothing (6.10).
    terminal.events.clear()
    await terminal.ok("tune f=160000000")
    emulator.hand("++")
    await terminal.ok("ping")
    await terminal.pause(0.2)
    assert [] == terminal.events


@pytest.mark.real_time
async def test_256_bytes_without_a_pause(terminal: Terminal) -> None:
    """1.4: none of them is lost, though the answers are ten times as long."""
    terminal.send(b"ping\n" * 51 + b"\n")
    assert ["ok"] * 51 == [(await terminal.answer()).word for _ in range(51)]


@pytest.mark.real_time
async def test_its_times(terminal: Terminal) -> None:
    """7.1: a tune is answered after the settle time of 20 ms, never before and not 50 ms later; of
    the lateness the least counts, because the rest is that of the machine that emulates.
    """
    loop = asyncio.get_running_loop()
    took: list[float] = []
    while len(took) < 5 or (min(took) > 0.02 + 0.05 and len(took) < 100):
        begun = loop.time()
        await terminal.ok(f"tune f={7 + len(took) % 5}000000")
        took.append(loop.time() - begun)
    assert 0.02 <= min(took) <= 0.02 + 0.05


@pytest.mark.real_time
async def test_it_conforms(emulator: Emulator) -> None:
    """The command finds nothing, nor do hands on the knob, the button and the reset."""
    passed_whole(*await by_command(emulator.port), least=120)
    clock = SystemClock()
    found = await by_hand(port_from(emulator.port), clock, deeds_on(emulator, clock))
    assert [] == failed(found)
    assert {"battery-low": "it has not the ability battery"} == skipped(found)
