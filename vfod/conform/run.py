"""One point after the other, and the box left as it was found."""

import contextlib
from collections.abc import AsyncGenerator

from vfod.clock import Clock
from vfod.conform.bench import Bench, Hand
from vfod.conform.greeting import learn
from vfod.conform.otherwise import DeviationError, PassedOverError
from vfod.conform.point import Outcome, Point, Verdict
from vfod.conform.table import POINTS
from vfod.device.port import Port
from vfod.errors import LineError

#: Requests that put back what `read` said: verb, its field, key of `read`. The output comes last,
#: so that it is not on anywhere but where it was.
_PUT_BACK = (
    ("step", "hz", "step"),
    ("select", "n", "sel"),
    ("mute", "on", "mute"),
    ("tune", "f", "f"),
    ("output", "on", "out"),
)


async def conform(
    port: Port,
    clock: Clock,
    *,
    hand: Hand | None = None,
    quick: bool = False,
    points: tuple[Point, ...] = POINTS,
) -> AsyncGenerator[Outcome, None]:
    """The outcome of each point as soon as it is known.

    `hand` does what it is told by a word of bench.DEEDS; None leaves out what needs one. `quick`
    loads the box for a second instead of a minute.
    Raises what the port raises at opening, NoReplyError when nothing answers there, and LineError
    when the line is lost meanwhile. Closing the iterator early puts the box back as well.
    """
    bench = Bench(port, clock, hand=hand, quick=quick)
    try:
        await bench.open()
        before = await _found(bench)
        try:
            greeted = False
            for point in points:
                if point.greeted and not greeted:
                    greeted = await _greet(bench)
                yield await _try(bench, point, greeted=greeted)
        finally:
            await _put_back(bench, before)
    finally:
        bench.close()


async def _found(bench: Bench) -> dict[str, str]:
    try:
        return await bench.ok("read")
    except DeviationError:
        return {}


async def _greet(bench: Bench) -> bool:
    try:
        await learn(bench)
    except DeviationError:
        await bench.calm()
        return False
    return True


async def _try(bench: Bench, point: Point, *, greeted: bool) -> Outcome:
    note = ""
    if point.greeted and not greeted:
        note = "the greeting was not understood"
    elif point.needs and point.needs not in bench.abilities:
        note = f"it has not the ability {point.needs}"
    elif point.lacks and point.lacks in bench.abilities:
        note = f"it has the ability {point.lacks}"
    if note:
        return Outcome(point=point, verdict=Verdict.SKIPPED, note=note)
    try:
        measured = await point.check(bench)
    except PassedOverError as error:
        return Outcome(point=point, verdict=Verdict.SKIPPED, note=str(error))
    except DeviationError as error:
        await bench.calm()
        return Outcome(
            point=point,
            verdict=Verdict.FAILED,
            expected=error.expected,
            sent=error.sent,
            received=error.received,
        )
    return Outcome(point=point, verdict=Verdict.PASSED, note=measured or "")


async def _put_back(bench: Bench, before: dict[str, str]) -> None:
    """As well as the box lets us; what it refuses has failed a point already."""
    with contextlib.suppress(LineError):
        await bench.calm()
        for verb, field, key in _PUT_BACK:
            if key in before:
                with contextlib.suppress(DeviationError):
                    await bench.ok(f"{verb} {field}={before[key]}")
