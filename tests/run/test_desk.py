"""Who may move the dial."""

import pytest

from tests.run.shack import MQTT, NOON, SHELL, shack, sweep
from tests.run.test_keeper import window
from vfod import events as e
from vfod import requests as r
from vfod.errors import HandError, LinkDownError, OutOfRangeError, RefusedError
from vfod.run.desk import AUTOMATION_BURST, PERSON_FIRST, Desk


async def test_every_movement_says_who_and_through_which_door() -> None:
    """A tune by the shell, a turn of the knob and automation are told apart."""
    async with shack() as it:
        await it.ask(r.Tune(frequency=7_300_000))
        assert SHELL == it.stream.state.vfos["main"].moved_by
        it.world.box.turn(2)
        await it.until(e.KnobTurned, limit=1)
        assert e.Origin(door=e.Door.KNOB) == it.stream.state.vfos["main"].moved_by
        await it.wait(PERSON_FIRST)
        await it.ask(r.Tune(frequency=7_305_000), MQTT)
        assert MQTT == it.stream.state.vfos["main"].moved_by


async def test_automation_is_below_people() -> None:
    """A rule does not snatch the dial from somebody who has just turned it."""
    async with shack() as it:
        it.world.box.turn(2)
        await it.until(e.KnobTurned, limit=1)
        with pytest.raises(RefusedError, match="a person has the dial"):
            await it.ask(r.Tune(frequency=7_300_000), MQTT)
        await it.wait(PERSON_FIRST)
        await it.ask(r.Tune(frequency=7_300_000), MQTT)
        assert 7_300_000 == it.dial


async def test_automation_is_rate_limited() -> None:
    """A rule gone wild is refused, and admitted again at a calm pace."""
    async with shack() as it:
        for _ in range(AUTOMATION_BURST):
            await it.ask(r.Nudge(hertz=1000), MQTT)
        for _ in range(3):
            with pytest.raises(RefusedError, match="too often"):
                await it.ask(r.Nudge(hertz=1000), MQTT)
        await it.wait(1.1)
        await it.ask(r.Nudge(hertz=1000), MQTT)


async def test_a_tune_never_crosses_a_turn_of_the_knob() -> None:
    """What the mover did not know of yet wins: the box refuses, the dial stays with the hand."""
    async with shack() as it:
        known = it.tuner.newest_hand
        it.world.box.turn(4)
        await it.until(e.KnobTurned, limit=1)
        where = it.dial
        with pytest.raises(HandError):
            await it.tuner.tune(7_300_000, by=SHELL, hand=known)
        assert where == it.dial


async def test_the_quiet_time_also_holds_when_a_sweep_starts_by_itself() -> None:
    """A window that opens while somebody listens waits for the end of the quiet time."""
    async with shack(sweeps=[sweep()], windows=[window()], quiet=600) as it:
        await it.wait(3590)
        it.world.box.turn(2)
        await it.until(e.KnobTurned, limit=1)
        where = it.dial
        await it.until(e.SweepStarted, limit=20)
        await it.wait(500)
        assert where == it.dial
        assert [] == it.of(e.ChannelObserved)
        await it.until(e.ChannelObserved, limit=120)


async def test_a_person_who_starts_a_sweep_does_not_wait_for_the_quiet_time() -> None:
    """To start it is to say that one is done listening."""
    async with shack(sweeps=[sweep()], quiet=600) as it:
        await it.ask(r.Tune(frequency=7_300_000))
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, limit=5)


@pytest.mark.parametrize(
    ("frequency", "words"),
    [(9_420, "outside the receiver's range"), (9_420_000_000, "outside the receiver's range")],
)
async def test_out_of_range_is_refused_before_anything_moves(frequency: int, words: str) -> None:
    """The dial stays where it is, and the answer says what can be reached."""
    async with shack() as it:
        where = it.dial
        with pytest.raises(OutOfRangeError, match=words):
            await it.ask(r.Tune(frequency=frequency))
        assert where == it.dial


async def test_without_a_link_a_tune_is_refused_and_says_why() -> None:
    """The reason is the line's own."""
    async with shack(connect=False) as it:
        await it.wait(5)
        with pytest.raises(LinkDownError, match="not reachable"):
            await it.ask(r.Tune(frequency=7_300_000))


async def test_bands_up_and_down_come_back_to_where_they_were_left() -> None:
    """A band button goes to the next band; coming back finds the old frequency."""
    async with shack() as it:
        await it.ask(r.Tune(frequency=7_335_000))
        assert "41m" == it.stream.state.vfos["main"].band
        await it.ask(r.GoToBand(band="31m"))
        assert 9_400_000 == it.dial
        assert "31m" == it.stream.state.vfos["main"].band
        await it.ask(r.GoToBand(band="41m"))
        assert 7_335_000 == it.dial
        it.world.box.turn(2)
        await it.until(e.KnobTurned, limit=1)
        await it.ask(r.GoToBand(band="31m"))
        await it.ask(r.GoToBand(band="41m"))
        assert 7_337_000 == it.dial
        with pytest.raises(Exception, match="41m"):
            await it.ask(r.GoToBand(band="41"))


async def test_crossing_a_band_edge_is_an_event() -> None:
    """Leaving and entering are told with both names."""
    async with shack() as it:
        await it.ask(r.Tune(frequency=7_449_000))
        await it.ask(r.Nudge(hertz=5_000))
        crossed = it.of(e.BandEntered)
        assert e.BandEntered(band=None, left="41m") == crossed[-1]


async def test_nudge_by_steps_uses_the_step_in_force() -> None:
    """A bare nudge is one click of the knob."""
    async with shack() as it:
        await it.ask(r.Tune(frequency=7_300_000))
        await it.ask(r.SetStep(step=9_000))
        await it.ask(r.Nudge(steps=-2))
        assert 7_282_000 == it.dial
        assert NOON < it.clock.wall()


@pytest.mark.parametrize("written", [True, False])
async def test_a_person_is_told_when_the_journal_does_not_take_it(written: bool) -> None:
    """The dial has moved all the same; what was not promised is not left to be believed."""

    async def committed(_: int) -> bool:
        return written

    async with shack() as it:
        desk = Desk(it.tuner, it.clock, (), quiet=600, committed=committed)
        asked = r.Asked(request=r.Tune(frequency=7_300_000), origin=SHELL)
        answer = await desk.submit(asked)
        assert 7_300_000 == it.dial
        assert written == ("not in the journal yet" not in answer["text"])


async def test_what_is_asked_of_a_sweep_while_the_vfo_is_away_says_that_it_waits() -> None:
    """Start, stay, resume and skip are taken, by whatever door, and say since when it is away."""
    async with shack(sweeps=[sweep()]) as it:
        there = await it.ask(r.StartSweep(sweep="evening"))
        assert "remark" not in there
        await it.until(e.ChannelObserved)
        await it.wait(30)
        it.port.unplug()
        await it.until(e.SweepPaused, limit=10)
        await it.wait(120)
        # NOON is 12:00 UTC on a Wednesday.
        away = "when the VFO is back: it has been away since Wed 12:00 (lost)"
        for request, by, remark in (
            (r.StartSweep(sweep="evening"), SHELL, f"the sweep will begin {away}"),
            (r.SkipChannel(), SHELL, f"the sweep will go on {away}"),
            (r.Stay(), SHELL, f"after that the sweep will go on {away}"),
            (r.Resume(), SHELL, f"the sweep will go on {away}"),
        ):
            answer = await it.ask(request, by)
            assert remark == answer["remark"]
            assert str(answer["text"]).endswith(f"; {remark}")
        await it.wait(PERSON_FIRST)
        answer = await it.ask(r.StartSweep(sweep="evening"), MQTT)
        assert f"the sweep will begin {away}" == answer["remark"]
        seen = len(it.of(e.ChannelObserved))
        it.port.plug()
        await it.until(e.ChannelObserved, limit=30)
        assert seen + 1 == len(it.of(e.ChannelObserved))
        assert "remark" not in await it.ask(r.Stay(), SHELL)


async def test_a_vfo_that_was_never_there_is_said_to_be_so() -> None:
    """A daemon that was started without it."""
    async with shack(sweeps=[sweep()], connect=False) as it:
        answer = await it.ask(r.StartSweep(sweep="evening"))
        assert "has not been found yet" in str(answer["text"])
        await it.wait(10)
        answer = await it.ask(r.StartSweep(sweep="evening"))
        assert "it has been away since Wed 12:00 (missing)" in str(answer["text"])
