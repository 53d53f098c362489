"""The session of the side that asks: one question at a time, each with a tag of its own.

    link.write(session.ask(request))             on a timeout: link.write(session.again())
    for item in session.receive(data): ...       given up:     session.drop()

A reply is taken only when it carries the tag of the outstanding question; everything else is a
Stray. So a late answer is never taken for another's, whatever the line loses, doubles or delays.
"""

from vfod.errors import WireError
from vfod.wire.framing import Garbage, LineReader
from vfod.wire.grammar import LAST_EVENT, Kind, Line, parse, write
from vfod.wire.messages import (
    Answered,
    Booted,
    Code,
    Event,
    Identity,
    Missed,
    Refused,
    Request,
    Stray,
    StrayReason,
)
from vfod.wire.verbs import (
    COUNTERS,
    EVENT_OF_WORD,
    REFUSAL,
    VERB_OF_REQUEST,
    WHERE,
    Verb,
    read_fields,
    write_fields,
)

Received = Answered | Refused | Event | Missed | Stray

#: Oldest and newest version of the protocol this side speaks.
OLDEST, NEWEST = 1, 1

_UNREAD = (Code.SYNTAX, Code.CHECKSUM)


def agreed_version(identity: Identity) -> int | None:
    """The newest version both sides speak; None when there is none.

    Then the box is too new when its `oldest` is above NEWEST, else too old.
    """
    version = min(identity.protocol, NEWEST)
    return version if version >= max(identity.oldest, OLDEST) else None


class HostSession:
    """The asking end of one line, from opening the port to losing it.

    `first_tag` is chosen at random (0 to 65535), so that a box that still remembers an earlier
    session does not repeat an answer of it.
    """

    def __init__(self, first_tag: int) -> None:
        self._next_tag = first_tag & 0xFFFF
        self._reader = LineReader()
        self._tag: int | None = None
        self._verb: Verb | None = None
        self._sent = b""
        self._repeated = False
        #: Newest event and newest hand event of the box, as far as heard of; None before any.
        self.newest_event: int | None = None
        self.newest_hand: int | None = None

    @property
    def outstanding(self) -> int | None:
        """The tag of the question that waits for its answer."""
        return self._tag

    def ask(self, request: Request) -> bytes:
        """The bytes of a new question; one that was still open is given up."""
        verb = VERB_OF_REQUEST[type(request)]
        tag = self._next_tag
        sent = write(verb.word, write_fields(request, verb.fields), tag=tag)
        self._next_tag = (tag + 1) & 0xFFFF
        self._tag, self._verb, self._sent = tag, verb, sent
        self._repeated = False
        return sent

    def again(self) -> bytes:
        """The same question with the same tag, after a line feed that ends any half line before.

        The box may repeat an answer it gave earlier, so an event that came meanwhile is newer than
        the answer. Empty when no question is open.
        """
        if self._tag is None:
            return b""
        self._repeated = True
        return b"\n" + self._sent

    def drop(self) -> None:
        """Give the open question up; an answer that comes later is a Stray."""
        self._tag = self._verb = None
        self._sent = b""

    def receive(self, data: bytes) -> list[Received]:
        """Everything that became complete with these bytes, in the order of the line."""
        found: list[Received] = []
        for raw in self._reader.feed(data):
            if isinstance(raw, Garbage):
                found.append(Stray(reason=StrayReason(raw.kind.value), line=raw.sample))
                continue
            try:
                line = parse(raw)
                if line.kind is Kind.EVENT:
                    self._take_event(line, found)
                elif line.kind is Kind.REQUEST:
                    found.append(Stray(reason=StrayReason.ECHO, line=raw))
                else:
                    self._take_reply(line, found)
            except WireError as error:
                reason = "malformed" if error.box_code == "range" else error.box_code
                found.append(Stray(reason=StrayReason(reason), line=raw))
        return found

    def _take_event(self, line: Line, found: list[Received]) -> None:
        number = line.number or 0
        row = EVENT_OF_WORD.get(line.verb)
        event = row.event(number=number, **read_fields(line, row.fields)) if row else None
        by_hand = row is not None and row.by_hand
        before = self.newest_event
        if isinstance(event, Booted):
            self.newest_hand = 0
        elif before is not None and number not in (before, before % LAST_EVENT + 1):
            hand = self.newest_hand or 0
            found.append(Missed(newest_event=number, newest_hand=hand, hand=False))
        self.newest_event = number
        if by_hand:
            self.newest_hand = number
        found.append(
            event if event is not None else Stray(reason=StrayReason.UNKNOWN_EVENT, line=line.raw)
        )

    def _take_reply(self, line: Line, found: list[Received]) -> None:
        verb = self._verb
        if line.tag is None:
            unread = line.kind is Kind.ERR and line.fields.get("code") in _UNREAD
            reason = StrayReason.RESEND if unread else StrayReason.UNTAGGED
            found.append(Stray(reason=reason, line=line.raw))
            return
        if verb is None or line.tag != self._tag:
            found.append(Stray(reason=StrayReason.LATE, line=line.raw))
            return
        try:
            counters = read_fields(line, COUNTERS)
            reply: Answered | Refused
            if line.kind is Kind.OK:
                answer = verb.answer(**read_fields(line, verb.answer_fields))
                reply = Answered(tag=line.tag, answer=answer, **counters)
            else:
                refusal = read_fields(line, REFUSAL + WHERE)
                refusal.setdefault("why", "")
                reply = Refused(tag=line.tag, **refusal, **counters)
        except WireError:
            found.append(Stray(reason=StrayReason.MALFORMED, line=line.raw))
            return
        self._count(reply, found)
        self.drop()
        found.append(reply)

    def _count(self, reply: Answered | Refused, found: list[Received]) -> None:
        """Compare the counters of a reply with what was heard, and say what got lost.

        A repeated answer has the counters of the first time; they say nothing new.
        """
        if self._repeated and self.newest_event is not None:
            return
        event, hand = reply.newest_event, reply.newest_hand
        lost_event = self.newest_event not in (None, event)
        lost_hand = self.newest_hand not in (None, hand)
        if lost_event or lost_hand:
            found.append(Missed(newest_event=event, newest_hand=hand, hand=lost_hand and hand != 0))
        self.newest_event, self.newest_hand = event, hand
