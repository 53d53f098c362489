"""The C responder in the place of the simulated box: same doors, same hand, on the loop's time."""

import asyncio
from collections.abc import Callable
from itertools import count
from typing import Any

from tests.firmware.cbox import LibraryBox
from vfod.sim.scenario import BoxSetup
from vfod.units import MILLI

#: How often it is polled while something waits, seconds.
_POLL = 0.001
#: Each box has been switched on another time than all before.
_BOOTS = count(0xB0070001)


class FirmwareBox:
    """What tests/sim/test_contract.py needs of vfod.sim.box.SimBox, with vfoline.c behind it."""

    def __init__(self, functions: Any, setup: BoxSetup) -> None:
        self._setup = setup
        self._loop = asyncio.get_running_loop()
        self._box = LibraryBox(functions)
        self._send: Callable[[bytes], None] = _nowhere
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._do("make", round(setup.settle * 1000))
        self._was_low = False
        self._power_on()
        self._watch_battery()

    # --- the line -----------------------------------------------------------------------------

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        self._send = send or _nowhere

    def feed(self, data: bytes) -> None:
        if "boot" not in self._timers:
            self._do("send", data)

    def close(self) -> None:
        for timer in self._timers.values():
            timer.cancel()
        self._send = _nowhere

    # --- the hand -----------------------------------------------------------------------------

    def turn(self, steps: int) -> None:
        """As example_main.c does it, which stops at the ends."""
        c, me = self._box.c, self._box.me
        low, high = 100_000_000, 160_000_000_000
        wanted = c.model_frequency(me) + steps * c.model_step(me) * MILLI
        self._do("turn", min(max(wanted, low), high))

    def press(self, button: str) -> None:
        self._do("press", button)

    def reset(self, banner: bytes = b"") -> None:
        self._send(banner)
        self._later("boot", self._setup.boot_time, self._power_on)

    @property
    def battery(self) -> int:
        """Millivolts."""
        battery = self._setup.battery
        return round((battery.volts - battery.fall * self._loop.time() / 3600) * 1000)

    def _set_broken(self, broken: bool) -> None:
        self._do("break", broken)

    #: Every tune fails.
    broken = property(None, _set_broken)

    # --- inside -------------------------------------------------------------------------------

    def _power_on(self) -> None:
        self._do("reset", f"{next(_BOOTS):X}")

    def _do(self, word: str, value: Any) -> None:
        self._box.c.model_now(self._box.me, int(self._loop.time() * 1000))
        self._box.c.model_charge(self._box.me, self.battery)
        if said := self._box.do(word, value):
            self._send(said)
        if "poll" not in self._timers and self._box.c.model_is_busy(self._box.me):
            self._later("poll", _POLL, lambda: self._do("wait", 0))

    def _watch_battery(self) -> None:
        is_low = self.battery <= self._setup.battery.low * 1000
        if is_low and not self._was_low:
            self._do("battery", self.battery)
        self._was_low = is_low
        self._later("battery", 1.0, self._watch_battery)

    def _later(self, name: str, delay: float, call: Callable[[], None]) -> None:
        def fire() -> None:
            self._timers.pop(name, None)
            call()

        self._timers[name] = self._loop.call_later(delay, fire)


def _nowhere(_: bytes) -> None:
    """There is no line."""
