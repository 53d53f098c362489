"""A VFO in under 120 lines, written from docs/protocol.md alone; it imports nothing of vfod.

Numbers in brackets are paragraphs of that document. It listens on a free TCP port (1.1), prints
it, and serves one host after another. It has a knob nobody turns and a level that is always 7.
"""

import binascii
import re
import secrets
import socket

LOW, HIGH, SETTLE = 100_000.0, 60_000_000.0, 5
WORD = r"[a-z][a-z0-9]*"
VALUE = r"[\x22\x24-\x29\x2b-\x3c\x3e-\x7e]+"
BODY = re.compile(rf"(?:#([0-9A-Fa-f]{{4}}) +)? *({WORD})((?: +{WORD}={VALUE})*)")
SEAL = re.compile(rb" \*([0-9A-Fa-f]{4})$")
HERTZ = re.compile(r"\d{1,9}(\.\d{1,3})?")
WHOLE = re.compile(r"\d{1,9}")


class Box:
    def __init__(self) -> None:
        self.boot = f"{secrets.randbits(32):X}"  # [4.5]
        self.f, self.step, self.events = 7_000_000.0, 1000, 1
        self.newest: tuple[str, int] | None = None
        self.said = self.held = b""

    def line(self, words: str) -> bytes:
        return words.encode() + b" *%04X\n" % binascii.crc_hqx(words.encode(), 0xFFFF)

    def feed(self, data: bytes) -> bytes:
        out = b""
        for byte in data:
            if byte in b"\r\n":  # [2.1, 2.2]
                out += self.judge(self.held) if self.held.strip(b" ") else b""
                self.held = b""
            elif byte in b"#!":  # [2.5]
                self.held = bytes([byte])
            elif len(self.held) < 130:  # [2.4]: enough to see that it is too long
                self.held += bytes([byte])
        return out

    def reply(self, words: str, tag: str | None = None) -> bytes:
        head = f"#{tag} " if tag else ""
        return self.line(f"{head}{words} e={self.events} h=0")  # [4.2]

    def judge(self, raw: bytes) -> bytes:
        words = raw[:119].split()
        first = words[1:2] if words[0].startswith(b"#") else words[:1]
        if raw.startswith(b"!") or first in ([b"ok"], [b"err"]):
            return b""  # [5.1]
        if len(raw) > 119 or any(not 0x20 <= byte <= 0x7E for byte in raw):
            return self.reply("err code=syntax why=bad-line")  # [5.2]
        raw = raw.rstrip(b" ")
        seal = SEAL.search(raw)
        body = raw[: seal.start()] if seal else raw
        sound = int(seal[1], 16) == binascii.crc_hqx(body, 0xFFFF) if seal else True  # [3.6]
        if not sound or (not seal and (raw.startswith(b"#") or b"*" in raw)):
            return self.reply("err code=checksum why=damaged")  # [5.3]
        match = BODY.fullmatch(body.rstrip(b" ").decode())
        early = re.match(r"#([0-9A-Fa-f]{4}) ", body.decode())
        tag = early[1].upper() if early else None
        pairs = [field.split("=", 1) for field in match[3].split()] if match else []
        fields = {pair[0]: pair[1] for pair in pairs}
        if not match or len(fields) < len(pairs):
            return self.reply("err code=syntax why=not-a-request", tag)  # [5.4, 3.4]
        if tag and seal:
            this = (tag, int(seal[1], 16))
            if this == self.newest:
                return self.said  # [5.5]
            self.newest = this
        said = self.reply(self.answer(match[2], fields), tag)
        if tag:
            self.said = said
        return said

    def answer(self, verb: str, fields: dict[str, str]) -> str:
        match verb:
            case "who":
                return f"ok proto=1 model=minimal fw=1 serial=1 boot={self.boot}"
            case "range":
                return f"ok low={LOW:.3f} high={HIGH:.3f} res=0.001 settle={SETTLE}"
            case "can":
                return "ok can=knob,level"
            case "ping":
                return f"ok boot={self.boot}"
            case "read":
                return f"ok f={self.f:.3f} step={self.step} level=7"  # [4.9]
            case "tune":
                f, h = fields.get("f", ""), fields.get("h", "0")
                if not HERTZ.fullmatch(f) or not WHOLE.fullmatch(h):
                    return "err code=syntax why=f-or-h"  # [5.8]
                if not LOW <= float(f) <= HIGH or int(h) > 65535:
                    return "err code=range why=f-or-h"  # [5.9]
                if int(h) != 0:
                    return f"err code=hand why=h f={self.f:.3f}"  # [6.7, 6.9]
                self.f = float(f)
                return f"ok f={self.f:.3f}"
            case "step":
                if not WHOLE.fullmatch(fields.get("hz", "")):
                    return "err code=syntax why=hz"
                if not 1 <= int(fields["hz"]) <= 1_000_000:
                    return "err code=range why=hz"
                self.step = int(fields["hz"])
                return "ok"
        return "err code=unknown why=no-such-verb"  # [5.7]


if __name__ == "__main__":
    box, server = Box(), socket.create_server(("127.0.0.1", 0))
    print(server.getsockname()[1], flush=True)
    greeting = box.line(f"!1 boot boot={box.boot}")  # [6.1, 6.2]
    while True:
        host = server.accept()[0]
        host.sendall(greeting)
        greeting = b""
        while data := host.recv(256):
            host.sendall(box.feed(data))
