"""Points about time: round trip, settle time, and a minute as fast as the box answers."""

from vfod.conform.bench import Bench
from vfod.conform.point import Point
from vfod.device.tcp import TcpPort

#: 7.1, seconds.
_REPLY_LIMIT = 0.05
#: Two lines of 120 bytes at 115 200 baud, and what this machine may take to wake up.
_ON_THE_WAY = 0.021 + 0.02
#: A network may add so much, there and back.
_NETWORK = 0.1

#: So often is tried what came late, before a box is called slow: a machine with other work is late
#: now and then, a slow box each time.
_TRIES = 5

#: Seconds of the load, and with --quick.
_LOAD, _QUICK_LOAD = 60.0, 1.0
_ROUNDS = 20


def _allowed(bench: Bench) -> float:
    network = _NETWORK if isinstance(bench.port, TcpPort) else 0.0
    return _REPLY_LIMIT + _ON_THE_WAY + network


async def _timed(bench: Bench, text: str) -> float:
    begun = bench.clock.monotonic()
    reply = await bench.ask(text)
    return reply.at - begun


async def _median(bench: Bench, text: str, rounds: int) -> tuple[float, float]:
    """That of a round within what is allowed, or of the last; and the longest of its times."""
    times: list[float] = []
    for _ in range(_TRIES):
        times = sorted([await _timed(bench, text) for _ in range(rounds)])
        if times[rounds // 2] <= _allowed(bench):
            break
    return times[rounds // 2], times[-1]


async def _round_trip(bench: Bench) -> str:
    median, longest = await _median(bench, "ping", _ROUNDS)
    _must_be_in_time(bench, median, _allowed(bench))
    return f"median {median * 1000:.1f} ms, longest {longest * 1000:.1f} ms"


async def _refusal_time(bench: Bench) -> str:
    """7.1: a refusal of tune takes no settle time."""
    median, _ = await _median(bench, bench.filled("tune f={above}"), 5)
    _must_be_in_time(bench, median, _allowed(bench))
    return f"median {median * 1000:.1f} ms"


async def _settle(bench: Bench) -> str:
    """The farthest jump both ways; the better of at least two tries counts."""
    allowed = bench.settle + _allowed(bench)
    low, high = bench.filled("tune f={low}"), bench.filled("tune f={high}")
    longest = 0.0
    for start, text in ((low, high), (high, low)):
        tries: list[float] = []
        while len(tries) < 2 or (min(tries) > allowed and len(tries) < _TRIES):
            await bench.ok(start)
            tries.append(await _timed(bench, text))
            answered = bench.heard[-1]
            bench.must(answered.word == "ok", "ok", answered)
        longest = max(longest, min(tries))
        _must_be_in_time(bench, min(tries), allowed)
    says = f"says {bench.settle * 1000:.0f} ms, longest seen {longest * 1000:.1f} ms"
    if longest < bench.settle / 2:
        says += "; if it answers before the output is quiet, a level is read too early (4.8)"
    return says


def _must_be_in_time(bench: Bench, took: float, allowed: float) -> None:
    bench.must(took <= allowed, f"an answer within {allowed * 1000:.0f} ms", bench.heard[-1])


async def _load(bench: Bench) -> str:
    seconds = _QUICK_LOAD if bench.quick else _LOAD
    begun = bench.clock.monotonic()
    texts = [bench.filled(text) for text in ("ping", "read", "tune f={low}", "read", "who")]
    count = 0
    while (spent := bench.clock.monotonic() - begun) < seconds:
        await bench.ok(texts[count % len(texts)])
        count += 1
    return f"{count} questions in {spent:.0f} s, {count / spent:.0f} a second"


POINTS = (
    Point(name="round-trip", paragraph="7.1", says="answers within 50 ms", check=_round_trip),
    Point(name="refusal-time", paragraph="7.1", says="refuses a tune so too", check=_refusal_time),
    Point(name="settle-time", paragraph="7.1", says="tunes within its settle time", check=_settle),
    Point(name="load", paragraph="10.5", says="answers all of a minute's questions", check=_load),
)
