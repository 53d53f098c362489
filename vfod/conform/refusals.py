"""Points about requests that must be refused, each a row: the words, and the code."""

from vfod.conform.bench import Bench, sealed
from vfod.conform.otherwise import PassedOverError
from vfod.conform.point import Check, Point

#: The highest frequency that can be written, millihertz (3.1).
_MOST = 999_999_999_999

#: Name, paragraph, request, code of the refusal, which has the request's tag; needed ability.
_TAGGED = (
    ("tune-without-f", "5.8", "tune", "syntax", ""),
    ("f-with-letter", "5.8", "tune f=9.875M", "syntax", ""),
    ("f-negative", "5.8", "tune f=-1", "syntax", ""),
    ("f-with-exponent", "5.8", "tune f=1e6", "syntax", ""),
    ("f-four-decimals", "5.8", "tune f={low}0", "syntax", ""),
    ("f-ten-digits", "5.8", "tune f=0000000001", "syntax", ""),
    ("f-without-whole", "5.8", "tune f=.5", "syntax", ""),
    ("f-point-at-end", "5.8", "tune f=1.", "syntax", ""),
    ("h-no-number", "5.8", "tune f={low} h=x", "syntax", ""),
    ("h-too-big", "5.9", "tune f={low} h=65536", "range", ""),
    ("f-below", "5.9", "tune f={below}", "range", ""),
    ("f-above", "5.9", "tune f={above}", "range", ""),
    ("f-most", "5.9", "tune f=999999999.999", "range", ""),
    ("key-twice", "3.4", "tune f={low} f={low}", "syntax", ""),
    ("unknown-key-twice", "3.4", "ping zz=1 zz=2", "syntax", ""),
    ("capital-verb", "3.2", "PING", "syntax", ""),
    ("capital-key", "3.2", "tune F={low}", "syntax", ""),
    ("word-no-field", "3.1", "ping ping", "syntax", ""),
    ("empty-value", "3.1", "ping zz=", "syntax", ""),
    ("two-equals", "3.1", "ping zz=1=2", "syntax", ""),
    ("verb-with-digit-first", "3.1", "1ping", "syntax", ""),
    ("star-in-value", "3.1", "ping zz=a*b", "syntax", ""),
    ("unknown-verb", "5.7", "dance", "unknown", ""),
    ("unknown-verb-longer", "5.7", "pingx", "unknown", ""),
    ("unknown-verb-shorter", "5.7", "pin", "unknown", ""),
    ("grammar-before-unknown", "5.4", "dance zz=1 zz=2", "syntax", ""),
    ("fields-before-range", "5.8", "tune f={above} h=x", "syntax", ""),
    ("range-before-hand", "5.9", "tune f={above} h=54321", "range", ""),
    ("output-without-on", "5.8", "output", "syntax", "output"),
    ("output-word", "5.8", "output on=yes", "syntax", "output"),
    ("output-two", "5.9", "output on=2", "range", "output"),
    ("select-without-n", "5.8", "select m=1", "syntax", "select"),
    ("select-sixteen", "5.9", "select n=16", "range", "select"),
    ("mute-word", "5.8", "mute on=off", "syntax", "mute"),
    ("mute-two", "5.9", "mute on=2", "range", "mute"),
    ("step-without-hz", "5.8", "step", "syntax", "knob"),
    ("step-zero", "5.9", "step hz=0", "range", "knob"),
    ("step-too-big", "5.9", "step hz=1000001", "range", "knob"),
    ("step-decimals", "5.8", "step hz=1.5", "syntax", "knob"),
)

#: Verb that is unknown where the ability is not (5.7).
_LACKING = (
    ("output", "output on=1"),
    ("select", "select n=1"),
    ("mute", "mute on=1"),
    ("knob", "step hz=10"),
)

_PING = sealed("#0BAD ping")

#: Name, paragraph, bytes, code of the refusal, which has no tag.
_BARE = (
    ("checksum-wrong", "5.3", _PING.replace(b"ping", b"pinh"), "checksum"),
    ("checksum-one-bit", "5.3", _PING[:-2] + bytes([_PING[-2] ^ 1]) + b"\n", "checksum"),
    ("checksum-missing", "3.8", b"#0BAD ping\n", "checksum"),
    ("checksum-star-lost", "3.8", _PING.replace(b"*", b" "), "checksum"),
    ("checksum-three-digits", "3.7", _PING[:-2] + b"\n", "checksum"),
    ("checksum-no-space", "3.7", _PING.replace(b" *", b"*"), "checksum"),
    ("mark-lost", "3.8", _PING[1:], "checksum"),
    ("typed-checksum-wrong", "3.8", b"ping *0000\n", "checksum"),
    ("typed-star", "3.8", b"ping *\n", "checksum"),
    ("damaged-before-grammar", "5.3", b"#0BAD PING *0000\n", "checksum"),
    ("tag-three-digits", "5.4", sealed("#0BA ping"), "syntax"),
    ("tag-five-digits", "5.4", sealed("#0BADE ping"), "syntax"),
    ("tag-no-digits", "5.4", sealed("#0BAG ping"), "syntax"),
    ("typed-syntax", "5.4", b"tune f=9.875M\n", "syntax"),
    ("typed-unknown", "5.7", b"dance\n", "unknown"),
    ("unprintable", "5.2", b"#0BAD pi\x07ng\n", "syntax"),
    ("tabulator", "5.2", b"ping\tzz=1\n", "syntax"),
    ("eighth-bit", "5.2", b"ping zz=\xe4\n", "syntax"),
    ("delete", "5.2", b"ping\x7f\n", "syntax"),
)


def _tagged(text: str, code: str) -> Check:
    async def check(bench: Bench) -> None:
        if "{below}" in text and not bench.low:
            raise PassedOverError("its range begins at 0")
        if bench.high >= _MOST and code == "range":
            raise PassedOverError("its range ends where the digits do")
        await bench.refused(bench.filled(text), code)

    return check


def _bare(data: bytes, code: str) -> Check:
    async def check(bench: Bench) -> None:
        await bench.refused_bare(data, code)

    return check


async def _nothing_moved(bench: Bench) -> None:
    """8.3: what `read` says of settings is as before, after refusals of every kind."""
    await bench.ok(bench.filled("tune f={low}"))
    before = _settings(await bench.ok("read"))
    for text, code in (("tune f={above}", "range"), ("tune f={high} h=x", "syntax")):
        await bench.refused(bench.filled(text), code)
    damaged = sealed(bench.filled("#0BAD tune f={high}")).replace(b"*", b" ")
    await bench.refused_bare(damaged, "checksum")
    after = _settings(await bench.ok("read"))
    bench.must(before == after, "the reading from before the refusals", bench.heard[-1])


def _settings(fields: dict[str, str]) -> dict[str, str]:
    return {key: fields.get(key, "") for key in ("f", "out", "sel", "mute", "step")}


POINTS = (
    *(
        Point(
            name=name,
            paragraph=paragraph,
            says=f"refuses `{text}` with {code}",
            check=_tagged(text, code),
            needs=needs,
        )
        for name, paragraph, text, code, needs in _TAGGED
    ),
    *(
        Point(
            name=f"cannot-{ability}",
            paragraph="5.7",
            says=f"refuses `{text}` with unknown",
            check=_tagged(text, "unknown"),
            lacks=ability,
        )
        for ability, text in _LACKING
    ),
    *(
        Point(
            name=name,
            paragraph=paragraph,
            says=f"refuses {data.decode('latin-1')!a} with {code}, without a tag",
            check=_bare(data, code),
        )
        for name, paragraph, data, code in _BARE
    ),
    Point(
        name="refused-changes-nothing",
        paragraph="8.3",
        says="a refused request changes nothing",
        check=_nothing_moved,
    ),
)
