"""How long a night takes that is rehearsed: the whole daemon on the clock that jumps.

Ten hours at half a second a visit, five readings each, are 72,000 visits; a tenth of them is
measured, because every visit costs the same, in rounds of which the best counts, in time of the
processor, for which nothing else is waited: other work on the machine only adds. The bound is that
of the whole night.
"""

import time
from datetime import date
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise
from vfod.app.rehearse import rehearse, slots_in
from vfod.config.loading import parse

_WHOLE, _PARTS, _ROUNDS = 72_000, 30, 3

REHEARSAL = Promise(
    what="rehearsal of a ten-hour night",
    unit="s",
    most=120.0,
    means="72,000 visits before the evening begins: what a person waits for",
)

_CONFIG = """\
place: {zone: UTC}
vfos:
  main:
    port: /dev/none
    output: windows
    receiver:
      - {from: 3M, to: 15M, detector: envelope, intermediate_frequency: 455k, settle: 0.1s}
    level_table: {0: -130dBm, 4095: -10dBm}
bands:
  lower: {from: 7200k, to: 7300k}
  upper: {from: 7305k, to: 7450k}
sweeps:
  quick: {bands: [lower, upper], dwell: 0.4s, readings: 5, hold: off}
windows:
  - {sweep: quick, from: "20:00", until: "20:20"}
web: off
"""


def measure(_: Path) -> list[Figure]:
    config = parse(_CONFIG, "rehearsal.yaml")
    slots = slots_in(config, date(2026, 11, 25))
    visits = _WHOLE // _PARTS
    rounds = []
    for _round in range(_ROUNDS):
        began, used = time.perf_counter(), time.process_time()
        done = rehearse(config, slots)
        rounds.append((time.process_time() - used, time.perf_counter() - began))
        assert done.visits == visits
        assert done.vfos["main"].sweeps["quick"].passes == visits // 51
    used, seconds = min(rounds)
    return [
        REHEARSAL.measured(
            used * _PARTS,
            f"{_WHOLE} visits of 5 readings, from the best of {_ROUNDS} x {visits};"
            f" {used / visits * 1e3:.2f} ms of the processor a visit,"
            f" {seconds / visits * 1e3:.2f} ms by the wall",
        )
    ]


BENCH = Bench(name="rehearsal", promises=(REHEARSAL,), measure=measure, takes="30 s")
