"""Points about the hand and about a reset: somebody must do it while the check waits."""

import asyncio
from itertools import pairwise

from vfod.conform.bench import Bench, Heard, sealed
from vfod.conform.otherwise import PassedOverError
from vfod.conform.point import Point
from vfod.errors import LineError

#: 6.5: after the last value of a turned knob nothing more can come, on a busy machine neither.
_AT_REST = 0.5
#: A hand's own pauses are longer than a held-back event can be.
_CALM = 1.0
#: A box is ready 3 s after power-on (7.1), a USB device is there again some seconds later.
_READY = 10.0
#: How often a port that went away is looked for, and ping is asked after a reset.
_LOOK = 0.5


async def _turn(bench: Bench) -> None:
    """6.1, 6.5: the last value is told and is where the output is."""
    await bench.ok(bench.filled("tune f={low}"))
    middle = (bench.low + bench.high) // 2000
    await bench.ok(f"tune f={middle}")
    await bench.hand("turn")
    await bench.event("knob")
    await _rest(bench)
    at = bench.hertz(await bench.ok("read"), "f")
    told = bench.events[-1]
    bench.must(bench.hertz(told.fields, "f") == at, f"the last place, {at} mHz", told)
    bench.must(at != middle * 1000, "another frequency than before", told)


async def _stops_tune(bench: Bench) -> None:
    """6.7, 6.9, 11.3: the number from before the turn is refused, the newest is taken."""
    before = (await bench.ok("ping"))["h"]
    await bench.hand("turn")
    await bench.event("knob")
    await _rest(bench)
    counts = await bench.ok("ping")
    newest = str(bench.events[-1].number)
    bench.must(counts.get("h") == newest, f"h={newest}", bench.heard[-1])
    at = bench.hertz(await bench.ok("read"), "f")
    reply = await bench.refused(bench.filled(f"tune f={{low}} h={before}"), "hand")
    bench.must(bench.hertz(reply.fields, "f") == at, f"f of {at} mHz", reply)
    await bench.ok(bench.filled(f"tune f={{low}} h={newest}"))


async def _spin(bench: Bench) -> str:
    """6.4: not more than 20 events a second; that they run on is another point."""
    await bench.ok(f"tune f={(bench.low + bench.high) // 2000}")
    start = len(bench.events)
    await bench.hand("spin")
    await bench.event("knob")
    await _rest(bench, _CALM)
    told = bench.events[start:]
    at = bench.hertz(await bench.ok("read"), "f")
    bench.must(bench.hertz(told[-1].fields, "f") == at, f"the last place, {at} mHz", told[-1])
    # Lines that were held up on their way, or by this machine, come nearer to each other.
    spent = told[-1].at - told[0].at
    bench.must(len(told) - 1 <= spent / 0.05 + 3, "at most 20 events a second", told[-1])
    return f"{len(told)} events in {spent:.1f} s"


async def _wins(bench: Bench) -> str:
    """6.8: a turn during a tune ends it, where the hand is and not where the tune was going.

    Nothing here is judged by times, which say little on a busy machine.
    """
    bench.need_hand()
    middle = (bench.low + bench.high) // 2000
    refused = count = 0
    hand = asyncio.create_task(bench.hand("spin"))
    try:
        while not hand.done():
            with_hand = count % 2 == 1
            frequency = f"tune f={middle + count % 4}"
            ask = _tune_with_hand if with_hand else _tune_and_ping
            reply, is_turned = await ask(bench, frequency)
            count += 1
            if reply.word != "ok":
                bench.hertz(bench.with_code(reply, "hand").fields, "f")
                refused += not with_hand
            else:
                stopped = "err code=hand, for a hand has turned meanwhile"
                bench.must(not is_turned, stopped, reply)
    finally:
        await hand
    if not refused:
        raise PassedOverError("no turn came while a tune waited for its answer")
    await _rest(bench, _CALM)
    # Whatever told a frequency last, a held event or the answer to a tune, told where it is.
    newest = [heard for heard in bench.heard if "f" in heard.fields][-1]
    at = bench.hertz(await bench.ok("read"), "f")
    bench.must(bench.hertz(newest.fields, "f") == at, f"the last place, {at} mHz", newest)
    return f"{refused} of {count} tunes were stopped"


async def _tune_with_hand(bench: Bench, text: str) -> tuple[Heard, bool]:
    """The reply, and whether it counts a turn after the one that the tune knew of: by 6.7 and 6.8
    such a tune is refused, whenever the turn came.
    """
    known = _newest_hand(bench)
    reply = await bench.ask(f"{text} h={known}")
    return reply, reply.fields.get("h") != known


async def _tune_and_ping(bench: Bench, text: str) -> tuple[Heard, bool]:
    """The reply, and whether two turns were told after that to a ping, which shows that the box had
    taken the tune: the first of them may have been held back (6.4), the second happened after it.
    """
    tune, ping = bench.next_tag(), bench.next_tag()
    bench.write(sealed(f"#{tune} {text}") + sealed(f"#{ping} ping"))
    first, second = await bench.reply(), await bench.reply()
    bench.must({first.tag.upper(), second.tag.upper()} == {tune, ping}, "both replies", second)
    if first.tag.upper() == tune:
        return first, False
    between = bench.heard[bench.heard.index(first) : bench.heard.index(second)]
    return second, sum(heard.word == "knob" for heard in between) >= 2


def _newest_hand(bench: Bench) -> str:
    """Number of the newest hand event that was heard of."""
    for heard in reversed(bench.heard):
        if heard.word in ("knob", "button") and heard.number is not None:
            return str(heard.number)
        if heard.number is None and "h" in heard.fields:
            return heard.fields["h"]
    return "0"


async def _drain(bench: Bench) -> str:
    """6.1: it is told, and no hand did it."""
    if any(event.word == "battery" for event in bench.events):
        raise PassedOverError("it has warned already, and does so once in ten minutes")
    before = await bench.ok("ping")
    await bench.hand("drain")
    told = await bench.event("battery")
    millivolts = bench.whole(told.fields, "mv", 65_535)
    after = await bench.ok("ping")
    bench.must(after.get("h") == before.get("h"), f"h={before.get('h')}", bench.heard[-1])
    bench.must(after.get("e") != before.get("e"), "e with the event counted", bench.heard[-1])
    return f"at {millivolts / 1000:g} V"


async def _end(bench: Bench, request: str, deed: str) -> None:
    await bench.ok(bench.filled(request))
    before, count = await bench.ok("read"), len(bench.events)
    await bench.hand(deed)
    await bench.pause(_CALM)
    after = await bench.ok("read")
    bench.must(after["f"] == before["f"], f"f={before['f']}", bench.heard[-1])
    none = not any(event.word == "knob" for event in bench.events[count:])
    bench.must(none, "no event at the end of the range", bench.events[-1] if not none else None)


async def _low_end(bench: Bench) -> None:
    await _end(bench, "tune f={low}", "turn-down")


async def _high_end(bench: Bench) -> None:
    await _end(bench, "tune f={high}", "turn-up")


async def _press(bench: Bench) -> str:
    await bench.hand("press")
    told = await bench.event("button")
    name = told.fields.get("b", "")
    bench.must(1 <= len(name) <= 12, "b= and 1 to 12 characters", told)
    await _rest(bench)
    counts = await bench.ok("ping")
    bench.must(counts.get("h") == str(bench.events[-1].number), "h as told", bench.heard[-1])
    return name


async def _reset(bench: Bench) -> None:
    """4.5, 6.2, 6.11: another boot id, events from 1, nothing remembered of tags."""
    line = sealed(f"#{bench.next_tag()} ping")
    bench.write(line)
    before = (await bench.reply()).fields
    start = len(bench.events)
    await bench.hand("reset")
    deadline = bench.clock.monotonic() + _READY
    while True:
        try:
            await bench.calm((_LOOK,))
            after = await bench.ok("ping")
        except LineError:
            await _reopen(bench, deadline)
            continue
        if after.get("boot") != before.get("boot") or bench.clock.monotonic() > deadline:
            break
        await bench.pause(_LOOK)
    bench.must(after.get("boot") != before.get("boot"), "another boot id", bench.heard[-1])
    told = [event for event in bench.events[start:] if event.word == "boot"]
    for event in told:
        bench.must(event.number == 1, "!1, the first after power-on", event)
    bench.must(after.get("h") == "0", "h=0 after a reset", bench.heard[-1])
    bench.must(after.get("e") == "1", "e=1, the boot event", bench.heard[-1])
    bench.write(line)
    again = (await bench.reply()).fields
    bench.must(again.get("boot") == after.get("boot"), "a new answer", bench.heard[-1])


async def _reopen(bench: Bench, deadline: float) -> None:
    while True:
        bench.close()
        try:
            await bench.open()
            return
        except LineError:
            if bench.clock.monotonic() > deadline:
                raise
            await bench.pause(_LOOK)


async def _rest(bench: Bench, seconds: float = _AT_REST) -> None:
    """Until the hand has let go and the last value is told."""
    count = -1
    while count != len(bench.events):
        count = len(bench.events)
        await bench.pause(seconds)


async def _spacing(bench: Bench) -> None:
    """6.4, over all that was told; a line may be held up by one that was under way before it, and
    now and then by this machine.
    """
    pairs = list(pairwise(bench.events))
    near = [(a, b) for a, b in pairs if b.at - a.at < 0.025 and b.number != 1]
    for first, second in near:
        apart = f"not {(second.at - first.at) * 1000:.0f} ms"
        expected = f"50 ms after {first.raw.decode('latin-1')}, {apart}"
        bench.must(len(near) <= max(1, len(pairs) // 5), expected, second)


POINTS = (
    Point(name="hand-turn", paragraph="6.5", says="tells the last place of the knob", check=_turn,
          needs="knob", deed="turn"),
    Point(name="hand-refusal", paragraph="6.7", says="a turn stops an older tune",
          check=_stops_tune, needs="knob", deed="turn"),
    Point(name="hand-spin", paragraph="6.4", says="at most 20 events a second", check=_spin,
          needs="knob", deed="spin"),
    Point(name="hand-wins", paragraph="6.8", says="a turn ends a tune that waits", check=_wins,
          needs="knob", deed="spin"),
    Point(name="hand-low-end", paragraph="6.10", says="the knob ends at the lowest frequency",
          check=_low_end, needs="knob", deed="turn-down"),
    Point(name="hand-high-end", paragraph="6.10", says="and at the highest", check=_high_end,
          needs="knob", deed="turn-up"),
    Point(name="hand-press", paragraph="6.1", says="tells a button", check=_press,
          needs="touch", deed="press"),
    Point(name="battery-low", paragraph="6.1", says="tells a low battery", check=_drain,
          needs="battery", deed="drain"),
    Point(name="event-spacing", paragraph="6.4", says="events 50 ms apart", check=_spacing),
    Point(name="reset", paragraph="6.11", says="a reset is noticed and forgets all", check=_reset,
          deed="reset"),
)  # fmt: skip
