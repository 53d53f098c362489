"""One line of the protocol to its parts and back.

    request   #3F2A tune f=9875000.000 h=17 *C0DE      tag, verb, fields, checksum
    typed     tune f=9875000                           neither tag nor checksum
    reply     #3F2A ok f=9875000.000 e=18 h=17 *C0DE   the request's tag
    refusal   #3F2A err code=busy why=settling e=18 h=17 *C0DE
    event     !19 knob f=9870000.000 *C0DE             a running number

The order of judgement is part of the protocol (docs/protocol.md, section 5): first the checksum,
because nothing in a damaged line can be believed, then the shape of the line. What the words mean
is decided in `verbs`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from vfod.errors import WireError
from vfod.wire.crc import checksum
from vfod.wire.framing import LINE_LIMIT

#: Highest event number; it fits 16 bits, and the next one is 1 because 0 means none yet.
LAST_EVENT = 65535

_WORD = r"[a-z][a-z0-9]*"
_VALUE = r"[\x22\x24-\x29\x2b-\x3c\x3e-\x7e]+"
_BODY = re.compile(rf"(?:([#!])([0-9A-Fa-f]+) +)? *({_WORD})((?: +{_WORD}={_VALUE})*)")
#: Of what the expression above let pass; no value has an equals sign.
_FIELD = re.compile(r"([^ =]+)=([^ ]+)")
_SEAL = re.compile(rb" \*([0-9A-Fa-f]{4}) *\Z")
_TAG = re.compile(rb"#([0-9A-Fa-f]{4}) ")
_ECHO = re.compile(rb"!| *(?:#[^ ]* +)?(?:ok|err)(?: |\Z)")


class Kind(StrEnum):
    """What a line is."""

    REQUEST = "request"
    OK = "ok"
    ERR = "err"
    EVENT = "event"


_REPLIES = {"ok": Kind.OK, "err": Kind.ERR}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The parts of one line: `tag` of requests and replies, `number` of events."""

    kind: Kind
    verb: str
    fields: Mapping[str, str]
    tag: int | None = None
    number: int | None = None
    #: Checksum the line carried; None when it was typed without one.
    check: int | None = field(default=None, compare=False)
    raw: bytes = field(default=b"", compare=False, repr=False)


def is_answer(raw: bytes) -> bool:
    """Whether a line, sound or damaged, looks like a reply or an event and not like a request.

    A device keeps silent on such lines: they are its own, sent back by a terminal that echoes.
    """
    return _ECHO.match(raw) is not None


def believable_tag(raw: bytes) -> int | None:
    """The tag of a line whose checksum is right, whatever else is wrong with it; else None."""
    seal, tag = _SEAL.search(raw), _TAG.match(raw)
    if seal is None or tag is None or int(seal[1], 16) != checksum(raw[: seal.start()]):
        return None
    return int(tag[1], 16)


def parse(raw: bytes) -> Line:
    """The parts of a line without its line end.

    Raises WireError with box_code "checksum" or "syntax"; its message is the human word for `why`.
    """
    seal = _SEAL.search(raw)
    check = None
    body = raw
    if seal is not None:
        body = raw[: seal.start()]
        check = int(seal[1], 16)
        if check != checksum(body):
            raise WireError("checksum differs", line=raw, box_code="checksum")
    elif raw[:1] in (b"#", b"!") or b"*" in raw:
        raise WireError("no checksum", line=raw, box_code="checksum")
    match = _BODY.fullmatch(body.decode("ascii", "replace").rstrip(" "))
    if match is None:
        raise WireError("not in the grammar", line=raw)
    mark, mark_text, verb, rest = match.groups()
    fields = dict(_FIELD.findall(rest))
    if len(fields) != rest.count("="):
        raise WireError("key given twice", line=raw)
    kind = _REPLIES.get(verb, Kind.REQUEST)
    tag = number = None
    if mark == "#":
        if len(mark_text) != 4:
            raise WireError("tag is not four digits", line=raw)
        tag = int(mark_text, 16)
    elif mark == "!":
        kind = Kind.EVENT
        number = int(mark_text) if mark_text.isdigit() and len(mark_text) <= 5 else 0
        if not 1 <= number <= LAST_EVENT:
            raise WireError("event number out of range", line=raw)
    elif check is None and kind is not Kind.REQUEST:
        raise WireError("no checksum", line=raw, box_code="checksum")
    return Line(kind=kind, verb=verb, fields=fields, tag=tag, number=number, check=check, raw=raw)


def write(
    verb: str, fields: list[str], *, tag: int | None = None, number: int | None = None
) -> bytes:
    """A line with checksum and line feed, from `key=value` texts.

    Raises WireError when it would break the grammar or the limit of length.
    """
    mark = f"#{tag:04X} " if tag is not None else f"!{number} " if number is not None else ""
    text = " ".join([mark + verb, *fields])
    if _BODY.fullmatch(text) is None:
        raise WireError("not in the grammar", line=text.encode("ascii", "replace"))
    return seal(text.encode("ascii"))


def seal(body: bytes) -> bytes:
    """The body of a line with its checksum and line feed appended."""
    line = b"%b *%04X\n" % (body, checksum(body))
    if len(line) > LINE_LIMIT:
        raise WireError(f"longer than {LINE_LIMIT} bytes", line=body)
    return line
