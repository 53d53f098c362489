"""What time it is where a daemon of a test lives that runs on the machine's own clock.

Windows open and close at an hour of the day and nights change at noon, so a sweep that is to go on
undisturbed must not be near either, at whatever hour the tests are run.
"""

from vfod.clock import SystemClock

#: The hour there, far from midnight and from noon.
_HOUR = 6


def morning() -> str:
    """A zone in which it is between six and seven in the morning; without summer time."""
    hour = int(SystemClock().wall() // 3600 % 24)
    # By POSIX, whose names these are, west of Greenwich is positive.
    west = (hour - _HOUR + 12) % 24 - 12
    return f"Etc/GMT{west:+d}" if west else "Etc/UTC"
