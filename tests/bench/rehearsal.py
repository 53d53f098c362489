"""How long a night takes that is rehearsed: the whole daemon on the clock that jumps.

Ten hours at half a second a visit, five readings each, are 72,000 visits; a tenth of them is
measured, because every visit costs the same. The bound is that of the whole night.
"""

import time
from datetime import date

from tests.bench.figures import Figure
from vfod.app.rehearse import rehearse, slots_in
from vfod.config.loading import parse

_WHOLE, _PARTS = 72_000, 10

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
  - {sweep: quick, from: "20:00", until: "21:00"}
web: off
"""


def measure() -> list[Figure]:
    config = parse(_CONFIG, "rehearsal.yaml")
    slots = slots_in(config, date(2026, 11, 25))
    began, used = time.perf_counter(), time.process_time()
    done = rehearse(config, slots)
    seconds, used = time.perf_counter() - began, time.process_time() - used
    assert done.visits == _WHOLE / _PARTS
    assert done.vfos["main"].sweeps["quick"].passes == done.visits // 51
    return [
        Figure(
            what="rehearsal of a ten-hour night",
            value=seconds * _PARTS,
            unit="s",
            most=120.0,
            note=f"{_WHOLE} visits of 5 readings, from {done.visits};"
            f" {seconds / done.visits * 1e3:.2f} ms a visit,"
            f" {used / done.visits * 1e3:.2f} ms of the processor",
        )
    ]
