"""Whether one VFO can be reached, and how it is told when that changes.

What is known of the VFO is in the state; its link is handed in by the supervisor and taken away
again. While there is none, asking raises LinkDownError.
"""

import asyncio
from typing import TYPE_CHECKING

from vfod import events as e
from vfod.errors import LineError, LinkDownError, RefusedError
from vfod.run.stream import Stream
from vfod.state import VfoState
from vfod.wire import messages as w

if TYPE_CHECKING:
    from vfod.device.link import Link

#: Of an outage that began so, what is found at the next attempts and says nothing new: a board that
#: was pulled out or hangs is not there. Whatever else comes is, such as another program that has
#: taken the port meanwhile.
_NO_NEWS = {
    "lost": ("missing",),
    "reset": ("missing",),
    "silent": ("missing",),
    "stuck": ("missing", "silent"),
}


class Contact:
    """The VFO `name` behind its link."""

    def __init__(self, name: str, stream: Stream) -> None:
        self.name = name
        self._stream = stream
        self._link: Link | None = None
        #: Set while a link is up and the box on it is as it is wanted.
        self.connected = asyncio.Event()

    @property
    def known(self) -> VfoState:
        """All that is known of this VFO."""
        return self._stream.state.vfos[self.name]

    def emit(self, event: e.Event, cause: str | None = None, /) -> e.Stamped:
        """Say what happened to it."""
        return self._stream.emit(event, vfo=self.name, cause=cause)

    def made(self, link: "Link") -> None:
        """A box has greeted on a new link."""
        self._link = link
        identity, limits = link.greeting.identity, link.greeting.limits
        self.emit(
            e.LinkGreeted(
                port=link.name,
                protocol=identity.protocol,
                model=identity.model,
                firmware=identity.firmware,
                serial=identity.serial,
                boot=f"{identity.boot:08X}",
                low=limits.low,
                high=limits.high,
                resolution=limits.resolution,
                settle=limits.settle,
                abilities=tuple(sorted(link.greeting.abilities.can)),
            )
        )

    def lost(self, error: LineError) -> None:
        """The link is gone, or could not be made: one entry an incident, not one an attempt."""
        known = self.known.link
        self._link = None
        self.connected.clear()
        if known.phase == "up" or error.reason not in (
            known.reason,
            *_NO_NEWS.get(known.reason, ()),
        ):
            self.emit(
                e.LinkLost(port=error.port or known.port, reason=error.reason, detail=str(error))
            )

    def linked(self) -> "Link":
        """The link; LinkDownError where there is none."""
        if self._link is None:
            known = self.known.link
            raise LinkDownError(
                f"the VFO {self.name} is not reachable"
                + (f" ({known.reason})" if known.reason else ""),
                remedy="see that it is plugged in; it is looked for all the time",
            )
        return self._link

    @property
    def newest_hand(self) -> int:
        """Number of the newest hand event known; what a tune carries."""
        return self._link.newest_hand if self._link else 0

    def can(self, ability: w.Ability) -> bool:
        """Whether the box now connected has an ability."""
        return self._link is not None and ability in self._link.greeting.abilities.can

    def need(self, ability: w.Ability, what: str) -> None:
        """Raise LinkDownError without a link, RefusedError where the box cannot do `what`."""
        self.linked()
        if not self.can(ability):
            raise RefusedError(f"the VFO {self.name} cannot {what}")
