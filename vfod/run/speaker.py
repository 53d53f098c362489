"""The receiver's speaker during a sweep: muted while it moves, heard while somebody listens.

A courtesy: where the box cannot, or the line is gone, the sweep does not stop for it.
"""

import contextlib

from vfod import events as e
from vfod.errors import LineError, RefusedError
from vfod.run.tuner import Tuner
from vfod.wire import messages as w


class Speaker:
    """Of one run of a sweep; `minded` is false where the speaker is left alone."""

    def __init__(self, tuner: Tuner, by: e.Origin, *, minded: bool) -> None:
        self._tuner = tuner
        self._by = by
        self._minded = minded

    async def mute(self) -> None:
        """The sweep moves."""
        await self._set(True)

    async def release(self) -> None:
        """Somebody listens, or the sweep has ended."""
        await self._set(False)

    async def take(self, minded: bool, *, moving: bool) -> None:
        """Mind it from now on, or let it be; `moving` says that the sweep moves."""
        if not minded:
            await self.release()
        changed, self._minded = self._minded is not minded, minded
        if changed and moving and minded:
            await self.mute()

    async def _set(self, muted: bool) -> None:
        tuner = self._tuner
        if self._minded and tuner.can(w.Ability.MUTE) and tuner.known.muted is not muted:
            with contextlib.suppress(RefusedError, LineError):
                await tuner.mute(muted, self._by)
