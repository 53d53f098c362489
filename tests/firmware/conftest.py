"""The responder, compiled once for each run."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.build import ABILITIES, host_program, shared_library
from tests.firmware.cbox import ProcessBox, library


@pytest.fixture(scope="session")
def program(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Gives the responder as a program with these abilities, under the sanitizers."""
    made: dict[tuple[str, ...], Path] = {}

    def make(abilities: tuple[str, ...] = ABILITIES) -> Path:
        if abilities not in made:
            made[abilities] = host_program(tmp_path_factory.mktemp("host") / "host", abilities)
        return made[abilities]

    return make


@pytest.fixture(scope="session")
def functions(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Any]:
    """Gives the responder as functions of this process, with these abilities."""
    made: dict[tuple[str, ...], Any] = {}

    def make(abilities: tuple[str, ...] = ABILITIES) -> Any:
        if abilities not in made:
            path = shared_library(tmp_path_factory.mktemp("library") / "responder.so", abilities)
            made[abilities] = library(path)
        return made[abilities]

    return make


@pytest.fixture
def process(program: Callable[..., Path]) -> Iterator[Callable[..., ProcessBox]]:
    """Starts boxes; none of them may have anything to complain of at the end."""
    started = []

    def start(abilities: tuple[str, ...] = ABILITIES) -> ProcessBox:
        started.append(ProcessBox(program(abilities)))
        return started[-1]

    yield start
    assert [0] * len(started) == [one.close() for one in started]
