"""A scenario brought to life: the air, the receiver that hears it and the box that tunes it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, assert_never

from vfod.clock import Clock
from vfod.sim.air import Air, Present
from vfod.sim.box import SimBox
from vfod.sim.receiver import Law, SimReceiver
from vfod.sim.scenario import Move, Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Everything simulated that belongs together; made by `build` on a running loop."""

    scenario: Scenario
    clock: Clock
    air: Air
    receiver: SimReceiver
    box: SimBox

    def in_tune(self) -> list[Present]:
        """The stations that are truly within the receiver's passband now."""
        centre = self.box.listening
        if centre is None:
            return []
        half = self.scenario.receiver.bandwidth / 2
        return self.air.present(centre, self.clock.wall(), half)


class Plug(Protocol):
    """A line whose cable can be pulled; all lines of this room are such."""

    def unplug(self) -> None:
        """The far end loses the line."""
        ...

    def plug(self) -> None:
        """The far end can open the line again."""
        ...


def build(
    scenario: Scenario,
    *,
    clock: Clock,
    seed: int = 0,
    law: Law | None = None,
    curve: Law | None = None,
) -> World:
    """The scenario at work from now on, on the running loop; `law`, `curve` as in SimReceiver."""
    air = Air(scenario, seed)
    receiver = SimReceiver(air, scenario.receiver, seed, law=law, curve=curve)
    box = SimBox(clock=clock, setup=scenario.box, receiver=receiver, seed=seed)
    return World(scenario=scenario, clock=clock, air=air, receiver=receiver, box=box)


async def follow(moves: Iterable[Move], box: SimBox, plug: Plug, clock: Clock) -> None:
    """Make the moves of a scenario's hand, each at its time from now; ends after the last."""
    start = clock.monotonic()
    for move in sorted(moves, key=lambda move: move.after):
        await clock.sleep_until(start + move.after)
        do(move, box, plug)


def do(move: Move, box: SimBox, plug: Plug) -> None:
    """Make one move, now."""
    if move.turn is not None:
        box.turn(move.turn)
    if move.press is not None:
        box.press(move.press)
    match move.do:
        case "reset":
            box.reset()
        case "unplug":
            plug.unplug()
        case "plug":
            plug.plug()
        case None:
            pass
        case _:
            assert_never(move.do)
