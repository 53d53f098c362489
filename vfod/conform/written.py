"""Points about how the box writes, judged over every line that came during the whole check."""

import re
from collections.abc import Callable

from vfod.conform.bench import Bench, Heard
from vfod.conform.otherwise import PassedOverError
from vfod.conform.point import Check, Point

#: 8.1.
_CODES = {"syntax", "checksum", "range", "unknown", "busy", "hand", "hardware"}
#: 6.1: events, with their field and its form.
_EVENTS = {
    "boot": ("boot", r"[0-9A-Fa-f]{1,8}"),
    "knob": ("f", r"[0-9]{1,9}\.[0-9]{3}"),
    "button": ("b", r"[\x22\x24-\x29\x2b-\x3c\x3e-\x7e]{1,12}"),
    "battery": ("mv", r"[0-9]{1,5}"),
}
_LAST_EVENT = 65_535


def _each(holds: Callable[[Heard], bool], expected: str) -> Check:
    async def check(bench: Bench) -> str:
        bench.sent = b""
        for heard in bench.heard:
            bench.must(holds(heard), expected, heard)
        return f"{len(bench.heard)} lines"

    return check


def _spaces(heard: Heard) -> bool:
    return b"  " not in heard.raw and heard.raw == heard.raw.strip(b" ")


def _capitals(heard: Heard) -> bool:
    check = heard.raw.rpartition(b"*")[2]
    return heard.tag == heard.tag.upper() and check == check.upper()


def _small_words(heard: Heard) -> bool:
    words = heard.raw.split()[1 if heard.raw[:1] in b"#!" else 0 :]
    keys = [word.partition(b"=")[0] for word in words if not word.startswith(b"*")]
    return all(re.fullmatch(rb"[a-z][a-z0-9]*", key) for key in keys)


def _keys_once(heard: Heard) -> bool:
    return len(heard.fields) == heard.raw.count(b"=")


def _decimals(heard: Heard) -> bool:
    values = [heard.fields[key] for key in ("f", "low", "high", "res") if key in heard.fields]
    return all(re.fullmatch(r"[0-9]{1,9}\.[0-9]{3}", value) for value in values)


def _counters(heard: Heard) -> bool:
    if heard.number is not None:
        return True
    values = [heard.fields.get(key, "") for key in ("e", "h")]
    return all(re.fullmatch(r"[0-9]{1,5}", v) and int(v) <= _LAST_EVENT for v in values)


def _refusal(heard: Heard) -> bool:
    if heard.word != "err" or heard.number is not None:
        return True
    return heard.fields.get("code") in _CODES and 1 <= len(heard.fields.get("why", "")) <= 40


def _event(heard: Heard) -> bool:
    if heard.number is None:
        return True
    if not 1 <= heard.number <= _LAST_EVENT:
        return False
    # A newer box may tell more (9.2).
    key, form = _EVENTS.get(heard.word, ("", ""))
    return not key or re.fullmatch(form, heard.fields.get(key, "")) is not None


async def _run_on(bench: Bench) -> str:
    """6.2: each number follows the one before, after the first that was heard."""
    bench.sent = b""
    if not bench.events:
        raise PassedOverError("no event came")
    last = None
    for place, heard in enumerate(bench.heard):
        if place in bench.openings:
            last = None
        if heard.number is None:
            continue
        if last is not None and heard.word != "boot":
            after = last % _LAST_EVENT + 1
            bench.must(heard.number == after, f"!{after}", heard)
        last = heard.number
    return f"{len(bench.events)} events"


async def _counted(bench: Bench) -> None:
    """6.6: `e` is the newest event that was sent before the reply, `h` is not newer."""
    bench.sent = b""
    newest: int | None = None
    seen: set[bytes] = set()
    for place, heard in enumerate(bench.heard):
        if place in bench.openings:
            newest = None
        if heard.number is not None:
            newest = heard.number
            continue
        # A repeated reply has the counters of the first time (10.7).
        if heard.raw in seen or not _counters(heard):
            continue
        seen.add(heard.raw)
        count, hand = int(heard.fields["e"]), int(heard.fields["h"])
        newest = count if newest is None else newest
        bench.must(count == newest, f"e={newest}, the newest event that came", heard)
        bench.must(hand <= count or count < hand - 30_000, "h not newer than e", heard)


async def _no_echo(bench: Bench) -> None:
    bench.sent = b""
    own = {stray for stray in bench.strays if stray in bench.sent_lines and len(stray) > 3}
    for stray in own:
        bench.sent = stray + b"\n"
        bench.must(False, "no echo", Heard(raw=stray, at=0.0, tag="", number=None, word="",
                                           fields={}, sound=False))  # fmt: skip


POINTS = (
    Point(name="writes-checksum", paragraph="3.6", says="every checksum is right",
          check=_each(lambda heard: heard.sound, "a right checksum")),
    Point(name="writes-length", paragraph="2.4", says="no line is longer than 120 bytes",
          check=_each(lambda heard: len(heard.raw) <= 119, "at most 120 bytes with the end")),
    Point(name="writes-spaces", paragraph="3.2", says="one space in a gap, none at the ends",
          check=_each(_spaces, "single spaces")),
    Point(name="writes-capitals", paragraph="3.2", says="tags and checksums in capitals",
          check=_each(_capitals, "capitals in tag and checksum")),
    Point(name="writes-words", paragraph="3.2", says="words in small letters",
          check=_each(_small_words, "words in small letters")),
    Point(name="writes-keys-once", paragraph="3.4", says="no key twice",
          check=_each(_keys_once, "every key once, every value without =")),
    Point(name="writes-decimals", paragraph="4.4", says="frequencies with three decimals",
          check=_each(_decimals, "three decimals")),
    Point(name="writes-counters", paragraph="4.2", says="e and h in every reply",
          check=_each(_counters, "e= and h=, 0 to 65535")),
    Point(name="writes-refusals", paragraph="8.1", says="refusals with code and why",
          check=_each(_refusal, "a code of 8.1, and why of 1 to 40 characters")),
    Point(name="writes-events", paragraph="6.1", says="events with their field",
          check=_each(_event, "a number from 1 to 65535, and the field of 6.1")),
    Point(name="event-numbers", paragraph="6.2", says="event numbers run on", check=_run_on),
    Point(name="event-counted", paragraph="6.6", says="a reply counts what was sent before it",
          check=_counted),
    Point(name="no-echo", paragraph="1.3", says="does not echo", check=_no_echo),
)  # fmt: skip
