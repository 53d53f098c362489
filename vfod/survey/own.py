"""The receiver's own signals: what stands out of a pass that was made without the antenna."""

from collections.abc import Mapping
from statistics import median

#: Decibels above the listed level from which something else is on the channel as well: a steady
#: signal is measured again within a few.
WELL_ABOVE = 10.0

#: Decibels above the noise of the receiver itself, as to become active.
MARGIN = 6.0


def own_signals(levels: Mapping[int, float], margin: float = MARGIN) -> dict[int, float]:
    """Dial frequencies and levels that stand out of the others; none where there are too few.

    The noise of a receiver alone is the same on all channels but for its own signals, which are
    taken to be on less than half of them.
    """
    if len(levels) < 3:
        return {}
    noise = median(levels.values())
    return {dial: level for dial, level in sorted(levels.items()) if level >= noise + margin}
