"""A conformance run on a simulated box, with a hand that does what it is told."""

import asyncio
from collections.abc import Callable

from vfod.clock import Clock
from vfod.conform.bench import Hand
from vfod.conform.point import Outcome, Verdict
from vfod.conform.run import conform
from vfod.device.port import Port
from vfod.sim.box import SimBox


async def outcomes(
    port: Port, clock: Clock, hand: Hand | None, *, quick: bool = True
) -> list[Outcome]:
    return [outcome async for outcome in conform(port, clock, hand=hand, quick=quick)]


def failed(found: list[Outcome]) -> list[str]:
    return [one.point.name for one in found if one.verdict is Verdict.FAILED]


def skipped(found: list[Outcome]) -> dict[str, str]:
    return {one.point.name: one.note for one in found if one.verdict is Verdict.SKIPPED}


def hand_on(box: SimBox, clock: Clock) -> Hand:
    """Turns, presses and resets `box`."""

    async def spin() -> None:
        for _ in range(40):
            box.turn(1)
            await clock.sleep_until(clock.monotonic() + 0.01)

    async def hand(deed: str) -> None:
        deeds: dict[str, Callable[[], None]] = {
            "turn": lambda: box.turn(3),
            "turn-up": lambda: box.turn(3),
            "turn-down": lambda: box.turn(-3),
            "press": lambda: box.press("2"),
            "reset": lambda: box.reset(b"starter 3 \x00\xff no im"),
        }
        if deed == "spin":
            await spin()
        else:
            deeds[deed]()
        await asyncio.sleep(0)  # noqa: TID251 - a hand takes a moment, of no length

    return hand
