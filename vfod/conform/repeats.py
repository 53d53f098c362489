"""Points about a question that is put again, and about one that comes while another waits."""

from vfod.conform.bench import Bench, Heard, sealed
from vfod.conform.otherwise import PassedOverError
from vfod.conform.point import Point


async def _put(bench: Bench, line: bytes) -> Heard:
    bench.write(line)
    return await bench.reply()


async def _same_bytes(bench: Bench) -> None:
    for text in ("ping", "read", bench.filled("tune f={low}")):
        line = sealed(f"#{bench.next_tag()} {text}")
        first = await _put(bench, line)
        for again in (line, b"\n" + line):
            reply = await _put(bench, again)
            bench.must(reply.raw == first.raw, _shown(first), reply)


async def _not_done_twice(bench: Bench) -> None:
    """5.5: a person tuned in between, without a tag, and the repeat does not undo it."""
    line = sealed(bench.filled(f"#{bench.next_tag()} tune f={{low}}"))
    first = await _put(bench, line)
    bench.must(first.word == "ok", "ok", first)
    typed = await _put(bench, bench.filled("tune f={high}\n").encode())
    bench.must(typed.word == "ok", "ok", typed)
    again = await _put(bench, b"\n" + line)
    bench.must(again.raw == first.raw, _shown(first), again)
    at = bench.hertz(await bench.ok("read"), "f")
    bench.sent = line
    bench.must(at == bench.hertz(typed.fields, "f"), f"f={typed.fields['f']}", bench.heard[-1])


async def _refusal(bench: Bench) -> None:
    line = sealed(bench.filled(f"#{bench.next_tag()} tune f={{above}}"))
    first = bench.with_code(await _put(bench, line), "range")
    again = await _put(bench, line)
    bench.must(again.raw == first.raw, _shown(first), again)


async def _other_line(bench: Bench) -> None:
    tag = bench.next_tag()
    await _put(bench, sealed(f"#{tag} ping"))
    reply = bench.with_tag(await _put(bench, sealed(f"#{tag} read")), tag)
    bench.must("f" in reply.fields, "the answer to read: its tag alone is no repeat", reply)


async def _older(bench: Bench) -> None:
    """5.5: only the newest counts, so an older one is done once more."""
    line = sealed(bench.filled(f"#{bench.next_tag()} tune f={{low}}"))
    first = await _put(bench, line)
    await bench.ok(bench.filled("tune f={high}"))
    await _put(bench, line)
    bench.sent = line
    at = bench.hertz(await bench.ok("read"), "f")
    bench.must(at == bench.hertz(first.fields, "f"), f"f={first.fields['f']}", bench.heard[-1])


async def _damaged_between(bench: Bench) -> None:
    """5.3 comes before 5.5: a damaged line does not become the newest."""
    line = sealed(f"#{bench.next_tag()} ping zz=1")
    first = await _put(bench, line)
    await bench.refused_bare(b"#0BAD ping *0000\n", "checksum")
    await bench.refused_bare(sealed("#0BAG ping"), "syntax")
    again = await _put(bench, line)
    bench.must(again.raw == first.raw, _shown(first), again)


async def _busy(bench: Bench) -> None:
    """5.6: the other is refused, ping is answered, the repeat gets no answer of its own."""
    await bench.ok(bench.filled("tune f={low}"))
    tune, other, ping, after = (bench.next_tag() for _ in range(4))
    slow = sealed(bench.filled(f"#{tune} tune f={{high}}"))
    bench.write(slow + sealed(f"#{other} read") + sealed(f"#{ping} ping") + slow)
    first = await bench.reply()
    if first.tag.upper() == tune:
        for _ in range(3):
            await bench.reply()
        raise PassedOverError("its tune is answered before another line can come in between")
    bench.with_code(bench.with_tag(first, other), "busy")
    alive = bench.with_tag(await bench.reply(), ping)
    bench.must(alive.word == "ok", "ok to ping at once", alive)
    done = bench.with_tag(await bench.reply(), tune)
    bench.must(done.word == "ok", "ok to the tune", done)
    bench.write(sealed(f"#{after} ping"))
    bench.with_tag(await bench.reply(), after)


async def _busy_not_newest(bench: Bench) -> None:
    """5.6: neither the refused one nor ping becomes the newest tagged request."""
    await bench.ok(bench.filled("tune f={low}"))
    tune, ping = bench.next_tag(), bench.next_tag()
    slow = sealed(bench.filled(f"#{tune} tune f={{high}}"))
    bench.write(slow + sealed(f"#{ping} ping"))
    first = await bench.reply()
    second = await bench.reply()
    if first.tag.upper() == tune:
        raise PassedOverError("its tune is answered before another line can come in between")
    again = await _put(bench, slow)
    bench.must(again.raw == second.raw, _shown(second), again)


def _shown(reply: Heard) -> str:
    return f"the same bytes: {reply.raw.decode('latin-1')}"


POINTS = (
    Point(name="repeat", paragraph="5.5", says="repeats its reply", check=_same_bytes),
    Point(
        name="repeat-not-done", paragraph="5.5", says="and does it once", check=_not_done_twice
    ),
    Point(name="repeat-refusal", paragraph="5.5", says="repeats a refusal", check=_refusal),
    Point(name="same-tag", paragraph="5.5", says="another line is no repeat", check=_other_line),
    Point(name="older-tag", paragraph="5.5", says="nor is an older line", check=_older),
    Point(
        name="repeat-after-damage",
        paragraph="5.5",
        says="a damaged line is not the newest",
        check=_damaged_between,
    ),
    Point(name="busy", paragraph="5.6", says="busy while it settles", check=_busy),
    Point(
        name="busy-not-newest",
        paragraph="5.6",
        says="what came meanwhile is not the newest",
        check=_busy_not_newest,
    ),
)  # fmt: skip
