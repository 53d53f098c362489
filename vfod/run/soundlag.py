"""By how much the sound is late: the box does something that can be heard, and it is waited for.

The speaker is muted and released, or the output switched, some times; each is a step of the level,
and from the box's answer to the step is the delay of recorder, server and sound card. A level taken
too early would be booked on the wrong channel, so the longest of the delays that agree counts.
"""

import contextlib
from collections.abc import Awaitable, Callable
from statistics import median

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, RefusedError
from vfod.run.hearing import Sound
from vfod.run.tuner import Tuner
from vfod.survey.steps import step_in
from vfod.wire import messages as w

#: Reckoned with where it was neither measured nor written down, seconds: a recorder with short
#: blocks and a sound server of its own is at 0.05 to 0.3.
ASSUMED = 0.3

#: Longest delay that can be found, seconds: some servers keep two seconds where nobody asks for
#: less.
LONGEST = 2.5

#: Heard before each step, so that there is something to step from.
BEFORE = 0.3

#: And after it, before it is believed.
AFTER = 0.25

#: Steps, and how many at the most where they do not agree, as on a busy machine; they must come
#: back to how it was, so their numbers are even.
STEPS, MOST_STEPS = 4, 12
#: So many of them must agree within so much, seconds, or what was heard was something else. Blocks
#: make less, and a gain control that turns up slower than down; a busy machine makes one late.
_AGREEING, _WITHIN = 3, 0.1

#: Sound that has just begun is waited for so long, seconds: buffers fill, and the first is the last
#: one to know how late it is.
BEGINNING = 0.5

#: The word for the speaker's mute as the means; see events.AudioTimed.
MUTE = "mute"

_DAEMON = e.Origin(door=e.Door.DAEMON)


async def measured_delay(tuner: Tuner, sound: Sound, clock: Clock) -> tuple[float, str] | None:
    """The delay in seconds and what was heard, or None; the box is as before afterwards.

    The tuner's lock is to be held. Raises LineError and RefusedError of the box.
    """
    if tuner.can(w.Ability.MUTE):
        muted = bool(tuner.known.muted)
        found = await _by(lambda on: tuner.mute(on, _DAEMON), muted, sound, clock)
        if found is not None:
            return found, MUTE
    if tuner.can(w.Ability.OUTPUT) and tuner.known.output:
        found = await _by(lambda on: tuner.output.switch(on, _DAEMON), True, sound, clock)
        if found is not None:
            return found, "output"
    return None


async def _by(
    switch: Callable[[bool], Awaitable[object]], was: bool, sound: Sound, clock: Clock
) -> float | None:
    delays: list[float] = []
    on = was
    try:
        for step in range(MOST_STEPS):
            if step >= STEPS and step % 2 == 0 and _agreed(delays) is not None:
                break
            await clock.sleep_until(clock.monotonic() + BEFORE)
            on = not on
            asked = clock.monotonic()
            await switch(on)
            # Somewhere between question and answer the box did it.
            done = (asked + clock.monotonic()) / 2
            delay = await _step_after(done, sound, clock)
            if delay is not None:
                delays.append(delay)
            elif not delays:
                break
    finally:
        if on is not was:
            await switch(was)
    return _agreed(delays)


async def _step_after(done: float, sound: Sound, clock: Clock) -> float | None:
    """How long after `done` the sound stepped; waits until it is sure."""
    while (now := clock.monotonic()) < done + LONGEST + AFTER:
        await clock.sleep_until(now + AFTER)
        now = clock.monotonic()
        step = step_in(sound.part(done - BEFORE, now))
        if step is not None and now - (done - BEFORE + step) >= AFTER:
            return step - BEFORE
    return None


def _agreed(delays: list[float]) -> float | None:
    middle = median(delays) if delays else 0.0
    near = [delay for delay in delays if abs(delay - middle) <= _WITHIN / 2]
    agree = len(near) >= max(_AGREEING, len(delays) / 2)
    return max(0.0, round(max(near), 3)) if agree else None


async def tell_delay(
    tuner: Tuner, sound: Sound, clock: Clock, emit: Callable[[e.Event], object]
) -> tuple[float, bool]:
    """Measure it once the box is there, and tell it.

    Gives the delay to reckon with, seconds, and whether the mute of the speaker silences the sound.
    """
    await tuner.connected.wait()
    found = None
    # A line that goes meanwhile leaves it unknown.
    with contextlib.suppress(LineError, RefusedError):
        async with tuner.lock:
            await clock.sleep_until(clock.monotonic() + BEGINNING)
            found = await measured_delay(tuner, sound, clock)
    delay, means = found or (None, "")
    used = ASSUMED if delay is None else delay
    emit(e.AudioTimed(delay=delay, means=means, used=used))
    return used, means == MUTE
