"""Which file each verb is in; it is imported when the verb is used.

What describes all verbs is handed the way to ask each of them, so that it need not know this file.
"""

import sys
from typing import TYPE_CHECKING

from vfod.cli.overview import SUMMARY, overview
from vfod.errors import UsageError

if TYPE_CHECKING:
    from vfod.cli.description import Description


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

            return service(words, described)
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

            return completion(words, described)
        case "manual":
            from vfod.cli.manual import manual

            return manual(words, described)
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


def described() -> "list[Description]":
    """How each verb describes itself."""
    from vfod.cli.description import everything

    return everything(carry_out)


def _unknown(verb: str) -> UsageError:
    import difflib

    near = difflib.get_close_matches(verb.lower(), SUMMARY, n=2)
    meant = f"did you mean {' or '.join(near)}?" if near else "`vfod --help` lists the verbs"
    return UsageError(f"there is no verb {verb[:40]!r}", remedy=meant)
