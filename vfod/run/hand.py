"""Is that a hand on the knob, or does the encoder tremble?

A hand is two or more steps in one direction within a second; a button is always a hand. Single
steps to and fro are an encoder with a bad contact or a knob at rest between two detents: they are
counted and warned of, and do not stop the night.
"""

#: Two steps in one direction within this time are a hand: common practice with detented encoders,
#: whose contacts bounce for milliseconds while a person turns several detents a second.
WITHIN = 1.0

#: Trembles reported at most this often, seconds, so that a bad contact is one line and not a flood.
REPORT_EVERY = 600.0


class HandWatch:
    """Takes the steps of the knob as they come in, with the time (monotonic, seconds)."""

    def __init__(self) -> None:
        self._last_time = float("-inf")
        self._last_steps = 0
        self._trembles = 0
        self._reported = float("-inf")

    def turned(self, now: float, steps: int) -> bool:
        """Whether these steps (signed; several may come at once) belong to a hand."""
        same_way = steps * self._last_steps > 0 and now - self._last_time <= WITHIN
        hand = abs(steps) >= 2 or same_way
        if not hand:
            self._trembles += 1
        elif same_way and self._trembles:
            # The first step of a turn looked like a tremble until the second one came.
            self._trembles -= 1
        self._last_time = now
        self._last_steps = steps
        return hand

    def trembles_to_report(self, now: float) -> int:
        """Trembles since the last report if one is due, else 0; several make a report."""
        if self._trembles < 3 or now - self._reported < REPORT_EVERY:
            return 0
        trembles, self._trembles, self._reported = self._trembles, 0, now
        return trembles
