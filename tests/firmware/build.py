"""Compiles the responder in C: for this machine under sanitizers, and for a small processor."""

import os
import subprocess
from collections.abc import Iterable
from pathlib import Path

from tests.real_parts import real_part

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "vfod" / "firmware"
RESPONDER = FIRMWARE / "vfoline.c"
EXAMPLE = FIRMWARE / "example_main.c"

#: The abilities of docs/protocol.md, 4.7, in its order.
ABILITIES = ("knob", "touch", "level", "battery", "temperature", "output", "select", "mute")

#: Nothing of these may be said about code that others put into their own.
STRICT = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Wvla"]
STRICT.append("-Werror")

CORTEX_M3 = ["-mcpu=cortex-m3", "-mthumb", "-ffreestanding", "-Os"]


def able(words: Iterable[str]) -> list[str]:
    """The options that compile these abilities in."""
    return [f"-DVFOLINE_{word.upper()}=1" for word in words]


def compiled(command: str, options: Iterable[str], sources: Iterable[Path], to: Path) -> Path:
    """Compile and link; what the compiler says fails the test."""
    words = [real_part(command), *STRICT, f"-I{FIRMWARE}", f"-I{HERE}", *options]
    words += [*map(str, sources), "-o", str(to)]
    done = subprocess.run(
        words, capture_output=True, text=True, check=False, env={**os.environ, "LC_ALL": "C"}
    )
    assert ("", 0) == (done.stdout + done.stderr, done.returncode)
    return to


def host_program(to: Path, abilities: Iterable[str] = ABILITIES) -> Path:
    """tests/firmware/host_main.c; it ends with a message when a sanitizer finds something."""
    options = ["-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]
    sources = [RESPONDER, HERE / "model.c", HERE / "host_main.c"]
    return compiled("gcc", [*options, *able(abilities)], sources, to)


def shared_library(to: Path, abilities: Iterable[str] = ABILITIES) -> Path:
    """The responder with tests/firmware/model.c, to be called from here; undefined behaviour
    ends the process.
    """
    options = ["-O2", "-g", "-fPIC", "-shared", "-fsanitize=undefined"]
    options.append("-fno-sanitize-recover=all")
    return compiled("gcc", [*options, *able(abilities)], [RESPONDER, HERE / "model.c"], to)
