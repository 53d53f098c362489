"""Points about requests that are done: tune, the switches, and what a newer host may say."""

from vfod.conform.bench import Bench
from vfod.conform.otherwise import PassedOverError
from vfod.conform.point import Check, Point
from vfod.units import format_millihertz


async def _tune_to(bench: Bench, wanted: int) -> int:
    """Tune there; the frequency produced, which must be near and be read back (4.8)."""
    got = bench.hertz(await bench.ok(f"tune f={format_millihertz(wanted)}"), "f")
    near = abs(got - wanted) <= bench.resolution
    bench.must(near, f"f within {bench.resolution} mHz of {wanted} mHz", bench.heard[-1])
    read = bench.hertz(await bench.ok("read"), "f")
    bench.must(read == got, f"f={format_millihertz(got)} as the tune answered", bench.heard[-1])
    return got


async def _low(bench: Bench) -> None:
    await _tune_to(bench, bench.low)


async def _high(bench: Bench) -> None:
    await _tune_to(bench, bench.high)


async def _between(bench: Bench) -> None:
    span = bench.high - bench.low
    for part in (2, 3, 7, 1000):
        await _tune_to(bench, bench.low + span // part)


async def _forms(bench: Bench) -> None:
    whole = (bench.low + bench.high) // 2 // 1000
    wanted = whole * 1000
    if not bench.low <= wanted <= bench.high:
        raise PassedOverError("no whole hertz within its range")
    texts = [f"{whole}", f"{whole}.0", f"{whole}.00", f"{whole}.000", f"{whole:09d}"]
    for text in texts:
        got = bench.hertz(await bench.ok(f"tune f={text}"), "f")
        near = abs(got - wanted) <= bench.resolution
        bench.must(near, f"f near {whole}", bench.heard[-1])


async def _same_hand(bench: Bench) -> None:
    hand = (await bench.ok("ping")).get("h", "")
    await bench.ok(bench.filled(f"tune f={{low}} h={hand}"))


async def _other_hand(bench: Bench) -> None:
    """6.7: any other number, newer or older, and nothing moves; 6.9: says where it is."""
    before = await bench.ok(bench.filled("tune f={low}"))
    hand = bench.whole(before, "h", 65_535)
    for other in {(hand + 1) % 65_536, (hand + 65_535) % 65_536, 54_321} - {hand}:
        reply = await bench.refused(bench.filled(f"tune f={{high}} h={other}"), "hand")
        there = bench.hertz(reply.fields, "f") == bench.hertz(before, "f")
        bench.must(there, f"f={before['f']}, where the output is", reply)
    after = bench.hertz(await bench.ok("read"), "f")
    bench.must(after == bench.hertz(before, "f"), f"f={before['f']}", bench.heard[-1])


async def _no_event(bench: Bench) -> None:
    """4.16: a change that the host asked for is no event."""
    before = (await bench.ok("ping")).get("e")
    await bench.ok(bench.filled("tune f={low}"))
    await bench.ok(bench.filled("tune f={high}"))
    after = (await bench.ok("ping")).get("e")
    bench.must(before == after, f"e={before}, since nothing was told", bench.heard[-1])


async def _output_stays(bench: Bench) -> None:
    """4.8: `tune` does not switch the output."""
    await bench.ok("output on=0")
    await bench.ok(bench.filled("tune f={low}"))
    after = (await bench.ok("read")).get("out")
    bench.must(after == "0", "out=0 after a tune", bench.heard[-1])


async def _positions(bench: Bench) -> str:
    """4.11: each position is set, or refused with `range`."""
    taken = 0
    for n in range(16):
        reply = await bench.ask(f"select n={n}")
        if reply.word == "err":
            bench.with_code(reply, "range")
            continue
        taken += 1
        read = (await bench.ok("read")).get("sel", "")
        bench.must(read.isdigit() and int(read) == n, f"sel={n}", bench.heard[-1])
    bench.must(taken > 0, "a position that it has", bench.heard[-1])
    return f"{taken} positions"


async def _steps(bench: Bench) -> None:
    """4.13: each step is set, or refused with `range`."""
    taken = 0
    for hertz in (1, 10, 100, 5000, 1_000_000, 1000):
        reply = await bench.ask(f"step hz={hertz}")
        if reply.word == "err":
            bench.with_code(reply, "range")
            continue
        taken += 1
        read = (await bench.ok("read")).get("step", "")
        bench.must(read.isdigit() and int(read) == hertz, f"step={hertz}", bench.heard[-1])
    bench.must(taken > 0, "a step that it has", bench.heard[-1])


def _switch(verb: str, key: str) -> Check:
    async def check(bench: Bench) -> None:
        for on in ("1", "0", "1", "0"):
            await bench.ok(f"{verb} on={on}")
            read = (await bench.ok("read")).get(key)
            bench.must(read == on, f"{key}={on}", bench.heard[-1])

    return check


def _fine(*texts: str) -> Check:
    async def check(bench: Bench) -> None:
        for text in texts:
            await bench.ok(bench.filled(text))

    return check


POINTS = (
    Point(name="tune-low", paragraph="4.6", says="tunes to its lowest frequency", check=_low),
    Point(name="tune-high", paragraph="4.6", says="tunes to its highest frequency", check=_high),
    Point(name="tune-between", paragraph="4.8", says="tunes in between", check=_between),
    Point(name="tune-forms", paragraph="4.4", says="takes none to three decimals", check=_forms),
    Point(name="tune-h", paragraph="6.7", says="tunes with its own h", check=_same_hand),
    Point(name="hand-other", paragraph="6.7", says="refuses any other h", check=_other_hand),
    Point(name="asked-no-event", paragraph="4.16", says="no event when asked", check=_no_event),
    Point(
        name="output",
        paragraph="4.10",
        says="switches the output and reads it",
        check=_switch("output", "out"),
        needs="output",
    ),
    Point(
        name="tune-leaves-output",
        paragraph="4.8",
        says="a tune does not switch the output on",
        check=_output_stays,
        needs="output",
    ),
    Point(
        name="select",
        paragraph="4.11",
        says="sets its positions and reads them",
        check=_positions,
        needs="select",
    ),
    Point(
        name="mute",
        paragraph="4.12",
        says="mutes and reads it",
        check=_switch("mute", "mute"),
        needs="mute",
    ),
    Point(
        name="step", paragraph="4.13", says="sets its steps and reads them", check=_steps,
        needs="knob",
    ),
    Point(
        name="unknown-key",
        paragraph="3.3",
        says="ignores keys that it does not know",
        check=_fine("ping zz=1", 'read colour=grey zz=a/b?"(~)', "tune zz=1 f={low}"),
    ),
    Point(
        name="any-order",
        paragraph="3.3",
        says="takes fields in any order",
        check=_fine("tune zz=1 f={low} yy=2", "tune yy=2 zz=1 f={high}"),
    ),
    Point(
        name="key-of-another-verb",
        paragraph="5.8",
        says="which keys are known depends on the verb",
        check=_fine("ping f=9.875M", "read on=yes h=x"),
    ),
)  # fmt: skip
