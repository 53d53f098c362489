"""A reload: the file read anew and compared with what is in force, told, and carried out.

A file with mistakes changes nothing. What can only be had by a restart is remembered and told until
it comes, also over several reloads, and forgotten when the file says again what is in force.
"""

import asyncio
import contextlib
import dataclasses
from collections.abc import Awaitable, Callable, Iterator
from typing import Any, Protocol

from vfod import events as e
from vfod.app.doors import Secrets
from vfod.app.notify import ServiceManager
from vfod.clock import Clock
from vfod.config.changes import Takes, changes, takes
from vfod.config.model import Config
from vfod.errors import AlreadyRunningError, ConfigError, RefusedError
from vfod.state.show import answer

#: Complaints that go into the journal and the log; whoever asked gets them all.
SHOWN = 10

#: Reads the file, and the files it names; ConfigError with all complaints.
Reread = Callable[[], tuple[Config, Secrets]]


class Emit(Protocol):
    """How it is said that a file came into force, or did not."""

    def __call__(self, event: e.Event, *, cause: str | None = None) -> e.Stamped:
        """Emit."""
        ...


class Reloader:
    """Takes the requests to reload, one after the other.

    `claim` and `carry_out` are handed the configuration to go by from now on, with the VFOs that
    are there; `claim` raises AlreadyRunningError where a port is another daemon's.
    """

    def __init__(
        self,
        config: Config,
        reread: Reread | None,
        claim: Callable[[Config], None],
        carry_out: Callable[[Config, Secrets, str | None], Awaitable[None]],
        emit: Emit,
        *,
        clock: Clock,
        manager: ServiceManager | None = None,
    ) -> None:
        self._started_with = config
        self._read = config
        self._in_force = config
        self._reread = reread
        self._claim = claim
        self._carry_out = carry_out
        self._emit = emit
        self._clock = clock
        self._manager = manager
        self._turn = asyncio.Lock()

    async def reload(self, by: e.Origin, cause: str | None = None) -> tuple[int, dict[str, Any]]:
        """Read the file and go by it; the number of the event, and the answer.

        Raises ConfigError with all complaints.
        """
        if self._reread is None:
            raise RefusedError("this daemon was not started from a file")
        async with self._turn:
            with self._told_to_the_manager():
                try:
                    # In a thread: a slow card must not hold up a visit.
                    config, secrets = await asyncio.to_thread(self._reread)
                    in_force = self._claimed(config)
                except ConfigError as error:
                    self._refused(error, by, cause)
                    raise
                self._in_force = in_force
                return await self._go_by(config, secrets, by, cause)

    def _claimed(self, config: Config) -> Config:
        in_force = _of_those_here(config, self._in_force)
        try:
            self._claim(in_force)
        except AlreadyRunningError as error:
            raise ConfigError([f"{config.path}: {error}"]) from None
        return in_force

    async def _go_by(
        self, config: Config, secrets: Secrets, by: e.Origin, cause: str | None
    ) -> tuple[int, dict[str, Any]]:
        waiting = [
            key
            for key in changes(self._started_with.written, config.written)
            if takes(key) is Takes.RESTART
        ]
        when: dict[str, list[str]] = {}
        changed = changes(self._read.written, config.written)
        for key in changed:
            when.setdefault(str(_when(key, waiting)), []).append(key)
        for key in waiting:
            if key not in changed:
                when.setdefault(str(Takes.RESTART), []).append(key)
        stamped = self._emit(
            e.ConfigReloaded(
                config_digest=config.digest,
                changed=changed,
                waiting=tuple(waiting),
                by=by,
                zone=config.place.zone.key,
            ),
            cause=cause,
        )
        self._read = config
        await self._carry_out(self._in_force, secrets, cause)
        text = f"configuration {config.digest} is in force" + ("" if when else ", nothing changed")
        lines = [text, *(f"  {takes}: {', '.join(keys)}" for takes, keys in when.items())]
        return stamped.sequence, {
            **answer(stamped, config.place.zone),
            "when": when,
            "text": "\n".join(lines),
        }

    def _refused(self, error: ConfigError, by: e.Origin, cause: str | None) -> None:
        self._emit(
            e.ConfigRefused(
                mistakes=len(error.complaints), complaints=tuple(error.complaints[:SHOWN]), by=by
            ),
            cause=cause,
        )

    @contextlib.contextmanager
    def _told_to_the_manager(self) -> Iterator[None]:
        if self._manager is None:
            yield
            return
        self._manager.reloading(self._clock.monotonic())
        try:
            yield
        finally:
            self._manager.ready()


def _when(key: str, waiting: list[str]) -> Takes:
    """A key below one that waits for a restart waits with it."""
    if any(key == other or key.startswith(f"{other}.") for other in waiting):
        return Takes.RESTART
    found = takes(key)
    # What would wait is in force already where it was only put back.
    return Takes.AT_ONCE if found is Takes.RESTART else found


def _of_those_here(config: Config, in_force: Config) -> Config:
    """The configuration for the VFOs that are there: one more, or one less, takes a restart."""
    here = {name: vfo for name, vfo in config.vfos.items() if name in in_force.vfos}
    gone = {name: vfo for name, vfo in in_force.vfos.items() if name not in config.vfos}
    return dataclasses.replace(config, vfos={**here, **gone})
