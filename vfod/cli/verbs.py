"""Every verb with its one line, and the file it is in, which is imported when it is used."""

import sys

from vfod.errors import UsageError

#: In the order in which a listener meets them.
SUMMARY = {
    "demo": "everything once with a simulated VFO, a minute and a half",
    "serve": "run the daemon",
    "check": "look through the configuration and say what it amounts to",
    "config": "the configuration's schema, or the configuration as it was understood",
    "reload": "let the daemon go by the configuration as it is written now",
    "doctor": "why the VFO cannot be reached, and what to do about it",
    "conform": "whether a VFO speaks the line protocol right, point by point",
    "firmware": "what a VFO's firmware needs, in C, put into your project",
    "simulate": "a simulated VFO with invented stations on the air",
    "status": "where the dial is and what the sweep does",
    "tune": "move the dial to a frequency",
    "nudge": "move the dial by a step or a difference",
    "step": "set what one click of the knob and one nudge is",
    "band": "go to a band by name, up or down; list the bands",
    "output": "switch the oscillator's output on or off",
    "mute": "mute the speaker or release it",
    "sweep": "start, stop or list sweeps; skip a channel",
    "stay": "let the sweep wait, for a while or until resume",
    "resume": "let a sweep that waits go on",
    "watch": "go to a station of your list by its name and stay with it; who is on now",
    "note": "write into the log what was heard; time, dial, level and band are added",
    "calibrate": "the error of the VFO's crystal, against a standard-frequency carrier",
    "level": "what the counts of the level detector mean, and how long it takes to settle",
    "drift": "how the error of the crystal went on, over time and with temperature",
    "spurs": "what the receiver may hear that is not there, and what it hears of itself",
    "agenda": "the windows of the coming days",
    "plan": "what a sweep does and what it can tell, before anything moves",
    "rehearse": "a whole night in a minute or two, before it comes",
    "night": "the night as it was: a summary, a page, a picture",
    "nights": "many nights: band by hour, by the clock and by the sun",
    "journal": "what happened, and what was heard on which channel",
    "service": "let it run by itself: the files of the service, a name for the VFO's port",
    "completion": "let the shell complete verbs, options and names",
    "manual": "the manual page",
}

ABOUT = """\
vfod tunes, sweeps and keeps the journal of a home-built VFO and its receiver.

usage: vfod VERB ...
"""
MORE = """
Each verb tells more, with an example: vfod VERB --help.
A bare number is kilohertz; other units are written: 9.42M, 7200.5k, 9420000Hz.
"""


def overview() -> str:
    """What `vfod --help` prints."""
    lines = [f"  {verb:<11}{says}" for verb, says in SUMMARY.items()]
    return "\n".join([ABOUT, *lines, MORE])


def run(argv: list[str]) -> int:
    """Carry out the words after `vfod`; gives the exit code. Raises VfodError."""
    match argv:
        case []:
            print(overview(), end="", file=sys.stderr)
            return UsageError.exit_code
        case ["-h" | "--help" | "help"]:
            print(overview(), end="")
            return 0
        case ["help", verb, *_]:
            return run([verb, "--help"])
        case ["-V" | "--version" | "version"]:
            from vfod import __version__

            print(f"vfod {__version__}")
            return 0
    verb, words = argv[0], argv[1:]
    if verb not in SUMMARY:
        raise _unknown(verb)
    return carry_out(verb, words)


def carry_out(verb: str, words: list[str]) -> int:
    """Carry out a verb of SUMMARY; gives the exit code."""
    match verb:
        case "demo":
            from vfod.cli.demo import demo

            return demo(words)
        case "serve":
            from vfod.cli.serve import serve

            return serve(words)
        case "check":
            from vfod.cli.configuration import check

            return check(words)
        case "config":
            from vfod.cli.configuration import config

            return config(words)
        case "doctor":
            from vfod.cli.doctor import doctor

            return doctor(words)
        case "conform":
            from vfod.cli.conform import conform

            return conform(words)
        case "firmware":
            from vfod.cli.firmware import firmware

            return firmware(words)
        case "simulate":
            from vfod.cli.simulate import simulate

            return simulate(words)
        case "night":
            from vfod.cli.night import night

            return night(words)
        case "nights":
            from vfod.cli.nights import nights

            return nights(words)
        case "watch":
            from vfod.cli.station import watch as watch_station

            return watch_station(words)
        case "note":
            from vfod.cli.note import note

            return note(words)
        case "service":
            from vfod.cli.service import service

            return service(words)
        case "calibrate":
            from vfod.cli.calibrate import calibrate

            return calibrate(words)
        case "spurs":
            from vfod.cli.spurs import spurs

            return spurs(words)
        case "level":
            from vfod.cli.level import level

            return level(words)
        case "drift":
            from vfod.cli.drift import drift

            return drift(words)
        case "completion":
            from vfod.cli.completion import completion

            return completion(words)
        case "manual":
            from vfod.cli.manual import manual

            return manual(words)
        case "agenda":
            from vfod.cli.agenda import agenda

            return agenda(words)
        case "plan":
            from vfod.cli.plan import plan

            return plan(words)
        case "rehearse":
            from vfod.cli.rehearse import rehearse

            return rehearse(words)
        case "journal" if words[:1] == ["export"]:
            from vfod.cli.export import export

            return export(words[1:])
        case "journal" if words[:1] in (["backup"], ["check"], ["repair"]):
            from vfod.cli.care import care

            return care(words)
        case "journal":
            from vfod.cli.journal import journal

            return journal(words)
        case "sweep" if words[:1] == ["list"]:
            from vfod.cli.plan import sweep_list

            return sweep_list(words[1:])
        case "tune" if "--explain" in words:
            from vfod.cli.explain import tune_explained

            return tune_explained(words)
        case "status" if "--watch" in words:
            from vfod.cli.watch import watch

            return watch(words)
    from vfod.cli.quick_help import HELP

    print(HELP[verb], end="")
    return 0


def _unknown(verb: str) -> UsageError:
    import difflib

    near = difflib.get_close_matches(verb.lower(), SUMMARY, n=2)
    meant = f"did you mean {' or '.join(near)}?" if near else "`vfod --help` lists the verbs"
    return UsageError(f"there is no verb {verb[:40]!r}", remedy=meant)
