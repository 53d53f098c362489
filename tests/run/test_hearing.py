"""Levels from the receiver's sound, from both, and from nowhere: whole sweeps on the jumping clock.

The box and the receiver are the simulator's; what is on the air is the truth.
"""

from collections.abc import Callable
from typing import Any

import pytest

from tests.run.shack import SCENARIO, SHELL, Shack, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.radio.levels import Source
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.run.soundlag import ASSUMED, STEPS, tell_delay
from vfod.sim.sound import SimSound
from vfod.survey.sound import Samples

STATION = 7_210_000


class Hung:
    """A sound that is made once the receiver it belongs to is there."""

    def __init__(self) -> None:
        self.sound: SimSound | None = None

    def part(self, since: float, until: float) -> Samples:
        assert self.sound is not None
        return self.sound.part(since, until)

    def hang(self, it: Shack, detector: Detector, delay: float, **more: Any) -> None:
        receiver = it.world.receiver
        self.sound = SimSound(receiver, it.clock, detector=lambda _: detector, delay=delay, **more)


def receiver(detector: Detector, delay: float) -> Receiver:
    ranges = Range(low=150_000, high=30_000_000, detector=detector, intermediate_frequency=455_000)
    return Receiver(ranges=(ranges,)).later(delay)


def told(it: Shack) -> Callable[[e.Event], object]:
    return lambda event: it.stream.emit(event, vfo="main")


async def passes(it: Shack, number: int) -> list[e.ChannelObserved]:
    """The observations of the last of so many passes."""
    await it.ask(r.StartSweep(sweep="evening"), SHELL)
    await it.until(e.PassCompleted, times=number)
    found = [s.event for s in it.seen if isinstance(s.event, e.ChannelObserved)]
    return found[-11:]


@pytest.mark.parametrize("detector", [Detector.ENVELOPE, Detector.PRODUCT])
@pytest.mark.parametrize("delay", [0.1, 0.9])
async def test_a_station_is_found_by_its_sound(detector: Detector, delay: float) -> None:
    """At its channel, and at no other, however late the sound is."""
    hung = Hung()
    given = sweep(dwell=1.0, settle=0.3)
    async with shack(
        sweeps=[given], source=Source.AUDIO, sound=hung, receiver=receiver(detector, delay)
    ) as it:
        hung.hang(it, detector, delay, mute_silences=False)
        observed = await passes(it, 3)
        assert [STATION] == [one.dial for one in observed if one.active]
        assert {"dB"} == {one.unit for one in observed}
        # The pass is longer by the delay at each visit, and its grid is kept.
        last = it.of(e.PassCompleted)[-1]
        assert isinstance(last, e.PassCompleted)
        assert 11 * (1.3 + delay) == pytest.approx(last.seconds, abs=0.7)
        assert 0.0 == it.stream.state.vfos["main"].sweep.held


async def test_without_the_delay_it_would_be_another_channel() -> None:
    """The test above can fail: a delay that nobody knows of books the station one on."""
    hung = Hung()
    async with shack(
        sweeps=[sweep(dwell=1.0, settle=0.3)],
        source=Source.AUDIO,
        sound=hung,
        receiver=receiver(Detector.PRODUCT, 0.0),
    ) as it:
        hung.hang(it, Detector.PRODUCT, 1.3, mute_silences=False)
        observed = await passes(it, 3)
        assert [STATION + 5000] == [one.dial for one in observed if one.active]


async def test_both_have_the_boxs_level_and_either_verdict() -> None:
    """The level is in dBm; a station that only the sound finds is active too."""
    hung = Hung()
    weak = SCENARIO.replace("power: -60", "power: -92")
    async with shack(
        scenario=weak,
        sweeps=[sweep(dwell=1.0, settle=0.3, margin=9.0, margin_stay=6.0)],
        source=Source.BOTH,
        sound=hung,
        receiver=receiver(Detector.PRODUCT, 0.1),
    ) as it:
        hung.hang(it, Detector.PRODUCT, 0.1, mute_silences=False)
        observed = await passes(it, 3)
        (found,) = [one for one in observed if one.active]
        assert STATION == found.dial
        assert "dBm" == found.unit
        assert found.level is not None
        assert found.floor is not None
        # The box alone would not have said so.
        assert found.level - found.floor < 9.0


async def test_none_is_a_sweep_that_says_that_nothing_was_measured() -> None:
    """It runs, and each visit is in the journal without a level."""
    async with shack(sweeps=[sweep()], source=Source.NONE) as it:
        observed = await passes(it, 1)
        assert [(None, None, 0)] * 11 == [(o.level, o.active, o.readings) for o in observed]


@pytest.mark.parametrize("delay", [0.05, 0.4, 1.7])
async def test_the_delay_is_measured_by_the_mute(delay: float) -> None:
    """To 20 ms, never too short by more than 10, and the speaker is as before."""
    hung = Hung()
    async with shack(source=Source.AUDIO, sound=hung) as it:
        hung.hang(it, Detector.ENVELOPE, delay)
        used, silences = await tell_delay(it.tuner, hung, it.clock, told(it))
        assert silences
        assert delay - 0.01 <= used <= delay + 0.02
        assert it.tuner.known.muted is False
        await it.wait(0.001)
        (timed,) = it.of(e.AudioTimed)
        assert isinstance(timed, e.AudioTimed)
        assert "mute" == timed.means


async def test_where_the_mute_is_not_heard_the_output_is_switched() -> None:
    """A direct receiver without its oscillator is heard: the band's noise is gone."""
    hung = Hung()
    async with shack(source=Source.AUDIO, sound=hung) as it:
        hung.hang(it, Detector.DIRECT, 0.4, mute_silences=False, gain_control=False)
        used, silences = await tell_delay(it.tuner, hung, it.clock, told(it))
        assert not silences
        assert 0.39 <= used <= 0.45
        assert it.tuner.known.output


async def test_what_cannot_be_heard_is_assumed_and_said() -> None:
    """Neither mute nor output makes a difference to a sound that is taken elsewhere."""
    async with shack(source=Source.AUDIO, scenario=SCENARIO) as it:
        hung = Hung()
        hung.hang(it, Detector.ENVELOPE, 0.2, mute_silences=False, gain_control=True)
        used, _ = await tell_delay(it.tuner, hung, it.clock, told(it))
        await it.wait(0.001)
        assert ASSUMED == used
        (timed,) = it.of(e.AudioTimed)
        assert isinstance(timed, e.AudioTimed)
        assert timed.delay is None


class Hurried(Hung):
    """Sound on a busy machine: for its first seconds it is later, now more, now less."""

    def __init__(self, busy_until: float) -> None:
        super().__init__()
        self.busy_until = busy_until

    def part(self, since: float, until: float) -> Samples:
        late = 0.3 * (int(since * 3) % 3) if since < self.busy_until else 0.0
        return super().part(since - late, until - late)


async def test_a_busy_moment_does_not_leave_it_unknown() -> None:
    """Steps that disagree are followed by more, until most of them agree."""
    async with shack(source=Source.AUDIO) as it:
        hung = Hurried(it.clock.monotonic() + 3.5)
        hung.hang(it, Detector.ENVELOPE, 0.2)
        used, silences = await tell_delay(it.tuner, hung, it.clock, told(it))
        assert silences
        assert 0.19 <= used <= 0.3
        assert it.tuner.known.muted is False
        assert STEPS < len(it.of(e.SpeakerMuted))
