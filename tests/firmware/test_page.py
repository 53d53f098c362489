"""docs/firmware.md does what it says, step by step, on a fresh project for the emulated processor.

Nothing is taken but what the page says: the command that writes the files, the compiler's options,
and its code in its order. The project brings what the page calls `board_` (start-up code and
linker script included), as a builder's own does.
"""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conform.rig import by_command, by_hand, failed, passed_whole, skipped
from tests.firmware.build import CORTEX_M3, HERE, STRICT
from tests.firmware.emulator import Emulator, deeds_on
from tests.real_parts import real_part
from vfod.clock import SystemClock
from vfod.device.address import port_from

PAGE = HERE.parents[1] / "docs" / "firmware.md"
BOARD = HERE / "cortex_m3"


def blocks(page: str, language: str) -> list[str]:
    """What stands in the page's blocks of that language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", page, re.DOTALL | re.MULTILINE)


@pytest.fixture
def image_file(tmp_path: Path) -> Path:
    """The project as it is after the ten steps, compiled without a warning."""
    first, last = (shlex.split(block) for block in blocks(PAGE.read_text(), "sh"))
    assert ["vfod", "conform", "PORT"] == last
    assert ["vfod", "firmware", "line"] == first
    subprocess.run([sys.executable, "-m", *first], cwd=tmp_path, check=True, capture_output=True)
    page = (tmp_path / "line" / "firmware.md").read_text()
    (tmp_path / "main.c").write_text("".join(blocks(page, "c")))
    options = re.findall(r"-(?:I|DVFOLINE_)[a-zA-Z_]+(?:=1)?", page)
    assert ["-Iline", "-DVFOLINE_KNOB=1", "-DVFOLINE_LEVEL=1", "-DVFOLINE_OUTPUT=1"] == options
    words = [real_part("arm-none-eabi-gcc"), *CORTEX_M3, *STRICT, *options]
    words += ["line/vfoline.c", "main.c", "-o", "image.elf"]
    words += [str(BOARD / "board.c"), "-nostdlib", f"-Wl,-T,{BOARD / 'image.ld'}"]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert ("", 0) == (done.stdout + done.stderr, done.returncode)
    return tmp_path / "image.elf"


@pytest.mark.real_time
async def test_the_page_followed_literally(image_file: Path, tmp_path: Path) -> None:
    """The check of step 10 finds nothing, by the command and then with a hand on knob and reset."""
    emulator = Emulator(image_file, tmp_path / "emulator.log")
    try:
        code, told = await by_command(emulator.port)
        passed_whole(code, told, least=120)
        clock = SystemClock()
        found = await by_hand(port_from(emulator.port), clock, deeds_on(emulator, clock))
    finally:
        emulator.close()
    assert [] == failed(found)
    assert {
        "hand-press": "it has not the ability touch",
        "battery-low": "it has not the ability battery",
    } == skipped(found)
