"""What the daemon costs with all doors open: memory, and a core's time at rest and at work.

From /proc: proc(5), `status`; and `schedstat` of each thread, whose first figure is the time on a
processor in nanoseconds (the kernel's documentation, scheduler/sched-stats), since a daemon at rest
uses less than a tick of `stat` in a second.
"""

import time
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise
from tests.bench.processes import Daemon, Processes, configuration
from tests.real_parts import free_port

_SECONDS = 10.0
#: Visits a second: a settle of 20 ms and a dwell of 80 ms.
_RATE = 10.0

MEMORY = Promise(
    what="memory, all doors open",
    unit="MB",
    most=70.0,
    means="resident, with MQTT, page, metrics and journal; room on a small board",
)
REST = Promise(
    what="share of a core at rest", unit="%", most=0.4, means="a daemon that waits for its window"
)
WORK = Promise(
    what=f"share of a core at {_RATE:g} visits a second",
    unit="%",
    most=10.0,
    means="four times as fast as any listener sweeps, all doors open",
)


def measure(folder: Path) -> list[Figure]:
    """Raises MissingError where there is no broker."""
    with Processes(folder) as processes:
        config = configuration(
            folder, port=processes.simulator(), broker=processes.broker(), web=free_port()
        )
        daemon = processes.daemon(config, "web", "metrics", "mqtt")
        # What it does at its start is no rest.
        time.sleep(1.0)
        idle = share(daemon)
        daemon.ask("sweep-start", sweep="fast")
        before = _visits(daemon)
        busy = share(daemon)
        rate = (_visits(daemon) - before) / _SECONDS
        memory = _resident(daemon)
    return [
        MEMORY.measured(memory, "resident"),
        REST.measured(idle * 100, f"over {_SECONDS:g} s"),
        WORK.measured(
            # A machine that is too busy for the rate must not make it look cheaper.
            busy * 100 * _RATE / rate,
            f"over {_SECONDS:g} s, reached {rate:.1f} a second, 2 readings each",
        ),
    ]


def share(daemon: Daemon) -> float:
    """Part of a core that it uses from now on."""
    begun, used = time.perf_counter(), _used(daemon)
    time.sleep(_SECONDS)
    return (_used(daemon) - used) / (time.perf_counter() - begun)


def _used(daemon: Daemon) -> float:
    """Seconds of a core that it has used."""
    threads = Path(f"/proc/{daemon.pid}/task").iterdir()
    return sum(int((one / "schedstat").read_text().split()[0]) for one in threads) / 1e9


def _resident(daemon: Daemon) -> float:
    """Megabytes (10^6 bytes) in memory."""
    for line in Path(f"/proc/{daemon.pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise RuntimeError("the daemon has ended")


def _visits(daemon: Daemon) -> int:
    visits = daemon.ask("status")["vfos"]["main"]["sweep"]["visits"]
    assert isinstance(visits, int)
    return visits


BENCH = Bench(name="footprint", promises=(MEMORY, REST, WORK), measure=measure, takes="30 s")
