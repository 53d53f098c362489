"""The box whose level is looked at: by the running daemon, or directly where none runs.

The daemon stays the owner of its line: the sweep yields to who looks, and is given back.
"""

import asyncio
import contextlib
import secrets
import sys
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING, Any, Protocol

from vfod.cli.setting import call_for
from vfod.config.model import VfoConfig
from vfod.errors import DaemonAbsentError, RefusedError, VfodError

if TYPE_CHECKING:
    from vfod.clock import Clock
    from vfod.device.link import Link

#: Readings of a point of the table, and the pause between them, seconds: more than a second of the
#: detector's noise.
READINGS, PAUSE = 16, 0.1

#: After a jump it is read this often, seconds, or as fast as the box answers.
AFTER_A_JUMP = 0.01

#: Seconds since the dial was moved, and what the box counted.
Jump = list[tuple[float, int]]

#: Asks the daemon: method, parameters, and how long that takes by itself, seconds.
Ask = Callable[[str, dict[str, Any], float], dict[str, Any]]


class Box(Protocol):
    """What a table and a settle time need."""

    async def place(self, dial: int) -> None:
        """Put the dial there."""
        ...

    async def counts(self) -> list[int]:
        """READINGS where the dial stands; RefusedError for a box without a detector."""
        ...

    async def jump(self, dial: int, seconds: float) -> Jump:
        """Move the dial there, and read for so long from the moment that this was asked."""
        ...


class Direct:
    """A box on a line of one's own."""

    def __init__(self, link: "Link", clock: "Clock", settings: VfoConfig) -> None:
        self._link = link
        self._clock = clock
        self._settings = settings

    async def place(self, dial: int) -> None:
        """See Box."""
        from vfod.wire import messages as w

        limits = self._link.greeting.limits
        receiver = self._settings.receiver.limited(limits.low, limits.high)
        await self._link.ask(w.Tune(frequency=receiver.millihertz_for(dial), hand=None))

    async def counts(self) -> list[int]:
        """See Box."""
        counts = [await self._count()]
        for _ in range(READINGS - 1):
            await self._clock.sleep_until(self._clock.monotonic() + PAUSE)
            counts.append(await self._count())
        return counts

    async def jump(self, dial: int, seconds: float) -> Jump:
        """See Box."""
        clock, found = self._clock, Jump()
        # As in a sweep: the settle counts from the command.
        began = clock.monotonic()
        await self.place(dial)
        while (now := clock.monotonic()) - began < seconds:
            counts = await self._count()
            # Somewhere between question and answer.
            found.append(((now + clock.monotonic()) / 2 - began, counts))
            await clock.sleep_until(now + AFTER_A_JUMP)
        return found

    async def _count(self) -> int:
        from vfod.wire import messages as w

        reading = await self._link.ask(w.Read())
        if reading.level is None:
            raise RefusedError(
                "this VFO has no level detector", remedy="take levels from the audio instead"
            )
        return reading.level


class ByDaemon:
    """A box on the daemon's line."""

    def __init__(self, ask: Ask, settings: VfoConfig) -> None:
        self._ask = ask
        self._settings = settings
        self._before = self._now()
        self._dial: int | None = self._before["dial"]
        #: Where this has put the dial last, None until then.
        self._put: int | None = None

    def _now(self) -> dict[str, Any]:
        known: dict[str, Any] = self._ask("status", {"vfo": self._settings.name}, 0.0)
        found: dict[str, Any] = known["vfos"][self._settings.name]
        return found

    async def place(self, dial: int) -> None:
        """See Box; it is moved when it is read."""
        self._dial = dial

    async def counts(self) -> list[int]:
        """See Box."""
        if self._dial is None:
            raise RefusedError("the dial is not known yet", remedy="name a frequency by --at")
        settle = self._settings.receiver.range_at(self._dial).settling
        seen = await self._watch(self._dial, settle + READINGS * PAUSE, PAUSE)
        return [counts for time, counts in seen if time >= settle]

    async def jump(self, dial: int, seconds: float) -> Jump:
        """See Box."""
        return await self._watch(dial, seconds, AFTER_A_JUMP)

    async def _watch(self, dial: int, seconds: float, every: float) -> Jump:
        wanted = {
            "frequency": dial,
            "seconds": seconds,
            "every": min(every, seconds),
            "vfo": self._settings.name,
        }
        self._put = dial
        answer = await asyncio.to_thread(self._ask, "level-watch", wanted, seconds)
        return [(time, counts) for time, counts in answer["counts"]]

    def give_back(self) -> str:
        """Let the sweep go on that gave way, or put the dial back; what was done, in words."""
        now = self._now()
        if self._put is None or now["dial"] != self._put:
            # Nothing was moved, or somebody has the dial since.
            return ""
        vfo = {"vfo": self._settings.name}
        if now["sweep"]["phase"] == "yielded" and self._before["sweep"]["phase"] != "yielded":
            return str(self._ask("resume", vfo, 0.0)["text"])
        back = self._before["dial"]
        if back is None or back == now["dial"]:
            return ""
        return str(self._ask("tune", {"frequency": back, **vfo}, 0.0)["text"])


@contextlib.asynccontextmanager
async def reached(settings: VfoConfig, socket: str | None) -> AsyncIterator[Box]:
    """The box, by the daemon if one runs; what its knob does meanwhile is not heeded."""

    def ask(method: str, params: dict[str, Any], seconds: float) -> dict[str, Any]:
        return call_for(seconds, socket, method, params)

    try:
        box = ByDaemon(ask, settings)
    except DaemonAbsentError:
        if socket is not None:
            raise
        async with _linked(settings) as direct:
            yield direct
        return
    try:
        yield box
    finally:
        try:
            said = box.give_back()
        except VfodError as error:
            said = f"the dial stays where it is: {error}"
        if said:
            print(said, file=sys.stderr)


@contextlib.asynccontextmanager
async def _linked(settings: VfoConfig) -> AsyncIterator[Direct]:
    from vfod.clock import SystemClock
    from vfod.device.address import port_from
    from vfod.device.claim import claimed
    from vfod.device.link import Link

    clock = SystemClock()
    port = port_from(
        settings.port, baud=settings.baud, dtr=str(settings.dtr), rts=str(settings.rts)
    )
    with claimed([settings.port]):
        link = await Link.open(port, clock, secrets.randbelow(65_536), lambda _: None)
        running = asyncio.create_task(link.run())
        try:
            yield Direct(link, clock, settings)
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)
            link.close()
