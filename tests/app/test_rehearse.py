"""A night rehearsed is the night: same windows, same number of visits, nothing touched."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from vfod.app.rehearse import AROUND, readings_by_sound, rehearse, slots_in
from vfod.app.tally import Tally
from vfod.config.loading import parse
from vfod.config.model import Config
from vfod.errors import UsageError
from vfod.sim.invented import invented
from vfod.sim.scenario import parse as parse_scenario
from vfod.store import Reader

NIGHT = date(2026, 11, 25)

CONFIG = """\
place: {zone: Europe/Berlin}
vfos:
  main:
    port: /dev/none
    output: windows
    receiver:
      - {from: 3M, to: 15M, detector: envelope, intermediate_frequency: 455k, settle: 0.1s}
    level_table: {0: -130dBm, 4095: -10dBm}
bands:
  lower: {from: 7200k, to: 7300k}
  upper: {from: 7305k, to: 7400k}
sweeps:
  quick: {bands: [lower, upper], dwell: 0.4s, readings: 5, hold: off}
windows:
  - {name: early, sweep: quick, from: "20:00", until: "20:20"}
web: off
"""


def config(text: str = CONFIG) -> Config:
    return parse(text, "vfod.yaml")


def night(text: str = CONFIG, when: date = NIGHT, **more: object) -> Tally:
    described = config(text)
    return rehearse(described, slots_in(described, when), **more)  # type: ignore[arg-type]  # named by the tests


def test_the_visits_of_a_window_are_those_of_the_arithmetic() -> None:
    """Twenty minutes at half a second a visit are 2400 visits, 58 passes of 41 channels."""
    done = night()
    quick = done.vfos["main"].sweeps["quick"]
    assert (2400, 58) == (quick.visits, quick.passes)
    assert (1, 1, []) == (
        done.vfos["main"].opened,
        done.vfos["main"].closed,
        done.vfos["main"].missed,
    )
    assert quick.late < 0.001
    assert [2400 * 21 // 41, 2400 * 20 // 41] == pytest.approx(
        [band.visits for band in done.vfos["main"].bands.values()], abs=21
    )
    opened, *_, closed = [text for _, _, text in done.timeline]
    assert "window early opened for sweep quick" == opened
    assert "window early closed" == closed
    evening = datetime(2026, 11, 25, 19, 0, tzinfo=UTC).timestamp()
    assert (evening - AROUND, evening + 1200 + AROUND) == (done.since, done.until)


def test_what_is_heard_was_on_the_air() -> None:
    """The invented stations are known; their next channels may show them too."""
    dials = list(range(7_200_000, 7_400_001, 5_000))
    stations = [station.frequency for station in invented(dials).stations]
    assert 3 <= len(stations) <= 15
    heard = {d for band in night().vfos["main"].bands.values() for d in band.active_channels}
    assert heard
    near = {dial + away for dial in stations for away in (-5_000, 0, 5_000)}
    # A burst of noise may pass for something, once in a while.
    assert len(heard - near) <= 2
    # Those that are on the air all the time are found.
    always = {s.frequency for s in invented(dials).stations if s.cycle is None and s.power > -80}
    assert always <= heard


RANGES = """\
      - {from: 3M, to: 7300k, detector: product, intermediate_frequency: 455k, injection: high,
         oscillator_per_mixer: "4", select: 1, settle: 0.1s,
         level_table: {200: -20dBm, 600: -60dBm, 900: -120dBm}}
      - {from: 7300k, to: 15M, detector: product, intermediate_frequency: 10.7M, injection: low,
         select: 2, settle: 0.1s, level_table: {10: -120dBm, 900: -30dBm}}
"""


def test_every_law_of_a_receiver_is_rehearsed() -> None:
    """Ranges with other injections and ratios, and a detector that falls, hear the same stations.

    The law is that of docs/standards.md section 4; the box makes the oscillator's frequency and
    nothing else, so a station is found only if both directions of the law agree.
    """
    head, _, tail = CONFIG.partition("      - {from: 3M")
    text = head + RANGES + tail.partition("-10dBm}\n")[2]
    plain = night().vfos["main"].bands
    ranges = night(text).vfos["main"].bands
    for band in ("lower", "upper"):
        assert plain[band].active_channels & ranges[band].active_channels
        level, dial = plain[band].strongest or (0.0, 0)
        other, also = ranges[band].strongest or (0.0, 0)
        assert (dial, "dBm") == (also, ranges[band].unit)
        assert level == pytest.approx(other, abs=6)


SOUND = "    audio: {program: parec, device: rx}\n    level_table"


@pytest.mark.parametrize("detector", ["envelope", "product"])
def test_levels_from_the_sound_are_rehearsed_by_sound(detector: str) -> None:
    """How late it is, is measured as in the night; the strong stations are found by it."""
    text = CONFIG.replace("    level_table", SOUND).replace("20:20", "20:05")
    done = night(text.replace("detector: envelope", f"detector: {detector}"))
    assert done.by_sound
    bands = done.vfos["main"].bands
    assert {"dB"} == {band.unit for band in bands.values()}
    # Each visit is longer than half a second by the delay, 0.3 s, give or take 60 ms.
    assert done.visits == pytest.approx(5 * 60 / 0.8, rel=0.1)
    heard = {dial for band in bands.values() for dial in band.active_channels}
    dials = list(range(7_200_000, 7_400_001, 5_000))
    always = {s.frequency for s in invented(dials).stations if s.cycle is None and s.power > -70}
    assert always
    assert always <= heard
    assert [] == [text for _, _, text in done.timeline if "without levels" in text]


def test_a_night_of_too_much_sound_is_rehearsed_by_the_box(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two minutes at half a second a visit are 240 visits of five readings."""
    by_sound = CONFIG.replace("    level_table", SOUND).replace("20:20", "20:02")
    short = config(by_sound)
    assert 1200 == pytest.approx(readings_by_sound(short, slots_in(short, NIGHT)), rel=0.01)
    assert 0 == readings_by_sound(config(), slots_in(config(), NIGHT))
    monkeypatch.setattr("vfod.app.rehearse.MOST_BY_SOUND", 1000)
    done = night(by_sound)
    assert not done.by_sound
    assert 1200 == pytest.approx(done.readings_by_sound, rel=0.01)
    assert {"dBm"} == {band.unit for band in done.vfos["main"].bands.values()}


def test_two_vfos_share_a_night() -> None:
    """Each with its own windows; a VFO without one that night is not in it."""
    more = CONFIG.replace(
        "bands:\n",
        """\
  attic: {port: /dev/attic, receiver: [{from: 3M, to: 15M, detector: direct, settle: 1s}]}
  shed: {port: /dev/shed, receiver: [{from: 3M, to: 15M, detector: direct}]}
bands:
""",
        1,
    )
    slow = "  slow: {vfo: attic, bands: [lower], dwell: 9s, hold: off}\n"
    more = more.replace("sweeps:\n", "sweeps:\n" + slow)
    late = '  - {name: late, sweep: slow, from: "20:10", until: "20:30"}\nweb:'
    text = more.replace("web:", late)
    done = night(text)
    assert {"main", "attic"} == set(done.vfos)
    assert 2400 == done.vfos["main"].sweeps["quick"].visits
    assert 1200 // 10 == done.vfos["attic"].sweeps["slow"].visits
    assert "dB" == done.vfos["attic"].bands["lower"].unit


def test_the_night_in_which_the_clocks_go_back() -> None:
    """2026-10-25 in Berlin (directive 2000/84/EC): 22:00 to 06:00 has nine hours."""
    text = CONFIG.replace('"20:00", until: "20:20"', '"22:00", until: "06:00"').replace(
        "dwell: 0.4s, readings: 5", "dwell: 59.9s, readings: 1"
    )
    done = night(text, date(2026, 10, 24))
    assert done.until - done.since == 9 * 3600 + 2 * AROUND
    assert 9 * 60 == done.vfos["main"].sweeps["quick"].visits


def test_nothing_is_written_unless_a_journal_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And that has the night; one that exists is left alone."""
    monkeypatch.chdir(tmp_path)
    night()
    assert [] == list(tmp_path.iterdir())
    journal = tmp_path / "night.sqlite"
    done = night(journal=journal)
    with Reader(journal) as reader:
        assert done.visits == sum(channel.visits for channel in reader.channels())
        assert "window-opened" in {entry.kind for entry in reader.events()}
        assert not any(entry.doubted for entry in reader.events())
    with pytest.raises(UsageError, match="exists already; name a new file"):
        night(journal=journal)


def test_a_scenario_of_ones_own_with_a_hand_in_it() -> None:
    """Its air, box and receiver; somebody turns the knob in the middle: the sweep yields."""
    scenario = parse_scenario(
        """
        box: {output: true}
        stations: [{name: Radio Brackwater, frequency: 7250kHz, power: -50}]
        hand: [{after: 400s, turn: 5}]
        """
    )
    done = night(scenario=scenario)
    quick = done.vfos["main"].sweeps["quick"]
    assert 1 == quick.yields
    assert quick.lost == pytest.approx(600, abs=2)
    assert any("yielded to knob" in text for _, _, text in done.timeline)
    assert 7_250_000 in done.vfos["main"].bands["lower"].active_channels


def test_a_night_without_windows_names_the_next_one() -> None:
    """Only Fridays: from a Wednesday on, the next is the 27th of November 2026."""
    text = CONFIG.replace('until: "20:20"', 'until: "20:20", days: [fri]')
    with pytest.raises(UsageError, match=r"night of 2026-11-25; the next .* 2026-11-27"):
        slots_in(config(text), NIGHT)
    assert ["main"] == list(slots_in(config(text), date(2026, 11, 27)))
    with pytest.raises(UsageError, match="has no windows; describe one"):
        slots_in(config(CONFIG.partition("windows:")[0]), NIGHT)


def test_a_night_long_ago_is_believed() -> None:
    """The clock of a rehearsal is right by definition."""
    done = night(when=date(2020, 6, 1))
    assert 2400 == done.visits
