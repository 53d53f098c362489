"""`vfod agenda`: the windows ahead, from the daemon, or without one from the configuration."""

import sys
from typing import Any

from vfod.cli.explain import vfo_of
from vfod.cli.ics import calendar
from vfod.cli.parser import Parser
from vfod.cli.setting import call, configuration, now, print_json
from vfod.config.model import Config
from vfod.errors import DaemonAbsentError, UsageError

#: As far as the daemon looks ahead.
_MOST_DAYS = 400


def agenda(words: list[str]) -> int:
    """Print the agenda."""
    parser = Parser(
        "agenda",
        "The windows of the coming days with their sweeps, in local time and UTC, as the daemon\n"
        "keeps them; without a daemon, or with --config, as the configuration has them.",
        "vfod agenda --days 2",
        "vfod agenda --days 60 --ics > windows.ics",
    )
    parser.add_number(
        "--days", least=1, most=_MOST_DAYS, like=7, default=7, help="how many days; default 7"
    )
    parser.add_argument("--vfo", metavar="NAME", help="of one VFO only")
    parser.add_config()
    parser.add_socket()
    parser.add_json()
    parser.add_argument(
        "--ics", action="store_true", help="print iCalendar (RFC 5545), for any calendar"
    )
    given = parser.parse_args(words)
    if given.ics and given.json:
        raise UsageError("--ics and --json are two answers", remedy="take one of them")
    found = _ask(given.socket, given.days, given.vfo) if not given.config else None
    if found is None:
        found = from_configuration(configuration(given.config), given.days, given.vfo, now())
    if given.ics:
        # As bytes: iCalendar is UTF-8 with line ends of its own, whatever the terminal is.
        sys.stdout.flush()
        sys.stdout.buffer.write(calendar(found["windows"], now()))
        sys.stdout.buffer.flush()
    elif given.json:
        print_json(found)
    else:
        print(found["text"])
    return 0


def _ask(socket: str | None, days: int, vfo: str | None) -> dict[str, Any] | None:
    try:
        return call(socket, "agenda", days=days, **({"vfo": vfo} if vfo else {}))
    except DaemonAbsentError:
        if socket:
            raise
        return None


def from_configuration(config: Config, days: int, vfo: str | None, when: float) -> dict[str, Any]:
    """What a daemon with this configuration would answer."""
    # Imported here, because it brings the whole daemon with it.
    from vfod.app.front import agenda_of
    from vfod.app.vfo import windows_of

    names = [vfo_of(config, vfo).name] if vfo is not None else config.vfos
    return agenda_of({name: windows_of(config, name) for name in names}, days, when)
