"""Points about bytes and lines: what ends a line, what is none, and in step after any garbage."""

from vfod.conform.bench import Bench, sealed
from vfod.conform.point import Check, Point

#: Bytes that come before a good line and must not harm it. None is longer than what a box takes
#: without a pause (1.4), together with the line.
_GARBAGE = {
    "noise": b"\x00\xff\xfe\x80\x13\x11",
    "half-line": b"half a line",
    "half-request": b"#1234 tune f=98750",
    "overlong": b"x" * 200,
    "overlong-noise": b"\xaa" * 200,
    "banner": b"loader 2.1\r\nready.\r\n",
    "banner-open": b"loader 2.1 \x00\xff no image, sta",
    "marks": b"#" * 150 + b"!" * 50,
    "modem-probe": b"AT\r",
    "frame-probe": b"\x7e\x00\x10\x17\xfe",
    "arrow-keys": b"\x1b[A\x1b[B",
    "zeros": bytes(100),
    "half-event": b"!12 knob f=98",
    "seal-alone": b" *29B1",
    "long-line-ended": b"y" * 119 + b"z\n",
}


def _after(garbage: bytes) -> Check:
    async def check(bench: Bench) -> None:
        tag = bench.next_tag()
        bench.write(garbage + sealed(f"#{tag} ping"))
        while True:
            reply = await bench.reply()
            if reply.tag.upper() == tag:
                bench.must(reply.word == "ok", "ok", reply)
                return
            right = not reply.tag and reply.word == "err"
            bench.must(right, "errors without a tag, then the answer", reply)

    return check


def _typed(*lines: bytes) -> Check:
    async def check(bench: Bench) -> None:
        for line in lines:
            bench.write(line)
            reply = bench.with_tag(await bench.reply(), "")
            bench.must(reply.word == "ok", "ok", reply)
            await bench.nothing(b"")
            bench.sent = line

    return check


def _silent(*lines: bytes) -> Check:
    async def check(bench: Bench) -> None:
        for line in lines:
            await bench.nothing(line)

    return check


def _tagged(before: str, after: bytes = b"\n", *, small: bool = False) -> Check:
    """A sound request in another dress; {tag} and the checksum are put in."""

    async def check(bench: Bench) -> None:
        tag = bench.next_tag()
        line = sealed(before.format(tag=tag.lower() if small else tag))[:-1] + after
        bench.write(line[:-5] + line[-5:].lower() if small else line)
        reply = bench.with_tag(await bench.reply(), tag)
        bench.must(reply.word == "ok", "ok", reply)

    return check


async def _longest(bench: Bench) -> None:
    tag = bench.next_tag()
    line = sealed(f"#{tag} ping zz=" + "z" * (119 - len(f"#{tag} ping zz= *0000")))
    bench.write(line)
    reply = bench.with_tag(await bench.reply(), tag)
    bench.must(reply.word == "ok", "ok, since the line has 120 bytes", reply)


async def _too_long(bench: Bench) -> None:
    """2.4, 5.2: one byte more, with a right checksum, is bad and has no tag."""
    tag = bench.next_tag()
    line = sealed(f"#{tag} ping zz=" + "z" * (120 - len(f"#{tag} ping zz= *0000")))
    await bench.refused_bare(line, "syntax")


async def _too_long_typed(bench: Bench) -> None:
    """2.4: a reader that stored what is after 119 bytes would find a request there."""
    await bench.refused_bare(b"ping" + b" " * 130 + b"\n", "syntax")
    await bench.nothing(b"ok " + b"x" * 150 + b"\n")


async def _cut(bench: Bench) -> None:
    """2.5: what a mark cuts off is dropped without an answer."""
    for start in (b"ping", b"#0BAD ping", b"x" * 130, b"\xff\xfe"):
        await bench.nothing(start)


async def _half_waits(bench: Bench) -> None:
    tag = bench.next_tag()
    line = sealed(f"#{tag} ping")
    bench.write(line[:7])
    await bench.pause(0.1 if bench.quick else 1.5)
    bench.write(line[7:])
    reply = bench.with_tag(await bench.reply(), tag)
    bench.must(reply.word == "ok", "ok, since half a line waits for the rest", reply)


async def _one_at_a_time(bench: Bench) -> None:
    tag = bench.next_tag()
    for byte in sealed(f"#{tag} ping zz=1"):
        bench.write(bytes([byte]))
        await bench.pause(0.001)
    reply = bench.with_tag(await bench.reply(), tag)
    bench.must(reply.word == "ok", "ok", reply)


async def _many_at_once(bench: Bench) -> None:
    tags = [bench.next_tag() for _ in range(15)]
    bench.write(b"".join(sealed(f"#{tag} ping") for tag in tags))
    for tag in tags:
        reply = bench.with_tag(await bench.reply(), tag)
        bench.must(reply.word == "ok", "ok", reply)


async def _burst(bench: Bench) -> None:
    """1.4: 256 bytes without a pause, two of the longest lines and a short one."""
    tags = [bench.next_tag() for _ in range(3)]
    long = "z" * (119 - len("#0000 ping zz= *0000"))
    texts = [f"#{tags[0]} ping zz={long}", f"#{tags[1]} ping zz={long}", f"#{tags[2]} ping"]
    data = b"".join(sealed(text) for text in texts)
    bench.write(data[:256])
    bench.write(data[256:])
    for tag in tags:
        bench.with_tag(await bench.reply(), tag)


_OWN_LINES = {
    "own-event": (sealed("!7 knob f=9870000.000"), b"!!!\n", b"!\n"),
    "own-ok": (sealed("#1234 ok e=0 h=0"), sealed("ok e=0 h=0"), b"ok\n", b"  ok  \n"),
    "own-error": (b"err x\n", b"#12 err *0000\n", sealed("err code=syntax why=x e=1 h=0")),
    "own-bad": (b"ok \xff\n", b"#1234 ok " + b"x" * 140 + b"\n", b"err\x20" + bytes(5) + b"\n"),
}

POINTS = (
    Point(name="end-lf", paragraph="2.1", says="LF ends a line", check=_typed(b"ping\n")),
    Point(name="end-cr", paragraph="2.2", says="CR ends a line too", check=_typed(b"ping\r")),
    Point(name="end-crlf", paragraph="2.2", says="CR LF as well", check=_typed(b"ping\r\n")),
    Point(
        name="typed-spaces",
        paragraph="3.1",
        says="spaces around and between are taken",
        check=_typed(b"  ping\n", b"ping   \n", b"ping   zz=1   yy=2\n"),
    ),
    Point(
        name="typed-sealed",
        paragraph="3.8",
        says="a request without a tag may have a checksum",
        check=_typed(sealed("ping")),
    ),
    Point(
        name="empty",
        paragraph="2.3",
        says="an empty line is nothing",
        check=_silent(b"\n", b"\r\n", b"     \n", b"\n\r\n\r\n"),
    ),
    Point(
        name="small-letters",
        paragraph="3.2",
        says="takes a tag and a checksum in small letters",
        check=_tagged("#{tag} ping", small=True),
    ),
    Point(
        name="spaces-at-end",
        paragraph="3.7",
        says="spaces after the checksum do not count",
        check=_tagged("#{tag} ping", b"   \n"),
    ),
    Point(
        name="spaces-before-seal",
        paragraph="3.6",
        says="the checksum covers all but the last space before it",
        check=_tagged("#{tag}   ping   zz=1  "),
    ),
    Point(name="longest", paragraph="2.4", says="reads a line of 120 bytes", check=_longest),
    Point(name="too-long", paragraph="2.4", says="refuses one of 121 bytes", check=_too_long),
    Point(
        name="too-long-typed",
        paragraph="2.6",
        says="a line far too long is bad up to its end",
        check=_too_long_typed,
    ),
    Point(name="cut", paragraph="2.5", says="a mark drops what came before", check=_cut),
    Point(name="half-waits", paragraph="2.7", says="half a line waits", check=_half_waits),
    Point(name="byte-by-byte", paragraph="2.7", says="takes single bytes", check=_one_at_a_time),
    Point(
        name="many-lines",
        paragraph="1.5",
        says="answers many lines in their order",
        check=_many_at_once,
    ),
    Point(name="burst", paragraph="1.4", says="takes 256 bytes at once", check=_burst),
    *(
        Point(
            name=name, paragraph="5.1", says="keeps silent on its own lines", check=_silent(*lines)
        )
        for name, lines in _OWN_LINES.items()
    ),
    *(
        Point(
            name=f"after-{name}",
            paragraph="2.7",
            says=f"reads the line after {garbage[:20].decode('latin-1')!a}",
            check=_after(garbage),
        )
        for name, garbage in _GARBAGE.items()
    ),
)
