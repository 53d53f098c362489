"""What is said of a window: the events made from its opening."""

from vfod import events as e
from vfod.plan.slots import Slot


def awaited(slot: Slot | None) -> e.WindowAwaited:
    """It opens next; None where there is none."""
    return e.WindowAwaited(
        window=slot.window.name if slot else None,
        sweep=slot.window.sweep if slot else None,
        opens=slot.opens if slot else None,
        closes=slot.closes if slot else None,
    )


def opened(slot: Slot) -> e.WindowOpened:
    """It opened, or was joined."""
    return e.WindowOpened(
        window=slot.window.name,
        sweep=slot.window.sweep,
        night=slot.night.isoformat(),
        opens=slot.opens,
        closes=slot.closes,
    )


def moved(slot: Slot) -> e.WindowMoved:
    """It is open, by other times than before."""
    return e.WindowMoved(
        window=slot.window.name, sweep=slot.window.sweep, opens=slot.opens, closes=slot.closes
    )
