"""What the service manager is told: ready, alive, stopping (sd_notify(3), sd_watchdog_enabled(3)).

The watchdog is fed only while every part shows life, by the same measure as /healthz, so that a
daemon which is stuck is started anew.
A VFO that is unplugged is not stuck.
"""

import logging
import socket
from collections.abc import Mapping
from typing import Self

from vfod.clock import Clock
from vfod.errors import UsageError
from vfod.outputs.web import Beats, WebSettings

#: Seconds without a sign of life after which a part counts as stuck; what /healthz says too.
STALE_AFTER = WebSettings().stale_after

_log = logging.getLogger(__name__)


class ServiceManager:
    """A datagram socket at `address`: a path, or a name in the abstract namespace as `@name`.

    `watchdog` is the number of seconds without a word after which the manager restarts the daemon;
    None where it does not watch.
    """

    def __init__(self, address: str, *, watchdog: float | None = None) -> None:
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        self._watchdog = watchdog

    @classmethod
    def named_in(cls, environment: Mapping[str, str]) -> Self | None:
        """The one that started this process; None where no manager did.

        Raises UsageError for a watchdog's time that is no number.
        """
        address = environment.get("NOTIFY_SOCKET")
        if not address:
            return None
        microseconds = environment.get("WATCHDOG_USEC", "0")
        if not (microseconds.isascii() and microseconds.isdecimal()):
            raise UsageError(
                f"WATCHDOG_USEC is {microseconds!r}, no number of microseconds",
                remedy="set WatchdogSec= in the unit, or take the variable away",
            )
        return cls(address, watchdog=int(microseconds) / 1e6 or None)

    def ready(self) -> None:
        """Say that everything is open; the VFO may still be away."""
        self._tell("READY=1\nSTATUS=running")

    def reloading(self, now: float) -> None:
        """Say that the configuration is read anew; `ready` ends that. `now` is monotonic."""
        since = int(now * 1e6)
        self._tell(f"RELOADING=1\nMONOTONIC_USEC={since}\nSTATUS=reading the configuration")

    def stopping(self) -> None:
        """Say that the end has begun, and is no failure."""
        self._tell("STOPPING=1\nSTATUS=ending in good order")

    async def watch(self, beats: Beats, clock: Clock) -> None:
        """Feed the watchdog at half its time while all beats are fresh, until cancelled."""
        if self._watchdog is None:
            return
        was: list[str] = []
        while True:
            stuck = sorted(name for name, since in beats().items() if since > STALE_AFTER)
            if not stuck:
                self._tell("WATCHDOG=1\nSTATUS=running" if was else "WATCHDOG=1")
            elif stuck != was:
                names = ", ".join(stuck)
                _log.error(
                    "no sign of life for %g s from %s; the service manager will restart the daemon",
                    STALE_AFTER,
                    names,
                )
                self._tell(f"STATUS=stuck: {names}")
            was = stuck
            await clock.sleep_until(clock.monotonic() + self._watchdog / 2)

    def _tell(self, text: str) -> None:
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
                # A manager that does not read must not hold up the daemon.
                line.setblocking(False)
                line.connect(self._address)
                line.send(text.encode())
        except OSError as error:
            _log.warning("the service manager was not told %r: %s", text, error.strerror)
