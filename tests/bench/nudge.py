"""What a press of a key costs: the whole process of `vfod nudge +`, against starting Python."""

import os
import socket
import statistics
import sys
import threading
import time
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise, milliseconds, ratio_of_pairs
from tests.bench.processes import ROOT, Daemon, Processes, configuration, environment
from tests.bench.round_trip import bare_exchange
from vfod.wire.host import HostSession
from vfod.wire.messages import Tune

_STUB_ROUNDS = 150
_DAEMON_ROUNDS = 50

STUB = Promise(
    what="nudge against a stub, to python -c pass",
    most=1.3,
    means="a key press costs little more than a starting interpreter",
)
DAEMON = Promise(
    what="the same against the daemon, less line and box",
    means="the daemon's work and the journal's commit are in it, so it has no bound of its own",
)

_ANSWER = b'{"jsonrpc":"2.0","id":"plain","result":{"sequence":1,"text":"tuned to 7301 kHz"}}\n'


def measure(folder: Path) -> list[Figure]:
    bare = [sys.executable, "-c", "pass"]
    stub = folder / "stub.sock"
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(stub))
        server.listen(8)
        threading.Thread(target=_answer, args=(server,), daemon=True).start()
        quick, started = _side_by_side(_nudge(stub), bare, _STUB_ROUNDS)
    figures = [
        STUB.measured(
            ratio_of_pairs(quick, started),
            milliseconds(statistics.median(quick), statistics.median(started)),
        )
    ]
    with Processes(folder) as processes:
        port = processes.simulator(settle="10ms")
        line = _line_and_box(port)
        daemon = processes.daemon(configuration(folder, port=port))
        whole, started = _side_by_side(_nudge(daemon.control), bare, _DAEMON_ROUNDS)
        inside = _inside(daemon)
    figures.append(
        DAEMON.measured(
            statistics.median((a - line) / b for a, b in zip(whole, started, strict=True)),
            f"{milliseconds(statistics.median(whole))} in all; within that the daemon answers"
            f" in {milliseconds(inside)}, of which line and box {milliseconds(line)}",
        )
    )
    return figures


def _nudge(control: Path) -> list[str]:
    """The command as it is installed; from a checkout, the file that is installed as it."""
    installed = Path(sys.executable).with_name("vfod")
    launcher = installed if installed.exists() else ROOT / "vfod" / "cli" / "launcher"
    return [sys.executable, str(launcher), "nudge", "+", "--socket", str(control)]


def _answer(server: socket.socket) -> None:
    while True:
        try:
            client, _ = server.accept()
        except OSError:
            return
        with client:
            client.recv(4096)
            client.sendall(_ANSWER)


def _side_by_side(ours: list[str], bare: list[str], rounds: int) -> tuple[list[float], list[float]]:
    """Seconds of both, turn about; the first run of each compiles and is not counted."""
    for command in (ours, bare):
        _seconds(command)
    pairs = [(_seconds(ours), _seconds(bare)) for _ in range(rounds)]
    return [a for a, _ in pairs], [b for _, b in pairs]


def _seconds(command: list[str]) -> float:
    nowhere = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
    begun = time.perf_counter()
    pid = os.posix_spawn(command[0], command, environment(), file_actions=nowhere)
    _, status = os.waitpid(pid, 0)
    seconds = time.perf_counter() - begun
    if status:
        raise RuntimeError(f"{command} ended with {os.waitstatus_to_exitcode(status)}")
    return seconds


def _inside(daemon: Daemon) -> float:
    """Median seconds from a request at the control socket to its answer."""
    seconds = []
    for _ in range(_DAEMON_ROUNDS):
        begun = time.perf_counter()
        daemon.ask("nudge", steps=-1)
        seconds.append(time.perf_counter() - begun)
    return statistics.median(seconds)


def _line_and_box(port: str) -> float:
    """Median seconds that a tune takes a client that does nothing but write and read."""
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY)
    try:
        lines = HostSession(0x9000)
        seconds = [
            bare_exchange(fd, lines.ask(Tune(frequency=7_755_000_000 + n * 1_000_000)))
            for n in range(_DAEMON_ROUNDS)
        ]
    finally:
        os.close(fd)
    return statistics.median(seconds)


BENCH = Bench(name="nudge", promises=(STUB, DAEMON), measure=measure, takes="30 s")
