"""The responder is taken into other people's programs: no compiler may have a word to say of it."""

import re
from pathlib import Path

import pytest

from tests.firmware.build import ABILITIES, EXAMPLE, RESPONDER, able, compiled
from tests.firmware.emulator import EXAMPLE_ABLE


@pytest.mark.parametrize("command", ["gcc", "clang"])
@pytest.mark.parametrize("words", [(), *((one,) for one in ABILITIES), ABILITIES], ids=",".join)
def test_any_abilities(tmp_path: Path, command: str, words: tuple[str, ...]) -> None:
    """None, each alone, and all of them."""
    compiled(command, ["-O2", "-c", *able(words)], [RESPONDER], tmp_path / "vfoline.o")


@pytest.mark.parametrize("command", ["gcc", "clang"])
def test_the_example(tmp_path: Path, command: str) -> None:
    """It compiles with the options that it names."""
    options = able(EXAMPLE_ABLE)
    assert " ".join(options) in EXAMPLE.read_text().replace("\n * ", " ")
    compiled(command, ["-O2", "-c", *options], [EXAMPLE], tmp_path / "example.o")


def test_the_header_in_another_language(tmp_path: Path) -> None:
    """A program in C++ may include it."""
    source = tmp_path / "main.cpp"
    source.write_text('#include "vfoline.h"\nvfoline line;\nint main() { vfoline_poll(&line); }\n')
    options = ["-x", "c++", "-std=c++11", "-c", *able(ABILITIES)]
    compiled("clang", options, [source], tmp_path / "main.o")


def test_nothing_of_a_library() -> None:
    """No header but those of the compiler itself, no heap, no floating point."""
    text = RESPONDER.read_text() + RESPONDER.with_suffix(".h").read_text()
    included = {line.split()[1] for line in text.splitlines() if line.startswith("#include")}
    assert {'"vfoline.h"', "<stdbool.h>", "<stdint.h>"} == included
    assert [] == re.findall(r"\b(?:malloc|float|double)\b", text)
