"""target.c under libFuzzer, which looks for inputs that reach new code, with sanitizers."""

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.firmware.build import ABILITIES, HERE, RESPONDER, able, compiled
from tests.firmware.fuzz.moves import seeds
from tests.real_parts import missing, real_part

#: An answer to an input that takes longer is a hang, seconds; the usual one takes 50 µs.
HANG = 10
#: How it ends when it was interrupted.
_INTERRUPTED = 72
#: Longest input: some dozen lines. Longer ones are slow and reach nothing new.
_LONGEST = 600

_WORDS = (
    *(
        "tune f=",
        " h=",
        "read",
        "ping",
        "who",
        "range",
        "can",
        "output on=",
        "select n=",
        "ok",
        "err",
    ),
    *("mute on=", "step hz=", "#0001 ", "#0002 ", "!1 ", " *0000", "7000000.001", "999999999", "1"),
)


@dataclass(frozen=True)
class Ran:
    """How it went; `found` are the files with the inputs that ended it."""

    inputs: int
    crashes: int
    hangs: int
    found: tuple[Path, ...]
    log: str


def build(to: Path) -> Path:
    """The fuzzer."""
    folder = subprocess.run(
        [real_part("clang"), "-print-resource-dir"], capture_output=True, text=True, check=True
    )
    if not list(Path(folder.stdout.strip()).glob("lib/*/libclang_rt.fuzzer*.a")):
        missing("libclang_rt.fuzzer")
    options = ["-O1", "-g", "-fsanitize=fuzzer,address,undefined", "-fno-sanitize-recover=all"]
    sources = [RESPONDER, HERE / "model.c", HERE / "fuzz" / "target.c"]
    return compiled("clang", [*options, *able(ABILITIES)], sources, to)


def run(program: Path, folder: Path, seconds: int, seed: int) -> Ran:
    """Let it search for so long; `folder/corpus` keeps what it has learned."""
    corpus, found = folder / "corpus", folder / "found"
    for one in (corpus, found):
        one.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(seeds()):
        (corpus / f"vector-{number}").write_bytes(data)
    words = folder / "words"
    words.write_text("".join(f'"{word}"\n' for word in _WORDS))
    before = set(found.iterdir())
    options = [f"-max_total_time={seconds}", f"-timeout={HANG}", f"-max_len={_LONGEST}"]
    options += [f"-seed={seed}", f"-dict={words}", f"-artifact_prefix={found}/"]
    options += ["-print_final_stats=1"]
    done = subprocess.run(
        [program, *options, corpus], capture_output=True, text=True, errors="replace", check=False
    )
    files = tuple(sorted(set(found.iterdir()) - before))
    hangs = sum(file.name.startswith("timeout-") for file in files)
    failed = done.returncode not in (0, _INTERRUPTED)
    crashes = len(files) - hangs + (failed and not files)
    counted = re.search(r"number_of_executed_units:\s*(\d+)", done.stderr)
    return Ran(int(counted[1]) if counted else 0, crashes, hangs, files, done.stderr)
