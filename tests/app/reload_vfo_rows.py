"""Rows of the VFO, its receiver, the place, the bands, and what waits for a restart."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.app.reload_rows import CORNER, EVERY, Check, case, channels
from tests.app.reloading import EVENING, Attended
from vfod import events as e
from vfod import requests as r
from vfod.config.loading import load
from vfod.errors import OutOfRangeError
from vfod.state import SoundPhase


async def refused(it: Attended, dial: int) -> bool:
    """Whether the dial cannot be put there, by the receiver."""
    try:
        await it.ask(r.Tune(frequency=dial))
    except OutOfRangeError:
        return True
    return False


# --- at a restart ---------------------------------------------------------------------------------


async def nothing(it: Attended, answer: dict[str, Any]) -> None:
    await it.until(e.PassCompleted)
    assert "at a restart: " in answer["text"]
    assert "waits for a restart: " in (await it.ask(r.ShowStatus()))["text"]


case("journal.path", ("web: off", "web: off\njournal: {path: other.sqlite}"))(nothing)
case("control.socket", ("group: vfod", "group: vfod, socket: other.sock"))(nothing)
case("control.group", ("group: vfod", "group: dialout"))(nothing)
case("vfos.cellar", ("bands:\n", "  cellar: {port: /dev/cellar}\nbands:\n"))(nothing)
case("vfos.attic", ("  attic: {port: /dev/attic}\n", ""))(nothing)

PORT = "port: /dev/main\n"
SOUND = PORT + "    audio: {program: arecord, device: default, delay: 100ms}\n"
RECORDED = (PORT, SOUND)


# --- the sound ------------------------------------------------------------------------------------


@case("vfos.main.audio", RECORDED)
async def heard_from_now_on(it: Attended, _: dict[str, Any]) -> None:
    """Levels over an unnamed reference, where those of the box were in dBm."""
    assert ["arecord default"] == [event.source for event in it.since(e.AudioHeard)]
    assert {"dB"} == {one.unit for one in await it.visits() if one.level is not None}
    assert SoundPhase.GOOD is it.vfo().sound.phase


@case("vfos.main.audio.program", ("arecord", "parec"), before=(RECORDED,))
@case("vfos.main.audio.device", ("default", "'plughw:0'"), before=(RECORDED,))
async def recorded_anew(it: Attended, _: dict[str, Any]) -> None:
    """The one before ends first; what was learned from it is forgotten."""
    await it.wait(0.1)
    ended, heard = it.since(e.AudioEnded), it.since(e.AudioHeard)
    audio = it.daemon.config.vfos["main"].audio
    assert (["arecord default"], [str(audio)]) == (
        [event.source for event in ended],
        [event.source for event in heard],
    )
    assert it.seen.index(next(s for s in it.seen if s.event is ended[0])) < it.seen.index(
        next(s for s in it.seen if s.event is heard[0])
    )
    observed = [await it.until(e.ChannelObserved) for _ in range(2)]
    assert observed[1].level is not None
    assert observed[1].floor is None


@case("vfos.main.audio.delay", ("100ms", "600ms"), before=(RECORDED,))
async def waited_for_longer(it: Attended, _: dict[str, Any]) -> None:
    """Each of the seven visits, by the difference."""
    await it.until(e.PassCompleted)
    after = await it.until(e.PassCompleted)
    # Each: 300 ms to settle, the delay, 1 s to dwell; the rest is the line's.
    assert 7 * 1.9 <= after.seconds <= 7 * 1.9 + 1


@case("journal.keep", ("web: off", "web: off\njournal: {keep: 400d}"))
async def kept_for_so_long(it: Attended, answer: dict[str, Any]) -> None:
    """By the next piece of the upkeep."""
    assert ["journal.keep"] == answer["when"]["at once"]
    assert 400 * 86400.0 == it.daemon._journal.keeping.keep


# --- the line -------------------------------------------------------------------------------------

ATTIC = "attic: {port: /dev/attic}"


@case("vfos.attic.port", (ATTIC, "attic: {port: /dev/roof}"))
@case("vfos.attic.baud", (ATTIC, "attic: {port: /dev/attic, baud: 9600}"))
@case("vfos.attic.dtr", (ATTIC, "attic: {port: /dev/attic, dtr: off}"))
@case("vfos.attic.rts", (ATTIC, "attic: {port: /dev/attic, rts: leave}"))
async def opened_anew(it: Attended, _: dict[str, Any]) -> None:
    """That line and no other, within a moment."""
    await it.wait(0.2)
    assert it.daemon.vfos["attic"].settings == it.opened[-1]
    assert 3 == len(it.opened)
    assert [1, 1] == [len(it.since(kind, "attic")) for kind in (e.LinkLost, e.LinkGreeted)]
    assert [] == it.since(e.LinkLost)
    await it.until(e.PassCompleted)


# --- the VFO and its receiver ---------------------------------------------------------------------


@case("vfos.main.correction", ("correction: 0ppm", "correction: 10ppm"))
async def corrected(it: Attended, _: dict[str, Any]) -> None:
    """The law of docs/standards.md, section 6: the oscillator divided by 1 + 10e-6."""
    tuned = await it.until(e.DialTuned)
    assert round((tuned.dial + 455_000) * 1000 / 1.00001) == tuned.oscillator


@case(
    "vfos.main.crystal_drives",
    ("correction: 10ppm", "correction: 10ppm\n    crystal_drives: all"),
    before=(("correction: 0ppm", "correction: 10ppm"),),
)
async def corrected_with_all(it: Attended, _: dict[str, Any]) -> None:
    """The dial is divided by 1 + 10e-6, and the intermediate frequency added to that."""
    tuned = await it.until(e.DialTuned)
    assert round((tuned.dial / 1.00001 + 455_000) * 1000) == tuned.oscillator


GENERATOR = (
    "correction: 0ppm",
    "correction: 0ppm\n    synthesiser: {crystal: 25M, loop_from: 600M, loop_to: 900M,"
    " denominator: 1048575, fixed: false, divider: 900, extra: 128}",
)


@case("vfos.main.synthesiser", GENERATOR)
@case("vfos.main.synthesiser.crystal", ("25M", "27M"), before=(GENERATOR,))
@case("vfos.main.synthesiser.loop_from", ("600M", "610M"), before=(GENERATOR,))
@case("vfos.main.synthesiser.loop_to", ("900M", "890M"), before=(GENERATOR,))
@case("vfos.main.synthesiser.denominator", ("1048575", "1000000"), before=(GENERATOR,))
@case("vfos.main.synthesiser.fixed", ("fixed: false", "fixed: true"), before=(GENERATOR,))
@case("vfos.main.synthesiser.divider", ("divider: 900", "divider: 800"), before=(GENERATOR,))
@case("vfos.main.synthesiser.extra", ("extra: 128", "extra: 64"), before=(GENERATOR,))
async def only_explained(it: Attended, _: dict[str, Any]) -> None:
    """The command line reads it when it explains; here it is understood, and the sweep goes on."""
    settings = load(str(it.config)).vfos["main"]
    assert settings.synthesiser is not None
    assert settings.synthesiser == it.daemon.config.vfos["main"].synthesiser
    await it.until(e.PassCompleted)


@case("vfos.main.quiet", ("quiet: 10m", "quiet: 30s"))
async def quieter(it: Attended, _: dict[str, Any]) -> None:
    await it.ask(r.Tune(frequency=7_321_000))
    await it.wait(0.1)
    yielded = it.since(e.SweepYielded)[0]
    assert yielded.until is not None
    assert yielded.until - it.clock.wall() <= 30
    await it.until(e.SweepResumed, limit=31)


@case("vfos.main.output", ("output: leave", "output: windows"))
async def output_off_at_the_end(it: Attended, _: dict[str, Any]) -> None:
    assert it.vfo().output
    await it.until(e.WindowClosed, limit=700)
    assert not it.vfo().output
    it.mark = len(it.seen)


@case("vfos.main.speaker", ("speaker: mute-in-sweeps", "speaker: leave"))
async def heard_again(it: Attended, _: dict[str, Any]) -> None:
    assert [False] == [event.muted for event in it.since(e.SpeakerMuted)]
    await it.until(e.PassCompleted)
    assert it.vfo().muted is False


@case("vfos.main.afterwards", ("afterwards: return", "afterwards: 7.4M"))
async def parked(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.WindowClosed, limit=700)
    assert 7_400_000 == it.vfo().dial
    it.mark = len(it.seen)


DECIBELS = "{0: 0dB, 4095: 120dB}"


@case("vfos.main.level_table", ("{0: -130dBm, 4095: -10dBm}", DECIBELS))
@case(
    "vfos.main.receiver.1.level_table",
    ("settle: 300ms", f"settle: 300ms\n        level_table: {DECIBELS}"),
)
async def other_levels(it: Attended, _: dict[str, Any]) -> None:
    """What was learned of the floor in the other unit is forgotten."""
    await it.until(e.PassCompleted)
    observed = it.since(e.ChannelObserved)
    assert {"dB"} == {one.unit for one in observed}
    assert observed[0].level is not None
    assert 0 < observed[0].level < 120
    assert observed[0].floor is None


@case("vfos.main.level_from", (PORT, PORT + "    level_from: none\n"))
async def nothing_measured(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.PassCompleted)
    assert {None} == {one.level for one in it.since(e.ChannelObserved)}


def oscillator(of: Callable[[int], float]) -> Check:
    async def check(it: Attended, _: dict[str, Any]) -> None:
        """The law of docs/standards.md, section 6, at the very next visit."""
        tuned = await it.until(e.DialTuned)
        assert of(tuned.dial) == tuned.oscillator / 1000

    return check


case(
    "vfos.main.receiver.1.intermediate_frequency",
    ("intermediate_frequency: 455k", "intermediate_frequency: 460k"),
)(oscillator(lambda dial: dial + 460_000))
case("vfos.main.receiver.1.injection", ("injection: high", "injection: low"))(
    oscillator(lambda dial: dial - 455_000)
)
case(
    "vfos.main.receiver.1.oscillator_per_mixer",
    ("oscillator_per_mixer: 1", "oscillator_per_mixer: 2"),
)(oscillator(lambda dial: 2 * (dial + 455_000)))
case("vfos.main.receiver.1.offset", ("settle: 300ms", "settle: 300ms\n        offset: 100Hz"))(
    oscillator(lambda dial: dial + 100 + 455_000)
)
case("vfos.main.receiver.1.detector", ("detector: envelope", "detector: product"))(
    oscillator(lambda dial: dial - 1_000 + 455_000)
)
case(
    "vfos.main.receiver",
    (
        "      - from: 150k\n        to: 30M\n        detector: envelope\n"
        "        intermediate_frequency: 455k\n        injection: high\n"
        "        oscillator_per_mixer: 1\n        select: 1\n        settle: 300ms\n",
        "",
    ),
    ("    receiver:\n", ""),
)(oscillator(lambda dial: dial))


@case("vfos.main.receiver.1.from", ("from: 150k", "from: 200k"))
async def shorter_below(it: Attended, _: dict[str, Any]) -> None:
    assert await refused(it, 180_000)


@case("vfos.main.receiver.1.to", ("to: 30M", "to: 25M"))
async def shorter_above(it: Attended, _: dict[str, Any]) -> None:
    assert await refused(it, 27_000_000)
    assert not await refused(it, 24_000_000)


@case(
    "vfos.main.receiver.2",
    ("settle: 300ms\n", "settle: 300ms\n      - {from: 30M, to: 40M, detector: direct}\n"),
)
async def one_range_more(it: Attended, _: dict[str, Any]) -> None:
    assert not await refused(it, 35_000_000)


@case("vfos.main.receiver.1.select", ("select: 1", "select: 2"))
async def other_filter(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.DialTuned)
    assert [2] == [event.select for event in it.since(e.FilterSelected)]


@case("vfos.main.receiver.1.settle", ("settle: 300ms", "settle: 700ms"))
async def slower_at_the_next_visit(it: Attended, _: dict[str, Any]) -> None:
    await it.until(e.ChannelObserved)
    began = it.clock.monotonic()
    await it.until(e.ChannelObserved)
    assert 1.7 == pytest.approx(it.clock.monotonic() - began, abs=0.01)


@case("vfos", (f"  {ATTIC}\n", ""), ("vfos:\n", f"vfos:\n  {ATTIC}\n"), before=(
    ("friends: {", "friends: {vfo: main, "), ("evening: {", "evening: {vfo: main, "),
))  # fmt: skip
async def another_is_meant(it: Attended, _: dict[str, Any]) -> None:
    """Where nobody names a VFO, it is the first one of the file."""
    assert "attic" == (await it.ask(r.Tune(frequency=9_420_000)))["vfo"]


@case(
    "vfos.main.own_signals",
    ("afterwards: return", "afterwards: return\n    own_signals: [7210k]"),
)
async def hears_itself(it: Attended, _: dict[str, Any]) -> None:
    """Of that channel activity is not known any more, from the next pass on."""
    await it.until(e.SweepChanged)
    assert [None] == [one.active for one in await it.visits() if one.dial == 7_210_000]


# --- place and bands ------------------------------------------------------------------------------


@case("place.zone", ("zone: UTC", "zone: Europe/Berlin"), before=(("18:40}", "20:00}"),))
async def an_hour_earlier(it: Attended, _: dict[str, Any]) -> None:
    """18:00 in Berlin in winter is 17:00 UTC (IANA time zone database)."""
    await it.until(e.PassCompleted)
    assert EVENING + 1800 == it.vfo().window.closes


@case("place.latitude", ("latitude: 52.5", "latitude: 53.5"))
@case("place.longitude", ("longitude: 13.4", "longitude: 14.4"))
async def elsewhere(it: Attended, _: dict[str, Any]) -> None:
    """No window of this file goes by the sun: the place is another one, and the sweep goes on."""
    place = load(str(it.config)).place
    assert (52.5, 13.4) != (place.latitude, place.longitude)
    assert place == it.daemon.config.place
    await it.until(e.PassCompleted)


@case("stations", ("\nsweeps:", "\nstations: mine.csv\nsweeps:"))
async def another_list(it: Attended, answer: dict[str, Any]) -> None:
    """For the next report; the sweep goes on."""
    await it.until(e.PassCompleted)


@case("place.region", ("region: 1", "region: 2"), before=(
    ("bands: [corner]", "bands: [41m], raster: 50k"),
))  # fmt: skip
async def the_band_of_another_region(it: Attended, _: dict[str, Any]) -> None:
    """41 m is 7200 to 7450 kHz in Region 1 and 7300 to 7400 in Region 2 (docs/standards.md)."""
    listed = {band["name"]: band for band in (await it.ask(r.ListBands()))["bands"]}
    assert (7_300_000, 7_400_000) == (listed["41m"]["low"], listed["41m"]["high"])
    await it.until(e.PassCompleted)
    assert 7_450_000 == max(one.dial for one in it.since(e.ChannelObserved))
    assert [7_300_000, 7_350_000, 7_400_000] == [one.dial for one in await it.visits()]


case("bands.corner.from", ("from: 7200k", "from: 7210k"))(channels(*EVERY[2:]))
case("bands.corner.to", ("to: 7230k", "to: 7240k"))(channels(*EVERY, 7235, 7240))
case("bands.corner.raster", ("raster: 5k", "raster: 10k"))(channels(*EVERY[::2]))


@case("bands.41m", (CORNER, f"{CORNER}\n  41m: {{from: 7300k, to: 7350k}}"), before=(
    ("bands: [corner]", "bands: [41m], raster: 50k"),
))  # fmt: skip
async def a_band_of_ones_own(it: Attended, _: dict[str, Any]) -> None:
    """It goes before the one of the table."""
    await it.ask(r.GoToBand(band="41m"))
    assert 7_300_000 == it.vfo().dial
    await it.ask(r.Resume())
    assert [7_300_000, 7_350_000] == [one.dial for one in await it.visits()]
