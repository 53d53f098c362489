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

#: At most 20 events a second (docs/protocol.md): the time from one to the next, seconds.
EVENT_SPACING = 0.05
#: Buttons that wait for their turn; a hand does not press more of them in a second.
_WAITING = 16

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
        self._boots = 0
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._event_after = 0.0
        self._on_air: float | None = None
        self._power_on()

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
        """A hand turns the knob by so many steps, at the ends no further."""
        low, high = self._setup.low, self._setup.high
        self._move(min(max(self.oscillator + steps * self.step * MILLI, low), high))
        pending = self._session.pending
        if pending is not None and isinstance(pending.request, m.Tune):
            self._cancel("settle")
            self._send(
                self._session.refuse(pending, Code.HAND, "hand on the knob", self.oscillator)
            )
        if Ability.KNOB in self._setup.abilities:
            self._tell(m.Turned(frequency=self.oscillator))

    def press(self, button: str) -> None:
        """A hand presses a button."""
        if Ability.TOUCH in self._setup.abilities:
            self._tell(m.Pressed(button=button))

    def reset(self, banner: bytes = b"") -> None:
        """Start anew, as after a cut of the power or a watchdog; `banner` is what it babbles."""
        for name in tuple(self._timers):
            self._cancel(name)
        self._power_on()
        if banner:
            self._send(banner)
        self._later("boot", self._setup.boot_time, self._booted)

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
        return max(0, round((battery.volts - battery.fall * self._hours) * 1000))

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
    def _hours(self) -> float:
        return (self._clock.monotonic() - self._started) / _HOUR

    # --- inside -------------------------------------------------------------------------------

    def _power_on(self) -> None:
        self._boots += 1
        # With the time in it, so that a simulator that is started again is another boot.
        self.boot = mix(self._seed, self._boots, round(self._clock.wall() * 1000)) >> 32
        self._session = BoxSession(self._setup.abilities)
        self._waiting: list[m.Event] = []
        self.step = self._setup.step
        self.select = 0
        self.muted = False
        self.output = self._setup.output
        self._move(self._setup.start)
        self._watch_battery()

    def _booted(self) -> None:
        self._tell(m.Booted(boot=self.boot))

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
                setup = self._setup
                answer = m.Identity(
                    protocol=1,
                    model=setup.model,
                    firmware=setup.firmware,
                    serial=setup.serial,
                    boot=self.boot,
                )
            case m.Range():
                setup = self._setup
                answer = m.Limits(
                    low=setup.low,
                    high=setup.high,
                    resolution=setup.resolution,
                    settle=setup.settle,
                )
            case m.Can():
                answer = m.Abilities(can=can)
            case m.Output(on=on):
                self.output = on
                self._retune()
            case m.Select(n=n):
                self.select = n
            case m.Mute(on=on):
                self.muted = on
            case m.Step(hertz=hertz):
                self.step = hertz
        self._send(self._session.answer(asked, answer))

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        setup = self._setup
        session = self._session
        # A turn that waits to be told has no number yet, but it is newer than any that has.
        unseen = tune.hand is not None and any(
            isinstance(event, (m.Turned, m.Pressed)) for event in self._waiting
        )
        if session.hand_is_newer(tune) or unseen:
            self._send(session.refuse(asked, Code.HAND, "hand on the knob", self.oscillator))
        elif not setup.low <= tune.frequency <= setup.high:
            self._send(session.refuse(asked, Code.RANGE, "outside low to high", self.oscillator))
        else:
            self._move(tune.frequency)
            if setup.settle:
                self._later("settle", setup.settle, lambda: self._settled(asked))
            else:
                self._settled(asked)

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
        resolution = self._setup.resolution
        self.oscillator = (millihertz + resolution // 2) // resolution * resolution
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
            due = (battery.volts - battery.low) / battery.fall * _HOUR
            left = max(0.0, due - self._hours * _HOUR)
            self._later("battery", left, lambda: self._tell(m.BatteryLow(millivolts=self.battery)))

    def _tell(self, event: m.Event) -> None:
        """Send the event now, or when its turn comes; only the last place of a turn counts."""
        if "boot" in self._timers:
            return
        waiting = self._waiting
        if waiting and isinstance(event, m.Turned) and isinstance(waiting[-1], m.Turned):
            waiting[-1] = event
        elif len(waiting) < _WAITING:
            waiting.append(event)
        if "events" not in self._timers:
            self._tell_next()

    def _tell_next(self) -> None:
        now = self._clock.monotonic()
        if self._waiting and now >= self._event_after:
            self._event_after = now + EVENT_SPACING
            self._send(self._session.tell(self._waiting.pop(0)))
        if self._waiting:
            self._later("events", self._event_after - now, self._tell_next)

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
