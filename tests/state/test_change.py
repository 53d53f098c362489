"""The state after events: a table, and what must hold after any of them."""

import dataclasses
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest

from tests.test_vocabulary import sample
from vfod import events as e
from vfod.events import plain
from vfod.state import LinkPhase, SweepPhase, apply, initial, say, show
from vfod.state.model import RECENT, State

NOW = 1_795_608_000.0
SHELL = e.Origin(door=e.Door.SHELL, who="listener")
SWEEP = e.Origin(door=e.Door.SWEEP, who="evening")


def after(*events: e.Event, start: State | None = None) -> State:
    state = start or initial(["main"])
    for event in events:
        stamped = e.Stamped(
            sequence=state.sequence + 1, time=NOW + state.sequence, vfo="main", event=event
        )
        state = apply(state, stamped)
    return state


def observed(dial: int, *, active: bool = False, level: float = -90.0) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep="evening",
        dial=dial,
        band="41m",
        readings=8,
        level=level,
        highest=level,
        unit="dBm",
        floor=-100.0,
        active=active,
        lateness=0.0,
    )


STARTED = e.SweepStarted(sweep="evening", channels=51, dial=7_200_000, by=SHELL)


@pytest.mark.parametrize("kind", list(plain.KINDS))
def test_any_event_can_be_applied_and_shown(kind: str) -> None:
    """Nothing that can happen breaks the state, its JSON form or its line for people."""
    state = after(sample(plain.KINDS[kind]))
    assert 1 == state.sequence
    assert show.to_plain(state)["text"]
    assert say.event_text(sample(plain.KINDS[kind]), UTC)


def test_a_state_once_handed_out_never_changes() -> None:
    """Events make new states."""
    old = after(STARTED)
    held = show.to_plain(old)
    after(observed(7_200_000), e.BandEntered(band="41m", left=None), start=old)
    assert held == show.to_plain(old)
    with pytest.raises(dataclasses.FrozenInstanceError):
        old.sequence = 9  # type: ignore[misc]  # that it cannot is what is tested


def test_the_dial_says_who_moved_it() -> None:
    """Wavelength follows from the dial: 9.42 MHz is 31.825 m (c / f)."""
    state = after(
        e.DialTuned(dial=9_420_000, oscillator=9_875_000_000, produced=9_875_000_001, by=SHELL)
    )
    vfo = state.vfos["main"]
    assert (9_420_000, 9_875_000_001, SHELL) == (vfo.dial, vfo.produced, vfo.moved_by)
    assert vfo.wavelength == pytest.approx(31.8251, abs=1e-4)


def test_a_sweep_is_followed() -> None:
    """Channel, visits, passes and the phase, through a yield and back."""
    tuned = e.DialTuned(dial=7_205_000, oscillator=1, produced=1, by=SWEEP)
    state = after(STARTED, observed(7_200_000), tuned)
    sweep = state.vfos["main"].sweep
    assert (SweepPhase.SWEEPING, 7_205_000, 1, 1) == (
        sweep.phase, sweep.channel, sweep.visits, sweep.in_pass,
    )  # fmt: skip
    state = after(
        e.SweepYielded(sweep="evening", dial=7_205_000, to=SHELL, until=NOW + 600), start=state
    )
    assert (SweepPhase.YIELDED, NOW + 600) == (
        state.vfos["main"].sweep.phase,
        state.vfos["main"].sweep.until,
    )
    state = after(
        e.SweepResumed(sweep="evening", dial=7_205_000, lost=600.0),
        e.PassCompleted(sweep="evening", number=1, visits=51, seconds=117.3),
        start=state,
    )
    sweep = state.vfos["main"].sweep
    assert (SweepPhase.SWEEPING, 1, 0, None) == (
        sweep.phase, sweep.passes, sweep.in_pass, sweep.until,
    )  # fmt: skip


def test_link_losses_are_counted_once_an_outage() -> None:
    """Many attempts to open a missing port are one loss."""
    greeted = sample(e.LinkGreeted)
    lost = e.LinkLost(port="p", reason="lost", detail="")
    missing = e.LinkLost(port="p", reason="missing", detail="")
    state = after(greeted, lost, missing, missing, greeted, lost)
    assert (LinkPhase.DOWN, 2) == (state.vfos["main"].link.phase, state.vfos["main"].link.losses)


def test_what_was_heard_is_bounded_and_newest_first() -> None:
    """A night of activity does not make the state grow."""
    state = after(*(observed(7_200_000 + 1000 * i, active=True) for i in range(3 * RECENT)))
    heard = state.vfos["main"].heard
    assert RECENT == len(heard)
    assert 7_200_000 + 1000 * (3 * RECENT - 1) == heard[0].dial


def test_first_and_last_time_of_an_activity() -> None:
    """An activity that goes on keeps its beginning; one that ended begins anew."""
    state = after(observed(7_200_000, active=True), observed(7_200_000, active=True, level=-80))
    heard = state.vfos["main"].heard[0]
    assert (NOW, NOW + 1, -80.0, True) == (heard.first, heard.last, heard.level, heard.now)
    state = after(
        e.ActivityEnded(dial=7_200_000, band="41m"), observed(7_200_000, active=True), start=state
    )
    assert NOW + 3 == state.vfos["main"].heard[0].first


def test_an_event_about_an_unknown_vfo_changes_nothing_else() -> None:
    """A VFO that is not configured cannot creep into the state."""
    state = initial(["main"])
    stamped = e.Stamped(sequence=1, time=NOW, vfo="other", event=STARTED)
    assert ["main"] == list(apply(state, stamped).vfos)


@pytest.mark.parametrize(
    ("events", "line"),
    [
        ((), "dial unknown; no sweep; link down"),
        (
            (e.DialTuned(dial=9_420_000, oscillator=1, produced=1, by=SHELL),
             e.BandEntered(band="31m", left=None), e.StepChanged(step=1000, by=SHELL)),
            "9420 kHz, 31m, wavelength 31.83 m; step 1 kHz; moved by shell (listener); no sweep;"
            " link down",
        ),
    ],
)  # fmt: skip
def test_the_line_for_people(events: tuple[e.Event, ...], line: str) -> None:
    """At a glance: where, which band, which step, who, what the sweep does, what is wrong."""
    assert line == show.one_line(after(*events).vfos["main"], UTC)


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (e.WindowAwaited(window=None, sweep=None, opens=None, closes=None), "no window ahead"),
        (e.WindowAwaited(window="late", sweep="evening", opens=1_795_626_000.0, closes=None),
         "next window late, 2026-11-25 17:00, for sweep evening"),
        (e.SweepYielded(sweep="evening", dial=5_910_000, to=SHELL, until=1_795_626_090.0),
         "sweep evening yielded to shell (listener) before 5910 kHz, until 17:01:30"),
        (e.SweepYielded(sweep="evening", dial=5_910_000, to=SHELL, until=None),
         "sweep evening yielded to shell (listener) before 5910 kHz, until asked to resume"),
        (e.SweepEnded(sweep="evening", visits=1, passes=0, reason="asked to stop", by=SHELL),
         "sweep evening ended after 1 visit, 0 passes: asked to stop"),
    ],
)  # fmt: skip
def test_the_words_of_an_event(event: e.Event, text: str) -> None:
    """Times as a person reads them, and until when a sweep waits."""
    assert text == say.event_text(event, UTC)


def test_times_are_those_of_the_place() -> None:
    """The state and every event name them by the zone that the configuration has now.

    Central Europe is an hour ahead of UTC in winter (the zone database of IANA).
    """
    yielded = e.SweepYielded(sweep="evening", dial=5_910_000, to=SHELL, until=1_795_626_090.0)
    started = e.DaemonStarted(version="1", config_path="", config_digest="", zone="Europe/Berlin")
    state = after(STARTED, yielded)
    assert "until 17:01:30 (" in show.to_plain(state)["text"]
    stamped = e.Stamped(sequence=3, time=NOW, vfo="", event=started)
    state = apply(state, stamped)
    assert "until 18:01:30 (" in show.to_plain(state)["text"]
    assert "Europe/Berlin" == show.to_plain(state)["zone"]
    told = e.Stamped(sequence=4, time=NOW, vfo="main", event=yielded)
    assert show.answer(told, ZoneInfo("Europe/Berlin"))["text"].endswith(", until 18:01:30")
    reloaded = e.ConfigReloaded(
        config_digest="2", changed=("place.zone",), waiting=(), by=SHELL, zone="Asia/Kolkata"
    )
    state = apply(state, e.Stamped(sequence=5, time=NOW, vfo="", event=reloaded))
    assert "until 22:31:30 (" in show.to_plain(state)["text"]
