"""Boxes with one bad habit each: in what is sent, in what is taken in, or within.

The habits are those that a builder's firmware has on its way: from memory, common practice.
"""

import re
from collections.abc import Callable

from vfod.conform.bench import sealed
from vfod.sim.box import SimBox
from vfod.wire import messages as m
from vfod.wire.box import Asked

Change = Callable[[bytes], bytes]


class WorkBox(SimBox):
    """A simulated box whose bytes can be changed on their way."""

    _bend_out: Change = staticmethod(lambda data: data)
    _bend_in: Change = staticmethod(lambda data: data)

    def bent(self, out: Change, into: Change) -> "WorkBox":
        self._bend_out, self._bend_in = out, into
        return self

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        if send is None:
            super().connect(None)
            return

        def changed(data: bytes) -> None:
            for line in data.splitlines(keepends=True):
                if said := self._bend_out(line):
                    send(said)

        super().connect(changed)

    def feed(self, data: bytes) -> None:
        if taken := self._bend_in(data):
            super().feed(taken)

    def say(self, data: bytes) -> None:
        self._send(data)


def same(data: bytes) -> bytes:
    return data


def resealed(pattern: str, becomes: str) -> Change:
    """Change the words of a line and give it a right checksum again."""

    def change(line: bytes) -> bytes:
        body = line.rpartition(b" *")[0].decode("latin-1")
        return sealed(re.sub(pattern, becomes, body))

    return change


# --- what it takes in ----------------------------------------------------------------------------


def gathering(judge: Change) -> Callable[[], Change]:
    """Lines from their last mark on, each changed by `judge`, as by a firmware's line buffer."""

    def make() -> Change:
        held = bytearray()

        def take(data: bytes) -> bytes:
            held.extend(data)
            *pieces, rest = re.split(rb"([\r\n])", bytes(held))
            held[:] = rest
            return b"".join(b if b in b"\r\n" else _from_mark(b) for b in pieces)

        def _from_mark(line: bytes) -> bytes:
            start = max(line.rfind(b"#"), line.rfind(b"!"), 0)
            return line[:start] + judge(line[start:])

        return take

    return make


def mends_checksum(line: bytes) -> bytes:
    """It never looks at the checksum."""
    known = re.fullmatch(rb"(#[0-9A-F]{4} [a-z].*) \*....", line)
    return sealed(known[1].decode())[:-1] if known else line


def needs_no_checksum(line: bytes) -> bytes:
    return re.sub(rb"\A#[0-9A-F]{4} ping\Z", lambda found: sealed(found[0].decode())[:-1], line)


def no_more_than(most: int) -> Callable[[], Change]:
    def make() -> Change:
        def take(data: bytes) -> bytes:
            return data[:most]

        return take

    return make


def times_out() -> Change:
    """Half a line is dropped when the rest comes in another piece."""
    last = [b""]

    def take(data: bytes) -> bytes:
        before, last[0] = last[0], data
        return b"\n" + data if before and before[-1:] not in b"\r\n" else data

    return take


# --- within --------------------------------------------------------------------------------------


class DoesRepeats(WorkBox):
    """A repeat is done once more."""

    def feed(self, data: bytes) -> None:
        self._session._last = None
        super().feed(data)


class IgnoresHand(WorkBox):
    """`h` of a tune is not looked at."""

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        super()._tune(asked, m.Tune(frequency=tune.frequency))


class HandAtLeast(WorkBox):
    """A newer `h` than its own is taken."""

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        if tune.hand is not None and tune.hand > self._session.newest_hand:
            tune = m.Tune(frequency=tune.frequency)
        super()._tune(asked, tune)


class TooSlow(WorkBox):
    """It needs four times the settle time that it states."""

    def _later(self, name: str, delay: float, call: Callable[[], None]) -> None:
        super()._later(name, delay + 0.15 if name == "settle" else delay, call)


class Clamps(WorkBox):
    """A frequency outside the range becomes the nearest inside."""

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        inside = min(max(tune.frequency, self._setup.low), self._setup.high)
        super()._tune(asked, m.Tune(frequency=inside, hand=tune.hand))


class Echoes(WorkBox):
    """What comes in is sent back."""

    def feed(self, data: bytes) -> None:
        self.say(data)
        super().feed(data)


class SwitchesOn(WorkBox):
    """A tune switches the output on."""

    def _tune(self, asked: Asked, tune: m.Tune) -> None:
        self.output = True
        super()._tune(asked, tune)


class MovesFirst(WorkBox):
    """It has moved before it refuses."""

    def _refuse(self, asked: Asked, code: m.Code, why: str) -> None:
        if code is m.Code.HAND and isinstance(asked.request, m.Tune):
            self._move(asked.request.frequency)
        super()._refuse(asked, code, why)


class TellsAsked(WorkBox):
    """A tune that was asked for is told as an event of the knob."""

    def _settled(self, asked: Asked) -> None:
        super()._settled(asked)
        self._tell(m.Turned)


class SameBoot(WorkBox):
    """Each start has the same boot id."""

    def _power_on(self) -> None:
        super()._power_on()
        self.boot = 0x4A7F


class TuneWins(WorkBox):
    """A turn does not end the tune that waits: the output goes where that was going."""

    def turn(self, steps: int) -> None:
        pending, refuse = self._session.pending, self._refuse
        wanted = self.oscillator
        later = self._timers.pop("settle", None)
        self._refuse = lambda asked, code, why: None  # type: ignore[method-assign]  # for this turn
        super().turn(steps)
        self._refuse = refuse  # type: ignore[method-assign]  # as it was
        if later is not None and pending is not None:

            def settled() -> None:
                self._move(wanted)
                self._settled(pending)

            later.cancel()
            self._later("settle", later.when() - self._loop.time(), settled)


class Hangs(WorkBox):
    """When nobody takes what it sends, it waits for ever."""

    is_stuck = False

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        super().connect(send or self._stick)

    def _stick(self, _: bytes) -> None:
        self.is_stuck = True

    def feed(self, data: bytes) -> None:
        if not self.is_stuck:
            super().feed(data)


class Forgets(WorkBox):
    """What a hand does while nobody listens has no number."""

    is_heard = False

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        self.is_heard = send is not None
        super().connect(send)

    def turn(self, steps: int) -> None:
        if self.is_heard:
            super().turn(steps)
        else:
            self._move(self.oscillator + steps * self.step * 1000)


class BatteryByHand(WorkBox):
    """A low battery is counted as a hand's event."""

    def _tell_next(self) -> None:
        was_low = m.BatteryLow in self._waiting
        super()._tell_next()
        if was_low and m.BatteryLow not in self._waiting:
            self._session.newest_hand = self._session.newest_event


class KeepsLow(WorkBox):
    """Its battery is measured and never told."""

    def _watch_battery(self) -> None:
        """It does not."""


class Quick(WorkBox):
    """Every turn is told at once, whenever the last was."""

    def turn(self, steps: int) -> None:
        self._event_after = 0.0
        super().turn(steps)


class KnobLeaves(WorkBox):
    """The knob does not end at the ends."""

    def turn(self, steps: int) -> None:
        self.oscillator += steps * self.step * 1000
        self._tell(m.Turned)


class ForgetsLast(WorkBox):
    """The first step of a turn is told, where it came to rest is not."""

    def turn(self, steps: int) -> None:
        super().turn(steps)
        self._move(self.oscillator + self.step * 1000)


class Deaf(WorkBox):
    """While it settles it hears nothing."""

    def feed(self, data: bytes) -> None:
        for line in data.splitlines(keepends=True):
            if "settle" not in self._timers:
                super().feed(line)


class Coarse(WorkBox):
    """It states a resolution that it has not."""

    def _move(self, millihertz: int) -> None:
        super()._move(millihertz // 5_000_000 * 5_000_000)


class KnowsTags(WorkBox):
    """The tag alone makes a repeat."""

    def feed(self, data: bytes) -> None:
        last = self._session._last
        found = re.search(rb"#([0-9A-F]{4}) .*\*([0-9A-F]{4})\n\Z", data)
        if last is not None and found and int(found[1], 16) == last[0]:
            self._session._last = (last[0], int(found[2], 16))
        super().feed(data)
