"""`vfod journal backup`, `check` and `repair`: the care of the journal's file."""

import shlex
from collections.abc import Iterable
from datetime import tzinfo
from pathlib import Path

from vfod.cli.night import progress
from vfod.cli.parser import Parser
from vfod.cli.replacing import live_beside, replacing, ways
from vfod.cli.setting import configuration_if_any, journal_path, local_text, now, zone_of
from vfod.errors import AlreadyRunningError, StoreError
from vfod.store.backup import Done, backup
from vfod.store.check import check
from vfod.store.repair import Table, repair

#: Tables as a person calls what is in them.
_CALLED = {
    "runs": "runs of the daemon",
    "channels": "channels",
    "nights": "nights summed up",
    "events": "events",
    "observations": "observations",
    "channel_nights": "sums of a channel and night",
    "band_hours": "sums of a band and hour",
}
#: Gaps that are told.
_MOST = 10

#: Keys beyond this are no times of a journal, milliseconds: the year 2100.
_NO_TIME = 4_102_444_800_000


def care(words: list[str]) -> int:
    """Carry out `backup`, `check` or `repair`."""
    match words[0]:
        case "backup":
            return _backup(words[1:])
        case "check":
            return _check(words[1:])
    return _repair(words[1:])


def _parser(verb: str, says: str, *examples: str) -> Parser:
    parser = Parser(f"journal {verb}", says, *examples)
    parser.add_argument("--journal", metavar="FILE", help="the file; default as for the daemon")
    parser.add_config()
    return parser


def _backup(words: list[str]) -> int:
    parser = _parser(
        "backup",
        "Copy the journal while the daemon writes it: as it is at one moment, whole or not at all.",
        "vfod journal backup /media/stick/journal.sqlite",
    )
    parser.add_argument("file", metavar="FILE", help="the copy")
    parser.add_argument("--overwrite", action="store_true", help="also where there is such a file")
    given = parser.parse_args(words)
    path = journal_path(given.journal, configuration_if_any(given.config))
    size = backup(path, Path(given.file), overwrite=given.overwrite, progress=_done("copying"))
    print(f"written: {given.file}, {size / 1e6:.1f} MB")
    return 0


def _check(words: list[str]) -> int:
    parser = _parser(
        "check",
        "Look the journal through: is the file sound, do its tables fit together, can it be so?\n"
        "Reads only, also while the daemon writes. Exit code 0 where nothing was found, 7 where\n"
        "the file is damaged, 1 for the rest.",
        "vfod journal check",
    )
    given = parser.parse_args(words)
    path = journal_path(given.journal, configuration_if_any(given.config))
    found = check(path, now(), _done("looking"))
    for finding in found:
        print(finding.says)
    if any(finding.damage for finding in found):
        how = ways(path)
        print("what can be read of it is read into a fresh file, which takes its place, by:")
        _commands([*how.stop, _again(path), *(how.start if how.stop else ())])
        return StoreError.exit_code
    if not found:
        print(f"{path} is sound")
    return int(bool(found))


def _repair(words: list[str]) -> int:
    parser = _parser(
        "repair",
        "Read what can be read of a damaged journal into a fresh one, which takes its place. The\n"
        "damaged file is kept under another name. The daemon must not be running on it; a file\n"
        "that the daemon has set aside is repaired beside it by its name. At the end the commands\n"
        "are told by which the daemon goes on with it.",
        "vfod journal repair --journal journal.set-aside-20261125T200000Z.sqlite",
    )
    given = parser.parse_args(words)
    config = configuration_if_any(given.config)
    path = journal_path(given.journal, config)
    try:
        done = repair(path, now(), _done("reading"))
    except AlreadyRunningError as error:
        how = ways(path)
        commands = "`, `".join([*how.stop, _again(path), *how.start])
        raise AlreadyRunningError(error.message, remedy=f"stop it first: `{commands}`") from None
    for table in done.tables:
        print(f"{table.read:>10}  {_CALLED[table.name]}{_lost(table)}")
    for table in done.tables:
        if table.name == "observations":
            zone = zone_of(config)
            for first, last in table.gaps[:_MOST]:
                print(f"lost: observations {_between(first, last, zone)}")
    print("nothing was lost" if done.whole else "the rest could not be read")
    print(f"written: {path}; the file as it was: {done.kept_as}")
    _tell_next(path)
    return 0


def _tell_next(path: Path) -> None:
    live = live_beside(path)
    if live is None:
        print("it is in its place; to start the daemon again:")
        _commands(ways(path).start)
        return
    commands, kept = replacing(path, live)
    print(f"to go on with it in the place of {live}, which was begun since:")
    _commands(commands)
    if kept is not None:
        print("what was written since is kept and can be read:")
        _commands([f"vfod journal --journal {shlex.quote(str(kept))}"])


def _again(path: Path) -> str:
    return f"vfod journal repair --journal {shlex.quote(str(path))}"


def _commands(commands: Iterable[str]) -> None:
    for command in commands:
        print(f"  {command}")


def _lost(table: Table) -> str:
    count = len(table.gaps)
    says = f", with {count} {'gap' if count == 1 else 'gaps'}" if count else ""
    return says + (f", {table.orphans} more belong to nothing" if table.orphans else "")


def _between(first: int, last: int, zone: tzinfo | None) -> str:
    """The stretch of time between two keys; a gap at an end has no bound there."""
    bounds = []
    for word, key in (("from", first), ("to", last)):
        if abs(key) < _NO_TIME:
            bounds.append(f"{word} {local_text(key / 1000, zone)}")
    return " ".join(bounds) or "of any time"


def _done(what: str) -> Done:
    def done(part: float) -> None:
        progress(what, part)

    return done
