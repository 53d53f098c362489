"""The simulated VFO: the answering end of the line protocol, with a knob, a battery and a crystal.

It is fed bytes and sends bytes through `connect`'s function; what carries them is another file's
affair (memory, pty, tcp). Time is the clock's, waiting is one timer of the running loop for each
thing that is awaited, so a box works on a loop whose clock jumps.
Inside, frequencies are whole millihertz.
"""

import asyncio
from collections.abc import Callable
from math import cos, pi

from vfod.clock import Clock
from vfod.sim.noise import mix
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import DAY, BoxSetup
from vfod.units import MILLI
from vfod.wire import messages as m
from vfod.wire.box import Asked, BoxSession
from vfod.wire.messages import Ability, Code
from vfod.wire.timing import EVENT_SPACING

#: A low battery is told at most this often, seconds (6.1).
_BATTERY_SPACING = 600.0

_HOUR = 3600.0
#: The warmest hour of the day, as a part of it: three in the afternoon.
_WARMEST = 15.0 / 24.0


class SimBox:
    """One box, running from the moment it is made until `close`."""

    def __init__(self, *, clock: Clock, setup: BoxSetup, receiver: SimReceiver, seed: int = 0):
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._setup = setup
        self._receiver = receiver
        self._seed = seed
        self._send: Callable[[bytes], None] = _nowhere
        self._started = clock.monotonic()
        self._full_at = 0.0
        self._boots = 0
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._event_after = self._started
        self._on_air: float | None = None
        #: The tuner is defective: it refuses with `hardware` (5.11).
        self.broken = False
        self._power_on()
        self._tell(m.Booted)

    # --- the line -----------------------------------------------------------------------------

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        """From now on send bytes there; None: there is no line, and they are lost."""
        self._send = send or _nowhere

    def feed(self, data: bytes) -> None:
        """Bytes from the host, in pieces of any size."""
        if "boot" in self._timers:
            return
        for asked in self._session.receive(data):
            self._do(asked)
        if own := self._session.to_send():
            self._send(own)

    def close(self) -> None:
        """Cancel what it waits for; the box is not used afterwards."""
        for timer in self._timers.values():
            timer.cancel()
        self._timers.clear()
        self._send = _nowhere

    # --- the hand -----------------------------------------------------------------------------

    def turn(self, steps: int) -> None:
        """A hand turns the knob by so many steps; at the ends it has no effect (6.10)."""
        if "boot" in self._timers or Ability.KNOB not in self._setup.abilities:
            return
        before = self.oscillator
        self._move(before + steps * self.step * MILLI)
        if self.oscillator == before:
            return
        self._tell(m.Turned)
        pending = self._session.pending
        if pending is not None:  # a tune: the hand wins (6.8)
            self._cancel("settle")
            self._refuse(pending, Code.HAND, "hand on the knob")

    def press(self, button: str) -> None:
        """A hand presses a button."""
        self._button = button
        if "boot" not in self._timers and Ability.TOUCH in self._setup.abilities:
            self._tell(m.Pressed)

    def charge(self) -> None:
        """A hand puts a full battery in, without cutting the power."""
        self._full_at = self._hours
        self._cancel("battery")
        self._watch_battery()

    def reset(self, banner: bytes = b"") -> None:
        """Start anew, as after a cut of the power or a watchdog; `banner` is what it babbles."""
        for name in tuple(self._timers):
            self._cancel(name)
        if banner:
            self._send(banner)
        self._power_on()
        self._later("boot", self._setup.boot_time, lambda: self._tell(m.Booted))

    # --- what is true -------------------------------------------------------------------------

    @property
    def produced(self) -> float:
        """What the output truly makes now, hertz, whatever the box says."""
        return self.oscillator / MILLI * (1.0 + self.crystal_error * 1e-6)

    @property
    def crystal_error(self) -> float:
        """Parts per million, positive when the crystal runs fast."""
        crystal = self._setup.crystal
        return crystal.error + crystal.drift * self._hours

    @property
    def listening(self) -> float | None:
        """The frequency the receiver truly receives now, hertz; None while the output is off."""
        return self._receiver.centre(self.produced) if self.output else None

    @property
    def battery(self) -> int:
        """Millivolts."""
        battery = self._setup.battery
        return max(0, round((battery.volts - battery.fall * self._discharging) * 1000))

    @property
    def temperature(self) -> float:
        """Degrees Celsius."""
        part = self._clock.wall() % DAY / DAY
        return self._setup.temperature + self._setup.swing * cos(2.0 * pi * (part - _WARMEST))

    @property
    def newest_hand(self) -> int:
        """The number of the newest hand event that was told."""
        return self._session.newest_hand

    @property
    def _discharging(self) -> float:
        """Hours since the battery was full."""
        return self._hours - self._full_at

    @property
    def _hours(self) -> float:
        return (self._clock.monotonic() - self._started) / _HOUR

    # --- inside -------------------------------------------------------------------------------

    def _power_on(self) -> None:
        self._boots += 1
        # With the time in it, so that a simulator that is started again is another boot.
        self.boot = mix(self._seed, self._boots, round(self._clock.wall() * 1000)) >> 32
        self._session = BoxSession(self._setup.abilities)
        #: Events that wait for their turn, by their verb (6.4); the values mean nothing.
        self._waiting: dict[type[m.Event], None] = {}
        self._button = ""
        self.step = self._setup.step
        self.select = 0
        self.muted = False
        self._receiver.mute(False, self._clock.wall())
        self.output = self._setup.output
        self._move(self._setup.start)
        self._watch_battery()

    def _do(self, asked: Asked) -> None:
        can = self._setup.abilities
        answer: m.Answer = m.Done()
        match asked.request:
            case m.Tune() as tune:
                self._tune(asked, tune)
                return
            case m.Read():
                answer = self._read()
            case m.Ping():
                answer = m.Alive(boot=self.boot)
            case m.Who():
                answer = self._setup.identity(self.boot)
            case m.Range():
                answer = self._setup.limits()
            case m.Can():
                answer = m.Abilities(can=can)
            case m.Output(on=on):
                self.output = on
                self._retune()
            case m.Select(n=n):
                if n != self.select:
                    self._receiver.switch(self._clock.wall())
                self.select = n
            case m.Mute(on=on):
                self.muted = on
                self._receiver.mute(on, self._clock.wall())
            case m.Step(hertz=hertz):
                self.step = hertz
        self._send(self._session.answer(asked, answer))

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        setup = self._setup
        # A hand's event that waits to be told has no number yet, but is newer than any (6.7).
        by_hand = m.Turned in self._waiting or m.Pressed in self._waiting
        untold = tune.hand is not None and by_hand
        if not setup.low <= tune.frequency <= setup.high:
            self._refuse(asked, Code.RANGE, "outside low to high")
        elif untold or self._session.hand_is_newer(tune):
            self._refuse(asked, Code.HAND, "hand moved since")
        elif self.broken:
            self._refuse(asked, Code.HARDWARE, "no lock")
        else:
            self._move(tune.frequency)
            if setup.settle:
                self._later("settle", setup.settle, lambda: self._settled(asked))
            else:
                self._settled(asked)

    def _refuse(self, asked: Asked, code: Code, why: str) -> None:
        self._send(self._session.refuse(asked, code, why, self.oscillator))

    def _settled(self, asked: Asked) -> None:
        self._send(self._session.answer(asked, m.Tuned(frequency=self.oscillator)))

    def _read(self) -> m.Reading:
        can = self._setup.abilities
        level = None
        if Ability.LEVEL in can:
            level = self._receiver.counts(self._truly(), self._clock.wall())
        return m.Reading(
            frequency=self.oscillator,
            output=self.output if Ability.OUTPUT in can else None,
            select=self.select if Ability.SELECT in can else None,
            muted=self.muted if Ability.MUTE in can else None,
            step=self.step if Ability.KNOB in can else None,
            level=level,
            battery=self.battery if Ability.BATTERY in can else None,
            temperature=self.temperature if Ability.TEMPERATURE in can else None,
        )

    def _move(self, millihertz: int) -> None:
        """Set the output to the nearest frequency it has."""
        low, high, grid = self._setup.low, self._setup.high, self._setup.resolution
        wanted = low + (min(max(millihertz, low), high) - low + grid // 2) // grid * grid
        self.oscillator = min(wanted, high)
        self._retune()

    def _retune(self) -> None:
        new = self._truly()
        self._receiver.tune(self._on_air, new, self._clock.wall())
        self._on_air = new

    def _truly(self) -> float | None:
        return self.produced if self.output else None

    def _watch_battery(self) -> None:
        battery = self._setup.battery
        if Ability.BATTERY in self._setup.abilities and battery.fall:
            due = (battery.volts - battery.low) / battery.fall - self._discharging
            soonest = _BATTERY_SPACING if self._boots > 1 else 0.0
            self._later("battery", max(due * _HOUR, soonest), lambda: self._tell(m.BatteryLow))

    def _tell(self, kind: type[m.Event]) -> None:
        """Send such an event now, or when its turn comes with what holds then (6.4)."""
        self._waiting[kind] = None
        if "events" not in self._timers:
            self._tell_next()

    def _tell_next(self) -> None:
        now = self._clock.monotonic()
        if now >= self._event_after:
            self._event_after = now + EVENT_SPACING
            # The battery last: the hand's last place is told within 100 ms (6.5).
            kind = min(self._waiting, key=lambda kind: kind is m.BatteryLow)
            del self._waiting[kind]
            self._send(self._session.tell(self._event(kind)))
        if self._waiting:
            self._later("events", self._event_after - now, self._tell_next)

    def _event(self, kind: type[m.Event]) -> m.Event:
        if kind is m.Turned:
            return m.Turned(frequency=self.oscillator)
        if kind is m.Pressed:
            return m.Pressed(button=self._button)
        if kind is m.BatteryLow:
            return m.BatteryLow(millivolts=self.battery)
        return m.Booted(boot=self.boot)

    def _later(self, name: str, delay: float, call: Callable[[], None]) -> None:
        def fire() -> None:
            self._timers.pop(name, None)
            call()

        self._timers[name] = self._loop.call_later(delay, fire)

    def _cancel(self, name: str) -> None:
        timer = self._timers.pop(name, None)
        if timer is not None:
            timer.cancel()


def _nowhere(_: bytes) -> None:
    """There is no line: what a box sends then is lost."""
