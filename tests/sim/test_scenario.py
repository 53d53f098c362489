"""Scenarios: the ready one is good, a bad one is refused in one line that names the place."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.sim.test_contract import ABILITIES
from vfod.errors import UsageError
from vfod.sim.air import Air
from vfod.sim.scenario import load, parse
from vfod.wire.values import Ability

#: ITU Radio Regulations, Article 5: broadcasting bands (docs/standards.md), kHz, Regions 1 and 3.
BANDS = ((5_900, 6_200), (7_200, 7_450), (9_400, 9_900))


def test_the_ready_evening_lies_in_the_bands_and_on_the_raster() -> None:
    """Every station on 5 kHz steps within one of the three bands; some in each."""
    found = dict.fromkeys(BANDS, 0)
    for station in load().stations:
        assert 0 == station.frequency % 5_000
        (band,) = [one for one in BANDS if one[0] < station.frequency / 1000 < one[1]]
        found[band] += 1
    assert all(count >= 5 for count in found.values())


def test_at_any_hour_there_is_something_to_hear_in_each_band() -> None:
    """At least two stations in each band, at each quarter of an hour, and noise between them."""
    scenario = load()
    air = Air(scenario, 1)
    midnight = datetime(2026, 11, 25, tzinfo=UTC).timestamp()
    for quarter in range(96):
        for low, high in BANDS:
            time = midnight + quarter * 900
            heard = list(air.between(low * 1000, high * 1000, time))
            assert len(heard) >= 2
            channels = (high - low) // 5 + 1
            assert len(heard) < channels / 4
            # Well above the noise, so that a margin of 6 dB finds at least one.
            floor = air.floor_at(low * 1000, 5000, time)
            assert max(one.level for one in heard) > floor + 20


def test_two_or_more_come_and_go_within_minutes() -> None:
    """A demonstration of a minute or an evening meets some that are new or gone."""
    assert 2 <= len([station for station in load().stations if station.cycle])


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("stations: [{name: X, power: -60}]", "stations[1].frequency: is missing"),
        ("a: b: c", "air.yaml:1:5: this is not YAML"),
        ("boxx: 1", "boxx: there is no such key here"),
        ("- 1", "scenario: "),
        ("stations: [{name: X, frequency: 9420, power: -3}]", "'9420' has no unit"),
        ("stations: [{name: X, frequency: 9420k, power: loud}]", "'loud' is no level"),
        ("stations: [{name: X, frequency: 9420k, power: nan}]", "'nan' is no level"),
        ("stations: [{name: X, frequency: 9M, power: -3, hours: [20-22]}]", "no time of day"),
        ("stations: [{name: X, frequency: 9M, power: -3, hours: [20:00]}]", "no span of hours"),
        ("disturbances: [{from: 9M, to: 8M, level: -3, duration: 2s, at: 20:15}]", "below `to`"),
        ("disturbances: [{from: 8M, to: 9M, level: -3, duration: 2s}]", "either `at` or `every`"),
        ("disturbances: [{from: 8M, to: 9M, level: -3, duration: 2m, every: 9s}]", "longer than"),
        ("box: {settle: 3}", "box.settle: '3' has no unit"),
        ("box: {start: 90MHz}", "`start` is outside"),
        ("box: {model: my-portable-vfo}", "model out of range"),
        ("box: {serial: two words}", "not in the grammar: ok proto=1"),
        ("box: {settle: 1h}", "settle out of range"),
        ("box: {abilities: [knob, fly]}", "box.abilities[2]"),
        ("hand: [{after: 3s}]", "exactly one of `turn`, `press` and `do`"),
        ("receiver: {oscillator_per_mixer: 1/0}", "'1/0' is no ratio"),
        ("box: {crystal: {error: nan}}", "box.crystal.error: Input should be a finite number"),
    ],
)
def test_a_bad_scenario_is_refused_in_one_line(text: str, complaint: str) -> None:
    """The place, what is wrong, and no traceback."""
    with pytest.raises(UsageError) as caught:
        parse(text, "air.yaml")
    said = str(caught.value)
    assert said.startswith("air.yaml")
    assert complaint in said
    assert "\n" not in said


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """Missing, a directory, not UTF-8: the path and the reason."""
    (tmp_path / "latin.yaml").write_bytes(b"# \xe4\n")
    for path in (tmp_path / "none.yaml", tmp_path, tmp_path / "latin.yaml"):
        with pytest.raises(UsageError, match="cannot be read") as caught:
            load(path)
        assert str(path) in str(caught.value)


def test_an_empty_scenario_is_an_empty_band() -> None:
    """Nothing but a floor, so that a small file is enough for a trial."""
    assert () == parse("").stations
    assert 1 == len(parse("hand: [{after: 2s, turn: -3}]").hand)


def test_the_contract_knows_every_ability() -> None:
    """The list of docs/protocol.md 4.7, as the contract has it, and the code's are the same."""
    assert ABILITIES == set(Ability)
