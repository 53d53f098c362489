"""`make bench`: every figure beside its bound; the exit code is 1 when one is missed.

    python -m tests.bench            all of them; two hundred scored nights take most of it
    python -m tests.bench nudge      those of one file

Not tests: a machine that is busy with something else gives other figures.
"""

import asyncio
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.bench import (
    agenda,
    footprint,
    hearing,
    judging,
    killing,
    lateness,
    nudge,
    page,
    rehearsal,
    round_trip,
    scoring,
    telling,
    years,
)
from tests.bench.figures import Figure, table
from tests.bench.processes import MissingError

_MEASUREMENTS: dict[str, Callable[[Path], list[Figure]]] = {
    "nudge": nudge.measure,
    "round_trip": lambda folder: asyncio.run(round_trip.measure(folder)),
    "lateness": lambda folder: asyncio.run(lateness.measure(folder)),
    "drift": lambda _: lateness.measure_drift(),
    "telling": lambda folder: asyncio.run(telling.measure(folder)),
    "rehearsal": lambda _: rehearsal.measure(),
    "footprint": footprint.measure,
    "agenda": agenda.measure,
    "judging": judging.measure,
    "hearing": hearing.measure,
    "scoring": scoring.measure,
    "years": years.measure,
    "killing": killing.measure,
    "page": lambda folder: asyncio.run(page.measure(folder)),
}


def main(names: list[str]) -> int:
    if unknown := [name for name in names if name not in _MEASUREMENTS]:
        print(f"no measurement {unknown[0]!r}; there are {', '.join(_MEASUREMENTS)}")
        return 2
    figures: list[Figure] = []
    missing: list[str] = []
    for name in names or _MEASUREMENTS:
        print(f"measuring: {name}", file=sys.stderr, flush=True)
        with tempfile.TemporaryDirectory(prefix="vfod-bench-") as folder:
            try:
                figures += _MEASUREMENTS[name](Path(folder))
            except MissingError as error:
                missing.append(f"not measured: {name}, for want of {error}")
    print(table(figures))
    for line in missing:
        print(line)
    return int(any(one.over for one in figures) or bool(missing and os.environ.get("CI")))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
