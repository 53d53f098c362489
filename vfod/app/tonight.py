"""What the page shows beside the state: the night as it grows, and the names of what is heard.

The picture is drawn by a process of its own, of low priority, which reads the journal as a report
does: drawing a night takes seconds of a core on a small board, and memory that is given back when
it ends, and the sweep must notice neither.
"""

import asyncio
import bisect
import logging
import shutil
import sys
from pathlib import Path

from vfod.clock import Clock
from vfod.config.loading import stations_of
from vfod.config.model import Config
from vfod.errors import ConfigError
from vfod.plan.stations import Station, named

#: A picture is drawn anew at most so often, seconds: a column of it is some minutes wide.
EVERY = 60.0

#: The longest that drawing may take, seconds; a night of visits takes a small board ten.
PATIENCE = 120.0

#: Stations this far from a channel are meant, hertz: half of the usual raster.
NEAR = 2500

#: How long a name is kept before it is looked up anew, seconds: schedules count in minutes.
KEPT = 60.0

_log = logging.getLogger(__name__)


class Tonight:
    """Pictures of the night under way, by VFO."""

    def __init__(self, config_path: str, journal: Path, clock: Clock) -> None:
        self._config_path = config_path
        self._journal = journal
        self._clock = clock
        self._drawn: dict[str, tuple[float, str]] = {}
        #: One at a time: the machine has other things to do.
        self._drawing = asyncio.Lock()

    async def __call__(self, vfo: str) -> str:
        """The picture as SVG for the page; empty where there is none."""
        async with self._drawing:
            drawn = self._drawn.get(vfo)
            now = self._clock.monotonic()
            if drawn is not None and now - drawn[0] < EVERY:
                return drawn[1]
            picture = await self._draw(vfo)
            self._drawn[vfo] = now, picture
            return picture

    async def _draw(self, vfo: str) -> str:
        words = [sys.executable, "-m", "vfod", "night", "--vfo", vfo, "--svg", "-"]
        words += ["--journal", str(self._journal), "--config", self._config_path]
        if nice := shutil.which("nice"):
            words = [nice, "-n", "10", *words]
        try:
            drawing = await asyncio.create_subprocess_exec(
                *words,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.DEVNULL,
            )
        except OSError as error:
            _log.warning("the night cannot be drawn for the page: %s", error)
            return ""
        try:
            async with asyncio.timeout(PATIENCE):
                said, _ = await drawing.communicate()
        except TimeoutError:
            return ""
        finally:
            if drawing.returncode is None:
                drawing.kill()
                await drawing.wait()
        return said.decode() if drawing.returncode == 0 else ""


class Names:
    """The listener's own names for channels, by their list of stations and the time."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self._clock = clock
        self._stations = sorted(_stations(config), key=lambda one: one.frequency)
        self._frequencies = [one.frequency for one in self._stations]
        self._known: dict[int, tuple[float, str | None]] = {}

    def of(self, dial: int) -> str | None:
        """Who is expected there now, None where nobody is."""
        now = self._clock.wall()
        known = self._known.get(dial)
        if known is not None and 0 <= now - known[0] < KEPT:
            return known[1]
        low = bisect.bisect_left(self._frequencies, dial - NEAR)
        high = bisect.bisect_right(self._frequencies, dial + NEAR)
        names = named(self._stations[low:high], dial, now, now + 1, NEAR)
        if len(self._known) > len(self._stations) + 1000:
            self._known.clear()
        self._known[dial] = now, ", ".join(names) or None
        return self._known[dial][1]


def _stations(config: Config) -> tuple[Station, ...]:
    """The list that the configuration names; a list with mistakes is `vfod check`'s affair."""
    try:
        return stations_of(config)
    except ConfigError as error:
        _log.warning("the page shows no names of stations: %s", error)
        return ()
