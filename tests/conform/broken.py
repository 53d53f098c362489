"""The broken boxes, and the points at which the conformance check must fail on each."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.conform import habits as h
from tests.conform.rig import BATTERY
from vfod.clock import Clock
from vfod.sim.box import SimBox
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.world import build


@dataclass(frozen=True, kw_only=True)
class Broken:
    """`sends` changes each line that goes out, `takes` what comes in; `within` the box itself."""

    name: str
    fails: tuple[str, ...]
    sends: h.Change | None = None
    takes: Callable[[], h.Change] | None = None
    within: type[h.WorkBox] | None = None
    setup: BoxSetup = field(default_factory=lambda: BoxSetup(settle=0.02))

    def make(self, clock: Clock) -> SimBox:
        receiver = build(Scenario(box=self.setup), clock=clock).receiver
        kind = self.within or h.WorkBox
        return kind(clock=clock, setup=self.setup, receiver=receiver).bent(
            self.sends or h.same, self.takes() if self.takes else h.same
        )


BROKEN = (
    Broken(
        name="wrong checksum", fails=("writes-checksum",), sends=lambda line: line[:-5] + b"0000\n"
    ),
    Broken(
        name="checksum in small letters",
        fails=("writes-capitals",),
        sends=lambda line: line[:-5] + line[-5:].lower(),
    ),
    Broken(
        name="forgets the tag",
        fails=("who", "version", "boot", "range", "can"),
        sends=h.resealed(r"\A#.... ", ""),
    ),
    Broken(
        name="tag of the one before",
        fails=("who", "version", "boot", "range", "can"),
        sends=h.resealed(r"\A#...", "#0F0"),
    ),
    Broken(
        name="tag in every error",
        fails=(
            "checksum-wrong",
            "checksum-one-bit",
            "checksum-missing",
            "checksum-star-lost",
            "checksum-three-digits",
            "checksum-no-space",
            "mark-lost",
            "typed-checksum-wrong",
            "typed-star",
            "damaged-before-grammar",
            "tag-three-digits",
            "tag-five-digits",
            "tag-no-digits",
            "typed-syntax",
            "typed-unknown",
            "unprintable",
            "tabulator",
            "eighth-bit",
            "delete",
            "refused-changes-nothing",
            "too-long",
            "too-long-typed",
            "after-banner",
            "after-modem-probe",
            "after-long-line-ended",
            "repeat-after-damage",
        ),
        sends=h.resealed(r"\Aerr", "#0000 err"),
    ),
    Broken(
        name="no e",
        fails=("hand-unheard", "reset", "writes-counters"),
        sends=h.resealed(r" e=\d+", ""),
    ),
    Broken(
        name="h always 0",
        fails=("hand-unheard", "hand-refusal", "hand-press"),
        sends=h.resealed(r" h=\d+", " h=0"),
    ),
    Broken(
        name="h above e",
        fails=("tune-h", "hand-unheard", "hand-refusal", "hand-press", "reset", "event-counted"),
        sends=h.resealed(r" h=\d+", " h=77"),
    ),
    Broken(
        name="e always 1",
        fails=("hand-unheard", "event-counted"),
        sends=h.resealed(r" e=\d+", " e=1"),
    ),
    Broken(
        name="no decimals",
        fails=("tune-between", "writes-decimals", "writes-events"),
        sends=h.resealed(r"(?<=f=)(\d+)\.\d+", r"\1"),
    ),
    Broken(name="two spaces", fails=("writes-spaces",), sends=h.resealed(r" e=", "  e=")),
    Broken(
        name="key twice", fails=("writes-keys-once",), sends=h.resealed(r" e=(\d+)", r" e=\1 e=\1")
    ),
    Broken(
        name="capital key",
        fails=("boot", "reset", "writes-words", "writes-events"),
        sends=h.resealed(r" boot=", " Boot="),
    ),
    Broken(name="too long", fails=("writes-length",), sends=h.resealed(r"\Z", " zz=" + "z" * 60)),
    Broken(
        name="own code",
        fails=(
            "h-too-big",
            "f-below",
            "f-above",
            "f-most",
            "range-before-hand",
            "output-two",
            "select-sixteen",
            "mute-two",
            "step-zero",
            "step-too-big",
            "refused-changes-nothing",
            "repeat-refusal",
            "writes-refusals",
        ),
        sends=h.resealed("code=range", "code=beyond"),
    ),
    Broken(name="no why", fails=("writes-refusals",), sends=h.resealed(" why=[^ ]+", "")),
    Broken(
        name="event numbers skip",
        fails=("hand-refusal", "hand-press", "reset", "event-numbers", "event-counted"),
        sends=h.resealed(r"\A!(\d+)", r"!\g<1>7"),
    ),
    Broken(
        name="loses events",
        fails=("event-numbers",),
        sends=lambda line: b"" if line.startswith(b"!9 ") else line,
    ),
    Broken(
        name="settle in seconds", fails=("range",), sends=h.resealed(r"settle=20", "settle=0.02")
    ),
    Broken(name="too new", fails=("version",), sends=h.resealed("proto=1", "proto=3 min=2")),
    Broken(
        name="reads too little", fails=("read-keys", "select"), sends=h.resealed(r" sel=\d+", "")
    ),
    Broken(name="ability none and more", fails=("can",), sends=h.resealed("can=", "can=none,")),
    Broken(
        name="does not look at checksums",
        fails=("checksum-wrong", "checksum-one-bit", "repeat-after-damage"),
        takes=h.gathering(h.mends_checksum),
    ),
    Broken(
        name="takes tagged lines without",
        fails=("checksum-missing",),
        takes=h.gathering(h.needs_no_checksum),
    ),
    Broken(
        name="buffers 64 bytes",
        fails=("longest", "too-long", "too-long-typed", "burst"),
        takes=h.gathering(lambda line: line[:64]),
    ),
    Broken(
        name="cuts at 119 bytes",
        fails=("too-long", "too-long-typed"),
        takes=h.gathering(lambda line: line[:119]),
    ),
    Broken(
        name="small receive ring",
        fails=(
            "longest",
            "too-long",
            "too-long-typed",
            "many-lines",
            "burst",
            "after-overlong",
            "after-overlong-noise",
            "after-marks",
            "after-zeros",
            "after-long-line-ended",
            "busy",
        ),
        takes=h.no_more_than(64),
    ),
    Broken(
        name="half a line times out",
        fails=("cut", "half-waits", "byte-by-byte"),
        takes=lambda: h.times_out(),
    ),
    Broken(
        name="takes capitals",
        fails=("capital-verb",),
        takes=h.gathering(lambda line: line.replace(b"PING", b"ping")),
    ),
    Broken(
        name="strips bad bytes",
        fails=("unprintable", "delete"),
        takes=h.gathering(lambda line: re.sub(rb"[^\x20-\x7e\r]", b"", line)),
    ),
    Broken(
        name="CR is no end",
        fails=("end-cr",),
        takes=lambda: lambda data: data.replace(b"\r", b""),
    ),
    Broken(
        name="answers own lines",
        fails=("too-long-typed", "own-ok", "own-error", "own-bad"),
        takes=h.gathering(lambda line: re.sub(rb"\A *(ok|err)\b", b"dance", line)),
    ),
    Broken(
        name="does repeats again",
        fails=("repeat", "repeat-not-done"),
        within=h.DoesRepeats,
    ),
    Broken(name="tag alone is a repeat", fails=("same-tag",), within=h.KnowsTags),
    Broken(
        name="ignores h",
        fails=("hand-other", "hand-unheard", "hand-refusal"),
        within=h.IgnoresHand,
    ),
    Broken(name="h at least", fails=("hand-other",), within=h.HandAtLeast),
    Broken(
        name="moves, then refuses",
        fails=("hand-other", "hand-refusal"),
        within=h.MovesFirst,
    ),
    Broken(name="settles too slowly", fails=("settle-time",), within=h.TooSlow),
    Broken(
        name="clamps",
        fails=(
            "f-below",
            "f-above",
            "f-most",
            "range-before-hand",
            "refused-changes-nothing",
            "repeat-refusal",
        ),
        within=h.Clamps,
    ),
    Broken(name="echoes", fails=("no-echo",), within=h.Echoes),
    Broken(name="tune switches on", fails=("tune-leaves-output",), within=h.SwitchesOn),
    Broken(
        name="tells what was asked",
        fails=("tune-h", "hand-other", "asked-no-event"),
        within=h.TellsAsked,
    ),
    Broken(name="boot id stays", fails=("reset",), within=h.SameBoot),
    Broken(
        name="tune wins over the hand",
        fails=("hand-wins",),
        within=h.TuneWins,
        setup=BoxSetup(settle=0.2),
    ),
    Broken(
        name="waits for a listener",
        # After that it answers nothing any more.
        fails=(
            "unheard",
            "hand-unheard",
            "hand-turn",
            "hand-refusal",
            "hand-spin",
            "hand-wins",
            "hand-low-end",
            "hand-high-end",
            "hand-press",
            "battery-low",
            "reset",
        ),
        within=h.Hangs,
    ),
    Broken(name="forgets what nobody heard", fails=("hand-unheard",), within=h.Forgets),
    Broken(
        name="battery by a hand",
        fails=("battery-low",),
        within=h.BatteryByHand,
        setup=BoxSetup(settle=0.02, battery=BATTERY),
    ),
    Broken(
        name="battery untold",
        fails=("battery-low",),
        within=h.KeepsLow,
        setup=BoxSetup(settle=0.02, battery=BATTERY),
    ),
    Broken(name="events too quick", fails=("hand-spin", "event-spacing"), within=h.Quick),
    Broken(
        name="knob leaves the range",
        fails=("hand-low-end", "hand-high-end"),
        within=h.KnobLeaves,
    ),
    Broken(name="last place untold", fails=("hand-turn", "hand-low-end"), within=h.ForgetsLast),
    Broken(
        name="deaf while it settles",
        fails=("busy", "busy-not-newest", "hand-wins"),
        within=h.Deaf,
    ),
    Broken(
        name="coarser than it says",
        fails=("tune-between", "hand-unheard", "hand-turn", "hand-refusal", "hand-spin"),
        within=h.Coarse,
    ),
)
