"""A new configuration while the daemon runs: what is told of it, and what is left alone.

What each key does is in test_reload_table.py.
"""

import asyncio
from pathlib import Path

import pytest

from tests.app.reloading import BASE, SHELL, Swap, attended
from vfod import events as e
from vfod import requests as r
from vfod.config.loading import load
from vfod.errors import ConfigError, RefusedError

JOURNAL: Swap = ("web: off", "web: off\njournal: {path: other.sqlite}")


async def test_a_bad_file_changes_nothing_and_says_why(tmp_path: Path) -> None:
    """Every mistake with its place to whoever asked; the sweep goes on as it was."""
    async with attended(tmp_path) as it:
        before = it.daemon.stream.state
        with pytest.raises(ConfigError) as refused:
            await it.reload(("dwell: 1s, readings: 4", "dwell: 1, readings: 4000"), ("to: 30M", ""))
        assert 3 == len(refused.value.complaints)
        assert all(one.startswith(f"{it.config}:") for one in refused.value.complaints)
        (told,) = it.since(e.ConfigRefused)
        assert (3, tuple(refused.value.complaints), SHELL) == (
            told.mistakes,
            told.complaints,
            told.by,
        )
        await it.until(e.PassCompleted)
        done = await it.until(e.PassCompleted)
        assert (2, 7) == (done.number, done.visits)
        state = it.daemon.stream.state
        assert before.config_digest == state.config_digest
        assert state.config_refused
        says = "the configuration file has mistakes and is not in force; see vfod check"
        assert says == (await it.ask(r.ShowStatus()))["text"].splitlines()[-1]
        it.config.write_text(BASE)
        await it.reload()
        assert not it.daemon.stream.state.config_refused
    assert f"the configuration stays as it was, its file has 3 mistakes: {it.config}:" in "".join(
        it.written()
    )


async def test_a_file_that_is_gone_changes_nothing(tmp_path: Path) -> None:
    """It cannot be read, and that is said."""
    async with attended(tmp_path) as it:
        it.config.unlink()
        with pytest.raises(ConfigError, match=r"vfod\.yaml: there is no such file"):
            await it.ask(r.Reload())


async def test_the_digest_in_force_is_told_everywhere(tmp_path: Path) -> None:
    """In the answer, the state, the journal and the metrics."""
    async with attended(tmp_path) as it:
        await it.reload(("dwell: 1s, readings: 4", "dwell: 2s, readings: 4"))
        digest = load(str(it.config)).digest
        assert digest == it.daemon.stream.state.config_digest
        assert digest == (await it.ask(r.ShowStatus()))["config_digest"]
        page = it.daemon.metrics.render("")[0].decode()
        assert f'vfod_config_info{{digest="{digest}"}} 1.0' in page
        assert "vfod_config_last_reload_successful 1.0" in page
        assert "vfod_config_waiting_keys 0.0" in page
        assert 1 == page.count("vfod_config_info{")
    assert f"configuration {digest} is in force, changed: sweeps.evening.dwell" in it.written()


async def test_nothing_changed(tmp_path: Path) -> None:
    """Said so; another spacing, and what is the default anyway, are no changes."""
    async with attended(tmp_path) as it:
        answer = await it.reload(
            ("dwell: 1s, readings: 4", "dwell:   1000ms, readings: 4"),
            ("hold: off}\nwindows", "hold: off, order: up}\nwindows"),
        )
        assert ([], {}) == (list(answer["data"]["changed"]), answer["when"])
        assert answer["text"].endswith("is in force, nothing changed")
        await it.until(e.PassCompleted)
        assert [] == it.since(e.SweepChanged)


async def test_what_waits_is_remembered_and_forgotten(tmp_path: Path) -> None:
    """Over later reloads, until the file says again what is in force."""
    async with attended(tmp_path) as it:
        await it.reload(JOURNAL)
        assert ("journal.path",) == it.daemon.stream.state.config_waiting
        answer = await it.reload(("quiet: 10m", "quiet: 5m"))
        assert ["vfos.main.quiet"] == list(answer["data"]["changed"])
        assert ["journal.path"] == list(answer["data"]["waiting"]) == answer["when"]["at a restart"]
        assert "vfod_config_waiting_keys 1.0" in it.daemon.metrics.render("")[0].decode()
        answer = await it.reload(JOURNAL[::-1])
        assert ["journal.path"] == answer["when"]["at once"]
        assert not it.daemon.stream.state.config_waiting


async def test_a_vfo_that_is_not_there_yet_waits_with_all_its_keys(tmp_path: Path) -> None:
    """What is changed of it afterwards waits too; its sweeps and windows are in the file only."""
    cellar = "  cellar: {port: /dev/cellar}\nbands:\n"
    async with attended(tmp_path) as it:
        await it.reload(
            ("bands:\n", cellar),
            ("evening: {bands", "below: {bands: [41m], vfo: cellar}\n  evening: {bands"),
        )
        answer = await it.reload(("/dev/cellar", "/dev/pit"))
        assert {"at a restart": ["vfos.cellar.port", "vfos.cellar"]} == answer["when"]
        await it.until(e.PassCompleted)
        with pytest.raises(Exception, match="there is no VFO 'cellar'"):
            await it.ask(r.StartSweep(sweep="below"))


async def test_a_vfo_that_is_gone_from_the_file_stays_without_its_sweeps(tmp_path: Path) -> None:
    """Its line is open until the restart; put back, it goes by the file again."""
    attic = "  attic: {port: /dev/attic}\n"
    async with attended(tmp_path) as it:
        await it.reload((attic, ""))
        assert "attic" == (await it.daemon.front.submit(_tune("attic")))["vfo"]
        await it.reload(("bands:\n", "  attic: {port: /dev/roof}\nbands:\n"))
        assert () == it.daemon.stream.state.config_waiting
        await it.wait(1)
        assert "/dev/roof" == it.daemon.vfos["attic"].settings.port == it.opened[-1].port


def _tune(vfo: str) -> r.Asked:
    return r.Asked(request=r.Tune(frequency=9_420_000), origin=SHELL, vfo=vfo)


async def test_both_a_sweep_and_the_receiver_changed(tmp_path: Path) -> None:
    """The receiver at the next visit of the pass under way, the sweep in the pass after it."""
    async with attended(tmp_path) as it:
        await it.reload(
            ("intermediate_frequency: 455k", "intermediate_frequency: 460k"),
            ("dwell: 1s, readings: 4", "order: down, dwell: 1s, readings: 4"),
        )
        await it.until(e.PassCompleted)
        tuned = it.since(e.DialTuned)
        assert [7205, 7210, 7215, 7220, 7225, 7230] == [one.dial // 1000 for one in tuned]
        assert {460_000_000} == {one.oscillator - 1000 * one.dial for one in tuned}
        assert 7230 == (await it.until(e.DialTuned)).dial // 1000


async def test_a_sweep_that_cannot_run_any_more_ends_with_the_reason(tmp_path: Path) -> None:
    """The file is sound, but the box does not reach so far; mended, the window starts it again."""
    far = ("bands: [corner], dwell", "channels: [61M], dwell")
    async with attended(tmp_path, ("to: 30M", "to: 70M")) as it:
        await it.reload(far)
        await it.wait(1)
        (ended,) = it.since(e.SweepEnded)
        assert "not possible by the new configuration: " in ended.reason
        assert 1 == len(it.since(e.SweepRefused))
        await it.reload(far[::-1])
        assert ["evening"] == [event.sweep for event in it.since(e.SweepStarted)]


async def test_a_sweep_a_person_stopped_stays_so(tmp_path: Path) -> None:
    """A reload is no reason to start it again in the same window, by whatever times."""
    async with attended(tmp_path) as it:
        await it.ask(r.StopSweep())
        await it.reload(("until: 18:40", "until: 18:50"))
        await it.wait(600)
        assert [] == it.since(e.SweepStarted)


async def test_a_sweep_that_yields_goes_on_by_the_new_description(tmp_path: Path) -> None:
    """A person has the dial meanwhile, and keeps it."""
    async with attended(tmp_path) as it:
        await it.ask(r.Tune(frequency=7_333_000))
        await it.reload(
            ("intermediate_frequency: 455k", "intermediate_frequency: 460k"),
            ("speaker: mute-in-sweeps", "speaker: leave"),
        )
        await it.wait(60)
        assert [] == it.since(e.DialTuned) + it.since(e.SweepEnded)
        await it.ask(r.Resume())
        tuned = await it.until(e.DialTuned)
        assert 460_000_000 == tuned.oscillator - 1000 * tuned.dial
        await it.until(e.ChannelObserved)
        assert it.vfo().muted is False


@pytest.mark.parametrize(
    ("before", "after", "is_on"), [("leave", "on", True), ("on", "windows", False)]
)
async def test_the_output_policy_outside_a_window(
    before: str, after: str, is_on: bool, tmp_path: Path
) -> None:
    """`on` is on at once, `windows` is off at once where none is open."""
    swaps = ("output: leave", f"output: {before}"), ("from: 18:00", "from: 18:29")
    async with attended(tmp_path, *swaps) as it:
        await it.ask(r.SwitchOutput(on=False))
        if before == "on":
            await it.ask(r.SwitchOutput(on=True))
        await it.reload(("from: 18:29, until: 18:40", "from: 19:00, until: 19:10"))
        await it.wait(1)
        await it.reload((f"output: {before}", f"output: {after}"))
        await it.wait(1)
        assert is_on is it.vfo().output


async def test_the_speaker_is_released_before_the_line_is_opened_anew(tmp_path: Path) -> None:
    """What the old line has to carry goes first."""
    async with attended(tmp_path) as it:
        await it.reload(
            ("speaker: mute-in-sweeps", "speaker: leave"), ("baud: 115200", "baud: 9600")
        )
        await it.until(e.SweepResumed)
        assert it.vfo().muted is False
        assert [False] == [event.muted for event in it.since(e.SpeakerMuted)]


async def test_a_line_that_is_away_is_looked_for_elsewhere_at_once(tmp_path: Path) -> None:
    """A pause that has grown to ten seconds does not delay the right port."""
    async with attended(tmp_path) as it:
        it.ports["attic"].unplug()
        await it.wait(300)
        it.ports["attic"].plug()
        await it.reload(("port: /dev/attic", "port: /dev/roof"))
        await it.until(e.LinkGreeted, vfo="attic", limit=0.2)


async def test_reloads_that_come_together_are_carried_out_in_turn(tmp_path: Path) -> None:
    """Each is answered with its own event."""
    async with attended(tmp_path) as it:
        answers = await asyncio.gather(*(it.ask(r.Reload()) for _ in range(5)))
        assert 5 == len({answer["sequence"] for answer in answers})


async def test_automation_does_not_reload(tmp_path: Path) -> None:
    """Whoever reaches the broker is not asked for the file."""
    async with attended(tmp_path) as it:
        with pytest.raises(RefusedError, match="use `vfod reload`"):
            await it.ask(r.Reload(), e.Origin(door=e.Door.MQTT))


async def test_the_signal_has_no_caller(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """One line in the log, with the mistakes; one for a file that is taken."""
    caplog.set_level("INFO", "vfod")
    async with attended(tmp_path) as it:
        by = e.Origin(door=e.Door.DAEMON, who="SIGHUP")
        it.config.write_text(BASE.replace("dwell: 1s, readings: 4", "dwell: 1, readings: 4000"))
        await it.daemon.reload(by)
        it.config.write_text(BASE.replace("quiet: 10m", "quiet: 5m"))
        await it.daemon.reload(by)
        await it.wait(1)
        lines = [(record.levelname, record.getMessage()) for record in caplog.records]
    assert ["ERROR", "INFO"] == [level for level, _ in lines]
    (_, refused), (_, taken) = lines
    assert 2 == refused.count(f"{it.config}:")
    assert "\n" not in refused
    assert "is in force, changed: vfos.main.quiet" in taken
