"""Inputs for the differential fuzzer: nearly right lines, right ones, and what lies between.

Where chance alone is used, almost nothing gets past the checksum; so a line is changed first and
sealed afterwards, as often as the other way round.
"""

import random

from tests.firmware.fuzz.moves import MARK, seeds
from vfod.wire.crc import checksum

_VERBS = [
    "tune",
    "read",
    "ping",
    "who",
    "range",
    "can",
    "output",
    "select",
    "mute",
    "step",
    "dance",
]
_KEYS = ["f", "h", "on", "n", "hz", "x", "level2", "F", "", "f"]
_VALUES = [
    *("0", "1", "2", "15", "16", "65535", "65536", "1000000", "1000001", "999999999", "000000001"),
    *(
        "1234567890",
        "0000000001",
        "7000000",
        "7000000.5",
        "7000000.001",
        "7000000.0000",
        "7000000.",
    ),
    *("100000", "99999.999", "160000000", "160000000.001", ".5", "-1", "+1", "1e6", "9.875M", ""),
    *("grey", "a=b", "a*b", "0x1", "on", "7,1"),
]
_GOOD = [
    "tune f=7100000",
    "tune f=7200000.5 h=0",
    "tune f=7300000 h=2",
    "read",
    "ping",
    "output on=1",
]
_WORDS = [
    "ok",
    "err",
    "okay",
    "#0001",
    "!1",
    "*",
    "*29B1",
    "=",
    "code=x",
    "PING",
    "2tune",
    "\0",
    "~",
]
_ENDS = ["\n"] * 8 + ["\r", "\r\n", "\n\n", "", "#", "!"]


class Inputs:
    """An endless supply; the same for the same `chance`."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._seeds = seeds()
        self._lines = ["ping"]

    def input(self) -> bytes:
        """One input, as moves.py explains."""
        chance = self._chance
        if chance.random() < 0.1:
            return self._changed(chance.choice(self._seeds))
        parts = [bytes([chance.randrange(2)])]
        for _ in range(chance.randrange(1, 12)):
            if chance.random() < 0.25:
                parts.append(bytes([MARK, chance.randrange(8), chance.randrange(256)]))
            else:
                parts.append(self._line().encode("latin-1").replace(b"\xff", b"\xff\0\0"))
        return b"".join(parts)

    def _line(self) -> str:
        chance = self._chance
        kind = chance.random()
        if kind < 0.2:
            # Once more what was there already, or almost.
            return chance.choice(self._lines) + chance.choice(_ENDS)
        body = self._body()
        if chance.random() < 0.15:
            body = self._damaged(body)
        if chance.random() < 0.05:
            body += chance.choice([" x=" + "." * 90, " " * 90, "." * 90]) + "." * chance.randrange(
                40
            )
        elif chance.random() < 0.03:
            body = " " * chance.randrange(100, 125) + body * chance.randrange(2)
        if kind < 0.75:
            body = sealed(body, small=chance.random() < 0.1)
        if chance.random() < 0.1:
            body = self._damaged(body)
        self._lines = [body, *self._lines[:3]]
        return body + chance.choice(_ENDS)

    def _body(self) -> str:
        chance = self._chance
        if chance.random() < 0.3:
            return f"#{chance.choice([1, 2]):04X} {chance.choice(_GOOD)}"
        words = []
        if chance.random() < 0.7:
            words.append(f"#{chance.choice([1, 1, 2, 0xABCD]):04X}")
            if chance.random() < 0.1:
                words = [words[0].lower()]
        if chance.random() < 0.1:
            words.append(chance.choice(_WORDS))
        words.append(chance.choice(_VERBS) if chance.random() < 0.95 else chance.choice(_WORDS))
        for _ in range(chance.choice([0, 0, 1, 1, 1, 2, 3])):
            words.append(f"{chance.choice(_KEYS)}={chance.choice(_VALUES)}")
        if words[-1:] == ["tune"] or chance.random() < 0.2:
            words.append("f=" + chance.choice(_VALUES))
        if chance.random() < 0.2:
            words.append(f"h={chance.randrange(5)}")
        space = " " if chance.random() < 0.9 else "  "
        return space.join(words) + (" " * chance.randrange(3) if chance.random() < 0.1 else "")

    def _damaged(self, text: str) -> str:
        return self._changed(text.encode("latin-1")).decode("latin-1")

    def _changed(self, data: bytes) -> bytes:
        """A byte lost, doubled, put in or changed, or two."""
        chance = self._chance
        for _ in range(chance.choice([1, 1, 2])):
            at = chance.randrange(len(data) + 1)
            byte = bytes([chance.randrange(256)])
            data = chance.choice(
                [
                    data[:at] + data[at + 1 :],
                    data[:at] + data[at : at + 1] + data[at:],
                    data[:at] + byte + data[at:],
                    data[:at] + byte + data[at + 1 :],
                    data[:at] + b" " + data[at:],
                ]
            )
        return data


def sealed(body: str, *, small: bool = False) -> str:
    """The body of a line with its checksum behind it."""
    seal = f"{checksum(body.encode('latin-1')):04X}"
    return f"{body} *{seal.lower() if small else seal}"
