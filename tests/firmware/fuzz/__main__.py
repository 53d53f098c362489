"""`make fuzz`: all three for an hour, side by side, and then a table.

What libFuzzer learns stays in .fuzz, so that the next hour goes on from there.
Ctrl-C ends it early, with the table.
"""

import argparse
import json
import random
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.firmware.build import shared_library
from tests.firmware.cbox import library
from tests.firmware.fuzz import codec, libfuzzer
from tests.firmware.fuzz.differential import compare
from tests.firmware.fuzz.moves import seeds

_HOME = Path(__file__).parents[3] / ".fuzz"
#: How much longer than it should a part may take before it hangs, seconds.
_PATIENCE = 120


class Row(NamedTuple):
    """One line of the table."""

    what: str
    inputs: int
    crashes: int = 0
    hangs: int = 0
    disagreements: int = 0


def main(words: list[str]) -> int:
    """Run it; 0 when nothing was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.firmware.fuzz", description=__doc__)
    parser.add_argument("--seconds", type=int, default=3600)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(1, 2**30))
    parser.add_argument("--part", choices=["codec", "differential", "corpus"])
    given = parser.parse_args(words)
    if given.part:
        print(json.dumps(_part(given.part, given.seconds, given.seed)))
        return 0
    print(f"seed {given.seed}, {given.seconds} s; what is found is kept in {_HOME}", flush=True)
    began = time.monotonic()
    # It reaches the three as well; they end with what they have.
    signal.signal(signal.SIGINT, lambda *_: None)
    with ThreadPoolExecutor() as together:
        rows = [
            together.submit(_searched, given.seconds, given.seed),
            together.submit(_apart, "codec", given.seconds, given.seed),
            together.submit(_apart, "differential", given.seconds, given.seed),
        ]
        try:
            table = [row.result() for row in rows]
        except (pytest.fail.Exception, pytest.skip.Exception) as absent:
            print(absent, file=sys.stderr)
            return 2
    table.append(_apart("corpus", 0, given.seed))
    print(f"after {time.monotonic() - began:.0f} s")
    print(f"{'':<34}{'inputs':>12}{'crashes':>9}{'hangs':>7}{'disagreements':>15}")
    for row in table:
        print(f"{row[0]:<34}{row[1]:>12}{row[2]:>9}{row[3]:>7}{row[4]:>15}")
    return int(any(sum(row[2:]) for row in table))


def _searched(seconds: int, seed: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        ran = libfuzzer.run(libfuzzer.build(Path(folder) / "fuzzer"), _HOME, seconds, seed)
    if ran.crashes or ran.hangs:
        print(ran.log[-4000:], *ran.found, sep="\n", file=sys.stderr)
    return Row("responder in C, sanitizers", ran.inputs, ran.crashes, ran.hangs)


_NAMES = {
    "codec": "codec in Python, hypothesis",
    "differential": "C against Python",
    "corpus": "C against Python, on what C taught",
}


def _apart(part: str, seconds: int, seed: int) -> Row:
    """A part in a process of its own, since it may end that process or never end."""
    command = [sys.executable, "-m", "tests.firmware.fuzz", "--part", part]
    command += ["--seconds", str(seconds), "--seed", str(seed)]
    try:
        done = subprocess.run(
            command, stdout=subprocess.PIPE, text=True, timeout=seconds + _PATIENCE, check=False
        )
    except subprocess.TimeoutExpired:
        return Row(_NAMES[part], 0, hangs=1)
    if done.returncode:
        return Row(_NAMES[part], 0, crashes=1)
    inputs, disagreements = json.loads(done.stdout)
    return Row(_NAMES[part], inputs, disagreements=disagreements)


def _part(part: str, seconds: int, seed: int) -> tuple[int, int]:
    """How many inputs and how many disagreements."""
    if part == "codec":
        return codec.explore(seconds, seed), 0
    also = seeds()
    if part == "corpus":
        also = [file.read_bytes() for file in sorted((_HOME / "corpus").iterdir())]
    with tempfile.TemporaryDirectory() as folder:
        functions = library(shared_library(Path(folder) / "responder.so"))
    found = compare(functions, seconds, seed, also)
    for number, data in enumerate(found.disagreements[:20]):
        print(f"they differ on {data!r}", file=sys.stderr)
        (_HOME / "found").mkdir(parents=True, exist_ok=True)
        (_HOME / "found" / f"differ-{seed}-{number}").write_bytes(data)
    return found.inputs, len(found.disagreements)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
