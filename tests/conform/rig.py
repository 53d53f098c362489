"""A conformance run on a simulated box, with a hand that does what it is told."""

import asyncio
import json
import sys
from collections.abc import Callable
from typing import Any

from vfod.clock import Clock
from vfod.conform.bench import Hand
from vfod.conform.point import Outcome, Verdict
from vfod.conform.run import conform
from vfod.conform.table import POINTS
from vfod.device.port import Port
from vfod.sim.box import SimBox
from vfod.sim.scenario import Battery

#: It is low after twelve minutes, when the check has come to it.
BATTERY = Battery(volts=7.0, fall=1.0, low=6.8)
_DRAINED = 1200.0


async def outcomes(
    port: Port, clock: Clock, hand: Hand | None, *, quick: bool = True
) -> list[Outcome]:
    return [outcome async for outcome in conform(port, clock, hand=hand, quick=quick)]


async def by_hand(port: Port, clock: Clock, hand: Hand) -> list[Outcome]:
    """Only the points for which a hand must do something; the command tries all others."""
    points = tuple(point for point in POINTS if point.deed)
    return [outcome async for outcome in conform(port, clock, hand=hand, points=points)]


async def by_command(port: str) -> tuple[int | None, dict[str, Any]]:
    """`vfod conform` without hands, as a person starts it: its exit code and what it said."""
    words = ["-m", "vfod", "conform", port, "--no-hands", "--quick", "--json"]
    process = await asyncio.create_subprocess_exec(
        sys.executable, *words, stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE
    )
    out, _ = await process.communicate()
    told: dict[str, Any] = json.loads(out)
    return process.returncode, told


def passed_whole(code: int | None, told: dict[str, Any], *, least: int) -> None:
    """It ended well, tried at least so many points, and said of each other one why not."""
    points = told["points"]
    bad = [
        (one["name"], one["sent"], one["received"], one["expected"])
        for one in points
        if one["verdict"] == "failed"
    ]
    assert ([], False, 0) == (bad, told["failed"], code), bad
    assert least <= sum(one["verdict"] == "passed" for one in points)
    assert all(one["note"] for one in points if one["verdict"] == "skipped")


def failed(found: list[Outcome]) -> list[str]:
    return [one.point.name for one in found if one.verdict is Verdict.FAILED]


def skipped(found: list[Outcome]) -> dict[str, str]:
    return {one.point.name: one.note for one in found if one.verdict is Verdict.SKIPPED}


def hand_on(box: SimBox, clock: Clock, *, drains: bool = False) -> Hand:
    """Turns, presses and resets `box`, and drains its BATTERY if it has that."""

    async def spin() -> None:
        for _ in range(40):
            box.turn(1)
            await clock.sleep_until(clock.monotonic() + 0.01)

    async def hand(deed: str) -> bool:
        deeds: dict[str, Callable[[], None]] = {
            "turn": lambda: box.turn(3),
            "turn-up": lambda: box.turn(3),
            "turn-down": lambda: box.turn(-3),
            "press": lambda: box.press("2"),
            "reset": lambda: box.reset(b"starter 3 \x00\xff no im"),
        }
        if deed == "spin":
            await spin()
        elif deed == "drain":
            if drains:
                await clock.sleep_until(clock.monotonic() + _DRAINED)
            return drains
        else:
            deeds[deed]()
        await asyncio.sleep(0)  # noqa: TID251 - a hand takes a moment, of no length
        return True

    return hand
