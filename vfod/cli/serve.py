"""`vfod serve`: find the files, set up the log, let the daemon live."""

import asyncio
import logging
from argparse import Namespace
from pathlib import Path

from vfod.cli.log import is_journal, set_up_log
from vfod.cli.parser import Parser
from vfod.cli.setting import environment
from vfod.config.loading import load
from vfod.config.places import find_config, journal_places, socket_places, to_make
from vfod.errors import ConfigError, UsageError, VfodError

_LEVELS = ("error", "warning", "info", "debug")

_log = logging.getLogger("vfod")


def serve(words: list[str]) -> int:
    """Run the daemon until SIGTERM or SIGINT."""
    parser = Parser(
        "serve",
        "Run the daemon. It ends in good order on SIGTERM or Ctrl-C.\n\n"
        "The control socket: --socket, $VFOD_SOCKET, control.socket of the configuration,\n"
        "$RUNTIME_DIRECTORY/control.sock, /run/vfod/control.sock,\n"
        "$XDG_RUNTIME_DIR/vfod/control.sock; the first that can be made.\n\n"
        "The journal: --journal, $VFOD_JOURNAL, journal.path of the configuration,\n"
        "$STATE_DIRECTORY/journal.sqlite, /var/lib/vfod/journal.sqlite,\n"
        "$XDG_STATE_HOME/vfod/journal.sqlite (~/.local/state/vfod/journal.sqlite); the same.",
        "vfod serve --config vfod.yaml",
    )
    parser.add_config()
    parser.add_argument("--socket", metavar="PATH", help="the control socket, see above")
    parser.add_argument("--journal", metavar="FILE", help="the journal, see above")
    parser.add_argument(
        "--log",
        metavar="LEVEL",
        choices=_LEVELS,
        default="info",
        help=f"what is logged to the standard error: {', '.join(_LEVELS)}; default info",
    )
    given = parser.parse_args(words)
    set_up_log(given.log, environment())
    try:
        _live(given)
    except VfodError as error:
        if not is_journal(environment()):
            raise
        # Plain text on the standard error would be no error to the service manager's journal.
        for says in error.complaints if isinstance(error, ConfigError) else [error]:
            _log.error("%s", says, extra={"incident": str(says)})
        return error.exit_code
    except Exception as error:  # in one line, that a log of the service stays one of lines
        _log.error("a defect of vfod itself ended the daemon", exc_info=error)
        return VfodError.exit_code
    _log.info("ended in good order")
    return 0


def _live(given: Namespace) -> None:
    # Absolute, because the complaints of a reload are read where another folder is the present one.
    config = load(str(Path(find_config(given.config, environment())).absolute()))
    socket = given.socket or to_make(socket_places(environment(), config.control.socket))
    journal = given.journal or to_make(journal_places(environment(), config.journal))
    for path in (socket, journal):
        _make_directory(path)
    _log.info("configuration %s, control socket %s, journal %s", config.path, socket, journal)
    # Imported late: it brings everything, and a mistake above shall be told at once.
    from vfod.app import ServiceManager
    from vfod.app import serve as live

    notify = ServiceManager.named_in(environment())
    asyncio.run(live(config, socket_path=socket, journal_path=journal, notify=notify))


def _make_directory(path: str) -> None:
    try:
        Path(path).parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"there can be no {path}: {error.strerror}", remedy="name another place for it"
        ) from None
