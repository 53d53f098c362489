"""Notes and levels in words: what is known of them, and nothing that a terminal would obey."""

import dataclasses
from datetime import UTC

from vfod import events as e
from vfod.state.say import event_text, visible

NOTE = e.NoteTaken(
    text="drums",
    sinpo="45344",
    heard="Radio Haldrun",
    at=0.0,
    dial=9_420_000,
    band="31m",
    level=-61.2,
    unit="dBm",
    by=e.Origin(door=e.Door.SHELL),
)


def test_a_note_in_a_line() -> None:
    """What was noted, where the dial was, how strong, how well, and who."""
    told = "noted: drums; 9420 kHz, 31m, -61.2 dBm, S9+12 dB; SINPO 45344; heard Radio Haldrun"
    assert told == event_text(NOTE, UTC)
    bare = dataclasses.replace(NOTE, sinpo=None, heard=None, dial=None, level=None)
    assert "noted: drums" == event_text(bare, UTC)


def test_control_characters_are_shown_and_not_obeyed() -> None:
    """Escape sequences (ECMA-48), line ends and marks of writing direction become their numbers."""
    assert "\\x1b[31mred\\n\\u202e\\x9b" == visible("\x1b[31mred\n\u202e\x9b")
    assert "Übergang 音楽 می\u200cشنوم" == visible("Übergang 音楽 می\u200cشنوم")
    assert "\x1b" not in event_text(dataclasses.replace(NOTE, text="\x1b[2J", heard="\x07"), UTC)


def test_levels_have_their_unit() -> None:
    """Of a hold and of a visit, as at every other place; a journal of before has none to tell."""
    held = e.HoldBegan(sweep="evening", dial=7_210_000, level=-61.4, unit="dBm")
    assert "holding at 7210 kHz, level -61 dBm" == event_text(held, None)
    older = e.HoldBegan(sweep="evening", dial=7_210_000, level=-61.4)
    assert "holding at 7210 kHz, level -61" == event_text(older, None)
    visit = e.ChannelObserved(
        sweep="evening",
        dial=7_210_000,
        band="41m",
        readings=8,
        level=41.2,
        highest=43.0,
        unit="dB",
        floor=20.0,
        active=True,
        lateness=0.0,
    )
    assert "7210 kHz, 41.2 dB, 21.2 dB over the floor, active" == event_text(visit, None)
