"""Points about a box that nobody listens to: it goes on, and what it could not tell is counted."""

from vfod.conform.bench import Bench, sealed
from vfod.conform.otherwise import DeviationError, PassedOverError
from vfod.conform.point import Point
from vfod.errors import NoReplyError

#: Seconds for which nobody has the port open.
_AWAY = 1.0


async def _goes_on(bench: Bench) -> None:
    """1.7: the answers to less than 256 bytes (1.4), of which nobody takes more than the first."""
    texts = ["read"] * 8 + [bench.filled("tune f={low}")]
    bench.write(b"".join(sealed(f"#{bench.next_tag()} {text}") for text in texts))
    sent = bench.sent
    await bench.reply()
    bench.close()
    await bench.pause(_AWAY)
    await _open(bench, sent)
    await bench.ok("read")


async def _counts(bench: Bench) -> None:
    """1.7, 6.2: the numbers tell of a turn that nobody heard, and it stops an older tune (6.7)."""
    bench.need_hand()
    middle = (bench.low + bench.high) // 2000
    await bench.ok(f"tune f={middle}")
    before = await bench.ok("ping")
    sent = bench.sent
    bench.close()
    try:
        await bench.hand("turn")
    finally:
        await bench.pause(_AWAY)
        await _open(bench, sent)
    after = await bench.ok("ping")
    if after.get("boot") != before.get("boot"):
        raise PassedOverError("it is reset when its port is opened")
    bench.must(after.get("h") != before.get("h"), "another h than before", bench.heard[-1])
    bench.must(after.get("e") != before.get("e"), "another e than before", bench.heard[-1])
    at = bench.hertz(await bench.ok("read"), "f")
    bench.must(at != middle * 1000, "another frequency than before", bench.heard[-1])
    await bench.refused(f"tune f={middle} h={before.get('h')}", "hand")


async def _open(bench: Bench, sent: bytes) -> None:
    try:
        await bench.open()
    except NoReplyError:
        expected = "an answer to ping, though nobody has taken what it sent meanwhile"
        raise DeviationError(expected, sent=sent, received=None) from None


POINTS = (
    Point(name="unheard", paragraph="1.7", says="goes on when nobody listens", check=_goes_on),
    Point(
        name="hand-unheard",
        paragraph="1.7",
        says="counts what nobody heard",
        check=_counts,
        needs="knob",
        deed="turn",
    ),
)
