"""The reference box of docs/protocol-vectors.yaml: without time, moved by the steps of a case.

As small as a box can be that does everything; what is right about lines comes from BoxSession.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import yaml

from vfod.wire.box import Asked, BoxSession
from vfod.wire.messages import (
    Abilities,
    Alive,
    Answer,
    BatteryLow,
    Booted,
    Can,
    Code,
    Done,
    Identity,
    Limits,
    Mute,
    Output,
    Ping,
    Pressed,
    Range,
    Read,
    Reading,
    Select,
    Step,
    Tune,
    Tuned,
    Turned,
    Who,
)
from vfod.wire.values import Ability

VECTORS: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parents[2] / "docs" / "protocol-vectors.yaml").read_text("utf-8")
)


def millihertz(text: str) -> int:
    whole, _, decimals = text.partition(".")
    return int(whole) * 1000 + int(decimals.ljust(3, "0"))


class ReferenceBox:
    """Bytes in by `send`, bytes out from every step."""

    def __init__(self, case: dict[str, Any]) -> None:
        self._made = VECTORS["reference_box"]
        words = case.get("abilities", self._made["can"]).split(",")
        self._can = frozenset(ability for ability in Ability if ability in words)
        self._slow = case.get("slow", False)
        self._broken = False
        self._power_on(int(self._made["boot"], 16))

    def _power_on(self, boot: int) -> bytes:
        made = self._made
        self._boot = boot
        self._held = False
        self._held_button = ""
        self._tuning: Asked | None = None
        self._state = Reading(
            frequency=millihertz(made["f"]),
            output=bool(made["out"]),
            select=made["sel"],
            muted=bool(made["mute"]),
            step=made["step"],
            level=made["level"],
            battery=made["battery"],
            temperature=made["temp"] / 10,
        )
        self.session = BoxSession(self._can)
        return self.session.tell(Booted(boot=boot))

    def step(self, word: str, value: Any) -> bytes:
        """Do one step of a case; the bytes that come out."""
        steps: dict[str, Callable[[Any], bytes]] = {
            "send": lambda text: self.send(text.encode("latin-1")),
            "turn": self._turn,
            "hold": self._hold,
            "hold_press": self._hold_press,
            "release": lambda _: self._release(),
            "press": lambda name: self.session.tell(Pressed(button=name)),
            "battery": self._battery,
            "settled": lambda _: self._settled(),
            "broken": self._break,
            "reset": lambda boot: self._power_on(int(boot, 16)),
        }
        return steps[word](value)

    def send(self, data: bytes) -> bytes:
        out = [self._do(asked) for asked in self.session.receive(data)]
        return b"".join([*out, self.session.to_send()])

    def _do(self, asked: Asked) -> bytes:
        request = asked.request
        if isinstance(request, Tune):
            return self._tune(asked, request)
        return self.session.answer(asked, self._answer(request))

    def _answer(self, request: object) -> Answer:
        made = self._made
        match request:
            case Who():
                return Identity(
                    protocol=1,
                    model=made["model"],
                    firmware=made["fw"],
                    serial=made["serial"],
                    boot=self._boot,
                )
            case Range():
                return Limits(
                    low=millihertz(made["low"]),
                    high=millihertz(made["high"]),
                    resolution=millihertz(made["res"]),
                    settle=made["settle"] / 1000,
                )
            case Can():
                return Abilities(can=self._can)
            case Read():
                return self._reading()
            case Ping():
                return Alive(boot=self._boot)
            case Output(on=on):
                self._state = replace(self._state, output=on)
            case Select(n=n):
                self._state = replace(self._state, select=n)
            case Mute(on=on):
                self._state = replace(self._state, muted=on)
            case Step(hertz=hertz):
                self._state = replace(self._state, step=hertz)
        return Done()

    def _reading(self) -> Reading:
        shown = {
            "output": Ability.OUTPUT,
            "select": Ability.SELECT,
            "muted": Ability.MUTE,
            "step": Ability.KNOB,
            "level": Ability.LEVEL,
            "battery": Ability.BATTERY,
            "temperature": Ability.TEMPERATURE,
        }
        hidden: dict[str, Any] = {
            name: None for name, ability in shown.items() if ability not in self._can
        }
        return replace(self._state, **hidden)

    def _tune(self, asked: Asked, tune: Tune) -> bytes:
        low, high = millihertz(self._made["low"]), millihertz(self._made["high"])
        here = self._state.frequency
        if not low <= tune.frequency <= high:
            return self.session.refuse(asked, Code.RANGE, "out of range")
        untold = self._held or self._held_button != ""
        if self.session.hand_is_newer(tune) or (tune.hand is not None and untold):
            return self.session.refuse(asked, Code.HAND, "hand moved since", here)
        if self._broken:
            return self.session.refuse(asked, Code.HARDWARE, "no lock")
        self._state = replace(self._state, frequency=tune.frequency)
        self._tuning = asked
        return b"" if self._slow else self._settled()

    def _settled(self) -> bytes:
        asked, self._tuning = self._tuning, None
        assert asked is not None
        return self.session.answer(asked, Tuned(frequency=self._state.frequency))

    def _break(self, broken: bool) -> bytes:
        self._broken = broken
        return b""

    def _hold(self, frequency: str) -> bytes:
        self._state = replace(self._state, frequency=millihertz(frequency))
        self._held = True
        return b""

    def _hold_press(self, button: str) -> bytes:
        self._held_button = button
        return b""

    def _release(self) -> bytes:
        """What was held goes out, the button first (6.3)."""
        out = b""
        if self._held_button:
            out += self.session.tell(Pressed(button=self._held_button))
            self._held_button = ""
        return out + self._tell_frequency() if self._held else out

    def _tell_frequency(self) -> bytes:
        self._held = False
        told = self.session.tell(Turned(frequency=self._state.frequency))
        if self._tuning is None:
            return told
        asked, self._tuning = self._tuning, None
        here = self._state.frequency
        return told + self.session.refuse(asked, Code.HAND, "hand moved since", here)

    def _turn(self, frequency: str) -> bytes:
        return self._hold(frequency) + self._tell_frequency()

    def _battery(self, millivolts: int) -> bytes:
        self._state = replace(self._state, battery=millivolts)
        return self.session.tell(BatteryLow(millivolts=millivolts))
