"""The house stands as it was drawn: who imports whom, and what is written in which room.

Every rule is shown a bad sample first, because a rule that cannot fail guards nothing.
"""

import ast
import graphlib
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

#: More lines than a reader holds in the head.
LONGEST = 400

#: Names under which things are put that have no room.
DRAWERS = {"common", "helper", "helpers", "misc", "shared", "util", "utils"}

#: What may be written in some rooms only: what it is, how it looks, where it may stand.
PLACES = {
    "SQL": (
        re.compile(r"\b(SELECT\b.+\bFROM|INSERT INTO|DELETE FROM|CREATE TABLE|UPDATE \w+ SET)\b"),
        "vfod/store/",
    ),
    "a topic": (re.compile(r"homie/"), "vfod/outputs/mqtt"),
    "a metric name": (re.compile(r"[\"']vfod_[a-z_]+[\"']"), "vfod/outputs/metrics"),
}

#: Rooms that never wait (no room above them may make them).
STILL = ("radio", "wire", "plan", "survey", "state", "config")
WAITS = re.compile(r"^\s*(async |import asyncio|from asyncio)|\bawait ", re.MULTILINE)

#: A muted check whose line ends without saying why.
UNREASONED = re.compile(
    r"#\s*(type:\s*ignore|noqa)\b(\[[\w, -]*\]|:[ A-Z0-9,]*)?\s*$", re.MULTILINE
)


def complaints(path: str, text: str) -> Iterator[str]:
    """What is wrong with a Python file at a path below the top of the project."""
    if text.count("\n") > LONGEST:
        yield f"longer than {LONGEST} lines"
    if DRAWERS.intersection(Path(path).with_suffix("").parts):
        yield "a drawer is no room"
    if UNREASONED.search(text):
        yield "mutes a check without a reason"
    if not path.startswith("vfod/"):
        return
    for what, (looks, place) in PLACES.items():
        if looks.search(text) and not path.startswith(place):
            yield f"has {what} outside {place}"
    if path.startswith(tuple(f"vfod/{room}" for room in STILL)) and WAITS.search(text):
        yield "waits in a room that never does"


SAMPLES = [
    ("vfod/run/desk.py", "x = 1\n" * (LONGEST + 1), f"longer than {LONGEST} lines"),
    ("vfod/run/helpers.py", "", "a drawer is no room"),
    ("tests/utils/lines.py", "", "a drawer is no room"),
    ("tests/test_x.py", "x = 1  # noqa: S101\n", "mutes a check without a reason"),
    ("vfod/app.py", "f()  # type: ignore[arg-type]\n", "mutes a check without a reason"),
    ("vfod/run/desk.py", 'q = "SELECT at FROM event"\n', "has SQL outside vfod/store/"),
    ("vfod/app.py", 't = "homie/5/x"\n', "has a topic outside vfod/outputs/mqtt"),
    ("vfod/app.py", 'm = "vfod_visits"\n', "has a metric name outside vfod/outputs/metrics"),
    ("vfod/wire/line.py", "async def read() -> None: ...\n", "waits in a room that never does"),
    ("vfod/plan/sweep.py", "import asyncio\n", "waits in a room that never does"),
]


@pytest.mark.parametrize(("path", "text", "complaint"), SAMPLES)
def test_a_bad_sample_is_found(path: str, text: str, complaint: str) -> None:
    """Each rule finds what it forbids, and only that."""
    assert [complaint] == list(complaints(path, text))


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("vfod/run/desk.py", "x = 1\n" * LONGEST),
        ("vfod/store/writer.py", 'q = "SELECT at FROM event"\n'),
        ("vfod/outputs/mqtt.py", 't = "homie/5/x"\n'),
        ("vfod/outputs/metrics.py", 'm = "vfod_visits"\n'),
        ("vfod/device/link.py", "async def read() -> None:\n    await gone()\n"),
        ("vfod/app.py", "x = 1  # noqa: S101 - tells mypy that the box is there\n"),
        ("tests/outputs/test_mqtt.py", 't = "homie/5/x"\n'),
    ],
)
def test_a_good_sample_passes(path: str, text: str) -> None:
    """The same words in their own room are fine."""
    assert [] == list(complaints(path, text))


def test_every_file_is_in_its_room() -> None:
    """No file of the project breaks one of the rules above."""
    found = [
        f"{path}: {complaint}"
        for file in sorted([*ROOT.glob("vfod/**/*.py"), *ROOT.glob("tests/**/*.py")])
        if (path := file.relative_to(ROOT).as_posix()) != "tests/test_rooms.py"
        for complaint in complaints(path, file.read_text())
    ]
    assert [] == found, "\n".join(found)


# --- imports -------------------------------------------------------------------------------------

#: One import that breaks each contract, in the order of pyproject.toml.
INTRUDERS = {
    "vfod/radio/intruder.py": "import vfod.device\n",
    "vfod/run/intruder.py": "import serial\n",
    "vfod/outputs/intruder.py": "import sqlite3\n",
    "vfod/device/intruder.py": "import aiomqtt\n",
    "vfod/plan/intruder.py": "import astral\n",
    "vfod/report/intruder.py": "import PIL\n",
    "vfod/store/intruder.py": "import yaml\n",
}


def _contract(top: Path) -> tuple[int, str]:
    done = subprocess.run(
        [shutil.which("lint-imports", path=Path(sys.executable).parent) or "", "--no-logo"],
        cwd=top,
        env={"COLUMNS": "200", "PYTHONPATH": str(top)},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A copy of the program with its contract."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "vfod", tmp_path / "vfod", symlinks=True)
    return tmp_path


def test_imports_point_down(house: Path) -> None:
    """The import contract of pyproject.toml holds."""
    code, said = _contract(house)
    assert 0 == code, said


def test_each_contract_can_break(house: Path) -> None:
    """One forbidden import in each room breaks just the contract that forbids it."""
    for path, text in INTRUDERS.items():
        (house / path).parent.mkdir(exist_ok=True)
        (house / path).parent.joinpath("__init__.py").touch()
        (house / path).write_text(text)
    (house / "vfod/device/__init__.py").touch()
    code, said = _contract(house)
    assert 1 == code, said
    contracts = tomllib.loads((house / "pyproject.toml").read_text())["tool"]["importlinter"]
    names = [contract["name"] for contract in contracts["contracts"]]
    assert len(INTRUDERS) == len(names)
    assert names == [name for name in names if f"{name} BROKEN" in said], said


def test_a_new_room_needs_a_line_in_the_contract(house: Path) -> None:
    """A module beside the rooms that no layer names is refused."""
    (house / "vfod/attic.py").touch()
    code, said = _contract(house)
    assert 1 == code
    assert "attic" in said


# --- circles -------------------------------------------------------------------------------------


def _imported(text: str, modules: set[str]) -> set[str]:
    """The modules that a file imports when it runs, at its head or within a function."""
    found: set[str] = set()

    def look(node: ast.AST) -> None:
        match node:
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                for other in node.orelse:
                    look(other)
                return
            case ast.Import():
                found.update(alias.name for alias in node.names)
            case ast.ImportFrom(module=str(source)):
                for alias in node.names:
                    inner = f"{source}.{alias.name}"
                    found.add(inner if inner in modules else source)
        for child in ast.iter_child_nodes(node):
            look(child)

    look(ast.parse(text))
    return found & modules


def _circle(files: dict[str, str]) -> list[str]:
    """The modules of a circle of imports, the first one again at the end; of texts by name."""
    graph = {name: _imported(text, {*files}) - {name} for name, text in files.items()}
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        circle: list[str] = error.args[1]
        return circle
    return []


def _named(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def test_a_circle_is_found() -> None:
    """Also where an import waits in a function; what only a checker of types reads is none."""
    late = "def f():\n    from vfod.b import g\n"
    assert {"vfod.a", "vfod.b"} == {*_circle({"vfod.a": late, "vfod.b": "import vfod.a\n"})}
    package = {"vfod.a": "from vfod.a.b import g\n", "vfod.a.b": "from vfod.a import h\n"}
    assert {"vfod.a", "vfod.a.b"} == {*_circle(package)}
    read = "if TYPE_CHECKING:\n    from vfod.b import g\n"
    assert [] == _circle({"vfod.a": read, "vfod.b": "import vfod.a\n"})
    inner = {"vfod.a": "from vfod import b\n", "vfod.b": "", "vfod": "import vfod.a\n"}
    assert [] == _circle(inner)


def test_no_imports_go_in_a_circle() -> None:
    """Whoever reads a module from the bottom up has read all that it uses."""
    files = {_named(path): path.read_text() for path in ROOT.glob("vfod/**/*.py")}
    assert [] == _circle(files)


# --- time ----------------------------------------------------------------------------------------

ASKS_THE_TIME = """
import asyncio
import datetime
import time

ASKED = [
    time.time(),
    time.monotonic(),
    time.perf_counter(),
    time.sleep(1),
    asyncio.sleep(1),
    datetime.datetime.now(datetime.UTC),
    datetime.date.today(),
]
"""


def _bans(path: str) -> int:
    words = "-m ruff check --select TID251 --output-format concise --no-cache --stdin-filename"
    done = subprocess.run(
        [sys.executable, *words.split(), path, "-"],
        cwd=ROOT,
        input=ASKS_THE_TIME,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout.count("TID251")


def test_only_the_real_clock_asks_what_time_it_is() -> None:
    """The linter finds each way of asking in a room, in a test, but not in the clock itself."""
    assert 7 == _bans("vfod/run/sweeper.py")
    assert 7 == _bans("tests/run/test_sweeper.py")
    assert 0 == _bans("vfod/clock.py")


# --- requirements --------------------------------------------------------------------------------


def _unhashed(text: str) -> list[str]:
    """The requirements that no hash follows."""
    joined = re.sub(r"\\\n\s*", "", text)
    lines = [line for line in joined.splitlines() if line and not line.lstrip().startswith("#")]
    return [line for line in lines if "--hash=sha256:" not in line]


def test_requirements_have_hashes_and_no_addresses() -> None:
    """What `make` installs is pinned to its content, from whatever index the machine uses."""
    assert ["a==1"] == _unhashed("a==1\nb==2 \\\n    --hash=sha256:00\n    # via a\n")
    files = sorted(ROOT.glob("requirements/*.txt"))
    assert ["check.txt", "run.txt", "test.txt"] == [file.name for file in files]
    for file in files:
        assert [] == _unhashed(file.read_text())
        assert "://" not in file.read_text()
