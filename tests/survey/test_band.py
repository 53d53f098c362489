"""A band: the share of this night, that of all nights, and when it cannot be said."""

import random
from collections.abc import Iterator, Sequence
from itertools import accumulate

import pytest

from vfod.survey.band import band_by_parts, of_band
from vfod.survey.occupancy import Reason, Share, Unsaid, Visit, occupancy
from vfod.survey.seen import PERFECT, Scored

#: docs/standards.md section 1.4: a night of eight hours, 268 visits.
VISITS = 268
REVISIT = 107.1
NIGHT = VISITS * REVISIT

#: Mean runs of activity and of quiet in visits; none: never changes.
Cycle = tuple[float, float] | bool


def chain(rng: random.Random, on: float, off: float) -> list[bool]:
    """A process that comes and goes without memory, at each visit."""
    state = rng.random() < on / (on + off)
    left = rng.expovariate(1 / (on if state else off))
    seen = []
    for _ in range(VISITS):
        while left < 0:
            state = not state
            left += rng.expovariate(1 / (on if state else off))
        seen.append(state)
        left -= 1
    return seen


def drawn(rng: random.Random, cycle: Cycle) -> list[bool]:
    if isinstance(cycle, bool):
        return [cycle] * VISITS
    return chain(rng, *cycle)


def share_of(cycle: Cycle) -> float:
    return float(cycle) if isinstance(cycle, bool) else cycle[0] / (cycle[0] + cycle[1])


def visits(states: Sequence[bool]) -> list[Visit]:
    return [Visit((k + 0.5) * REVISIT, active) for k, active in enumerate(states)]


def bands(
    cycles: Sequence[Cycle], nights: int, gate: Cycle = True, scored: Scored = PERFECT
) -> Iterator[tuple[float, list[list[Visit]]]]:
    """Nights of a band: its long-run share, and the visits; `gate` shuts all channels at once."""
    rng = random.Random(11)
    truth = share_of(gate) * sum(map(share_of, cycles)) / len(cycles)
    for _ in range(nights):
        opened = drawn(rng, gate)
        channels = []
        for cycle in cycles:
            truly = [a and b for a, b in zip(drawn(rng, cycle), opened, strict=True)]
            channels.append(
                [rng.random() < (scored.detection if a else scored.false_alarm) for a in truly]
            )
        yield truth, [visits(states) for states in channels]


def test_a_band_is_its_channels_together() -> None:
    """One of ten channels always active: a tenth tonight; without a change, no more is said."""
    it = of_band([visits([True] * VISITS), *[visits([False] * VISITS)] * 9], 0, NIGHT)
    assert isinstance(it.tonight, Share)
    assert 0.1 == pytest.approx(it.tonight.value)
    assert it.tonight.low < 0.1 < it.tonight.high
    assert 0.01 > it.tonight.high - it.tonight.low
    assert Unsaid(reason=Reason.FEW_CHANGES) == it.long_run
    assert (2680, 268, 0) == (it.visits, it.active, it.changes)


def test_a_band_of_one_channel_is_that_channel() -> None:
    """The same share of all nights, by Student's interval instead of the normal one."""
    seen = visits(chain(random.Random(2), 10, 20))
    alone, band = occupancy(seen, 0, NIGHT).long_run, of_band([seen], 0, NIGHT).long_run
    assert isinstance(alone, Share)
    assert isinstance(band, Share)
    assert alone.value == pytest.approx(band.value)
    assert 1.0 <= (band.high - band.low) / (alone.high - alone.low) < 1.4


#: Silent and steady ones, slow and fast ones.
USUAL: list[Cycle] = [*[False] * 5, *[True] * 4, *[(25.0, 20.0)] * 5, *[(0.5, 2.0), (4.0, 3.0)] * 2]


@pytest.mark.parametrize(
    ("cycles", "gate", "scored"),
    [
        (USUAL, True, PERFECT),
        (USUAL, True, Scored(detection=0.995, false_alarm=0.005)),
        # So slow that many do not change in a night.
        ([*[False] * 5, *[(150.0, 150.0)] * 20], True, PERFECT),
        # Open and shut together, thirteen times a night.
        (USUAL, (10.0, 10.0), PERFECT),
    ],
    ids=["usual", "poor", "slow", "together"],
)
def test_the_long_run_share_holds(cycles: list[Cycle], gate: Cycle, scored: Scored) -> None:
    """95 % of sixty nights, within three deviations; the truth is what the channels are drawn with.

    `make score` asks for it on two hundred nights of the simulated air.
    """
    held, off, unsaid = [], list[float](), 0
    for truth, channels in bands(cycles, 60, gate, scored):
        figure = of_band(channels, 0, NIGHT, scored).long_run
        if isinstance(figure, Unsaid):
            unsaid += 1
            continue
        held.append(figure.low <= truth <= figure.high)
        off.append(figure.value - truth)
    assert unsaid <= 0.15 * 60
    assert 0.95 == pytest.approx(sum(held) / len(held), abs=0.085)
    assert 0.0 == pytest.approx(sum(off) / len(off), abs=0.015)


def test_hours_know_from_the_night_how_slow_it_is() -> None:
    """Eight hours of 24 nights: hours hold as well, and are wider than the night."""
    edges = list(accumulate([NIGHT / 8] * 8, initial=0.0))
    held, wider = [], []
    for truth, channels in bands(USUAL, 24):
        night = of_band(channels, 0, NIGHT).long_run
        if isinstance(night, Unsaid):
            continue
        for hour in band_by_parts(channels, edges):
            if isinstance(figure := hour.long_run, Share):
                held.append(figure.low <= truth <= figure.high)
                wider.append((figure.high - figure.low) / (night.high - night.low))
    assert len(held) > 150
    # Hours of a night are not independent: 24 of them count, not two hundred.
    assert 0.95 - 0.13 <= sum(held) / len(held)
    assert 1.5 < sorted(wider)[len(wider) // 2] < 3.5


def test_a_band_that_opens_once_is_one_sample() -> None:
    """Twelve channels that flicker, and all of them shut after half of the night: not said."""
    rng = random.Random(5)
    open_half = [k < VISITS / 2 for k in range(VISITS)]
    channels = [
        visits([a and b for a, b in zip(chain(rng, 3, 2), open_half, strict=True)])
        for _ in range(12)
    ]
    it = of_band(channels, 0, NIGHT)
    assert isinstance(it.tonight, Share)
    assert it.changes > 300
    assert Unsaid(reason=Reason.TOGETHER) == it.long_run


def test_false_alarms_alone_are_no_changes() -> None:
    """A silent band and a poor detector: hundreds of changes, all made up."""
    scored = Scored(detection=0.99, false_alarm=0.01)
    for _, channels in bands([False] * 20, 5, scored=scored):
        it = of_band(channels, 0, NIGHT, scored)
        assert it.changes > 50
        assert Unsaid(reason=Reason.FEW_CHANGES) == it.long_run


def test_ten_changes_in_all_are_asked_for() -> None:
    """Nine: nothing said. A few more, of several channels: said."""
    blocks = [
        visits([start <= k < start + 40 for k in range(VISITS)]) for start in (20, 90, 160, 40)
    ]
    nine = visits([k >= 230 for k in range(VISITS)])
    assert Unsaid(reason=Reason.FEW_CHANGES) == of_band([*blocks, nine], 0, NIGHT).long_run
    more = visits([k // 15 % 2 == 0 for k in range(VISITS)])
    assert isinstance(of_band([*blocks, nine, more], 0, NIGHT).long_run, Share)
