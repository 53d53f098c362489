"""The session of the side that answers: what every box must do with a line before it acts.

    for asked in session.receive(data):          one at a time, answered before the next is taken
        line.write(session.answer(asked, ...))   or refuse(...); may come later, when settled
    line.write(session.to_send())                what the session answered by itself

Damaged lines, words out of the grammar, repeated tags and requests that come while another waits
are dealt with here (docs/protocol.md, section 5). Limits of tuning and the hand's right of way are
the box's own, because only it knows where it is. A reset makes a new session.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from vfod.errors import WireError
from vfod.units import format_millihertz
from vfod.wire.framing import Fault, Garbage, LineReader
from vfod.wire.grammar import LAST_EVENT, Line, believable_tag, is_answer, parse, write
from vfod.wire.messages import Answer, Code, Event, Request, Tune
from vfod.wire.values import Ability
from vfod.wire.verbs import (
    EVENT_OF_TYPE,
    VERB_OF_REQUEST,
    VERB_OF_WORD,
    WHY_LENGTH,
    read_fields,
    write_fields,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A request that waits for the box; `tag` None when a person typed it."""

    request: Request
    tag: int | None
    check: int | None


class BoxSession:
    """The answering end of one line, from power-on to the next reset."""

    def __init__(self, abilities: frozenset[Ability]) -> None:
        self._abilities = abilities
        self._reader = LineReader()
        self._lines: deque[bytes | Garbage] = deque()
        self._out: list[bytes] = []
        self._pending: Asked | None = None
        #: Tag and checksum of the newest tagged request, and its reply; empty while it waits.
        self._last: tuple[int | None, int | None] | None = None
        self._last_reply = b""
        #: Numbers of the newest event and of the newest event by a hand; 0 none since power-on.
        self.newest_event = 0
        self.newest_hand = 0

    @property
    def pending(self) -> Asked | None:
        """The request that waits for its answer."""
        return self._pending

    def receive(self, data: bytes) -> Iterator[Asked]:
        """The requests in these bytes, one at a time.

        Answer each before taking the next, unless it needs time: those that follow while it waits
        are refused with `busy` here. Requests not taken yet come with the next call.
        """
        self._lines.extend(self._reader.feed(data))
        return self._judge_all()

    def answer(self, asked: Asked, answer: Answer) -> bytes:
        """Everything to send now, ending with the answer."""
        fields = write_fields(answer, VERB_OF_REQUEST[type(asked.request)].answer_fields)
        return self._finish(asked, self._reply("ok", fields, asked.tag))

    def refuse(self, asked: Asked, code: str, why: str, frequency: int | None = None) -> bytes:
        """Everything to send now, ending with the refusal; `frequency` is where the output is."""
        return self._finish(asked, self._refusal(asked.tag, code, why, frequency))

    def tell(self, event: Event) -> bytes:
        """Everything to send now, ending with the event, which is numbered here."""
        row = EVENT_OF_TYPE[type(event)]
        number = self.newest_event % LAST_EVENT + 1
        line = write(row.word, write_fields(event, row.fields), number=number)
        self.newest_event = number
        if row.by_hand:
            self.newest_hand = number
        self._out.append(line)
        return self.to_send()

    def to_send(self) -> bytes:
        """What the session has to say by itself; empty when nothing."""
        data = b"".join(self._out)
        self._out.clear()
        return data

    def hand_is_newer(self, tune: Tune) -> bool:
        """Whether a hand moved since the event that the asker knows."""
        return tune.hand is not None and tune.hand != self.newest_hand

    def _judge_all(self) -> Iterator[Asked]:
        while self._lines:
            raw = self._lines.popleft()
            if isinstance(raw, Garbage):
                if raw.kind is not Fault.CUT and not _is_nothing(raw.sample):
                    self._out.append(self._refusal(None, Code.SYNTAX, raw.kind))
                continue
            asked = self._judge(raw)
            if asked is not None:
                yield asked

    def _judge(self, raw: bytes) -> Asked | None:
        """The request in a line, or None when the line is dealt with; the order matters."""
        if _is_nothing(raw):
            return None
        try:
            line = parse(raw)
        except WireError as error:
            tag = believable_tag(raw)
            self._out.append(self._refusal(tag, error.box_code, error.message))
            return None
        key = (line.tag, line.check)
        if key == self._last:
            self._out.append(self._last_reply)
            return None
        if self._pending is not None and line.verb != "ping":
            self._out.append(self._refusal(line.tag, Code.BUSY, "waiting for another request"))
            return None
        if line.tag is not None and self._pending is None:
            self._last, self._last_reply = key, b""
        try:
            asked = Asked(request=self._understand(line), tag=line.tag, check=line.check)
        except WireError as error:
            refusal = self._refusal(line.tag, error.box_code, error.message)
            self._out.append(refusal)
            self._remember(key, refusal)
            return None
        if self._pending is None:
            self._pending = asked
        return asked

    def _understand(self, line: Line) -> Request:
        row = VERB_OF_WORD.get(line.verb)
        if row is None or (row.ability is not None and row.ability not in self._abilities):
            raise WireError("no such verb here", line=line.raw, box_code="unknown")
        request: Request = row.request(**read_fields(line, row.fields))
        return request

    def _finish(self, asked: Asked, line: bytes) -> bytes:
        if asked is self._pending:
            self._pending = None
            self._remember((asked.tag, asked.check), line)
        self._out.append(line)
        return self.to_send()

    def _remember(self, key: tuple[int | None, int | None], line: bytes) -> None:
        if key == self._last:
            self._last_reply = line

    def _refusal(self, tag: int | None, code: str, why: str, frequency: int | None = None) -> bytes:
        fields = [f"code={code}", "why=" + "-".join(why.split())[:WHY_LENGTH]]
        if frequency is not None:
            fields.append(f"f={format_millihertz(frequency)}")
        return self._reply("err", fields, tag)

    def _reply(self, verb: str, fields: list[str], tag: int | None) -> bytes:
        counters = [f"e={self.newest_event}", f"h={self.newest_hand}"]
        return write(verb, fields + counters, tag=tag)


def _is_nothing(raw: bytes) -> bool:
    """What gets no answer, whatever else is wrong with it (docs/protocol.md, 5.1)."""
    return is_answer(raw) or not raw.strip(b" ")
