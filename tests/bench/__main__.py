"""`make bench`: every figure beside its bound; the exit code is 1 when one is missed.

    python -m tests.bench            all of them, or with the word `all`: about an hour
    python -m tests.bench short      without those that take more than some minutes
    python -m tests.bench nudge      those of one file

Not tests: a machine that is busy with something else gives other figures. What other work spoils
is measured up to three times (`Bench.again`).
"""

import os
import sys
import tempfile
import traceback
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.bench import (
    agenda,
    footprint,
    killing,
    lateness,
    nudge,
    page,
    rehearsal,
    round_trip,
    scoring,
    surveying,
    telling,
    years,
)
from tests.bench.figures import Bench, Figure, Promise, better, table
from tests.bench.processes import MissingError

BENCHES = (
    nudge.BENCH,
    round_trip.BENCH,
    lateness.BENCH,
    lateness.DRIFT,
    telling.BENCH,
    footprint.BENCH,
    page.BENCH,
    rehearsal.BENCH,
    agenda.BENCH,
    surveying.BENCH,
    killing.BENCH,
    years.BENCH,
    scoring.BENCH,
)
#: Those that take more than some minutes each.
LONG = (killing.BENCH, years.BENCH, scoring.BENCH)

#: How often a timing is taken where it is over its bound.
_TIMES = 3


def main(names: Sequence[str], benches: Sequence[Bench] = BENCHES) -> int:
    """Measure, and print each table when it is there."""
    known = {bench.name: bench for bench in benches}
    words = {
        "all": list(benches),
        "short": [bench for bench in benches if bench not in LONG],
        **{name: [bench] for name, bench in known.items()},
    }
    if unknown := [name for name in names if name not in words]:
        print(f"no measurement {unknown[0]!r}; there are {', '.join(words)}")
        return 2
    wanted = list(dict.fromkeys(bench for name in names or ["all"] for bench in words[name]))
    over: list[str] = []
    missing: list[str] = []
    failed: list[str] = []
    for bench in wanted:
        print(f"measuring: {bench.name}, {bench.takes}", file=sys.stderr, flush=True)
        try:
            figures = _measured(bench)
        except MissingError as error:
            missing.append(f"not measured: {bench.name}, for want of {error}")
        except Exception:
            traceback.print_exc()
            failed.append(f"failed: {bench.name}")
        else:
            over += [f"over: {one.promise.what}" for one in figures if one.over]
            print(f"\n{bench.name}\n{table(figures)}", flush=True)
    print()
    print("\n".join([*over, *missing, *failed]) or "all are within their bounds")
    return int(bool(over or failed or (missing and os.environ.get("CI"))))


def _measured(bench: Bench) -> list[Figure]:
    figures = _once(bench)
    for _ in range(_TIMES - 1):
        if not bench.again or not any(one.over for one in figures):
            break
        print(f"measuring again: {bench.name}", file=sys.stderr, flush=True)
        figures = better(figures, _once(bench))
    return figures


def _once(bench: Bench) -> list[Figure]:
    with tempfile.TemporaryDirectory(prefix="vfod-bench-") as folder:
        figures = bench.measure(Path(folder))
    if (there := _names(one.promise for one in figures)) != _names(bench.promises):
        raise RuntimeError(f"{bench.name} measures {there}, which is not what it promises")
    return figures


def _names(promises: Iterable[Promise]) -> list[str]:
    return [promise.what for promise in promises]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
