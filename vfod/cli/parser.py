"""The parser of the verbs that have options of their own: argparse, with errors of our own tree."""

import argparse
from typing import NoReturn

from vfod.errors import UsageError


class Parser(argparse.ArgumentParser):
    """A verb's parser; `example` is shown below its help, a line for each."""

    def __init__(self, verb: str, about: str, *examples: str) -> None:
        super().__init__(
            prog=f"vfod {verb}",
            description=about,
            epilog="\n  ".join(["example:", *examples]),
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        # Python 3.14 and newer would paint the help.
        self.color = False

    def error(self, message: str) -> NoReturn:
        """A UsageError, with one message and one exit code for all verbs."""
        raise UsageError(f"{self.prog}: {message}", remedy=f"see `{self.prog} --help`")

    def add_config(self) -> None:
        """The configuration."""
        self.add_argument(
            "--config",
            metavar="FILE",
            help="the configuration; default $VFOD_CONFIG, ~/.config/vfod/vfod.yaml, "
            "/etc/vfod/vfod.yaml",
        )

    def add_socket(self) -> None:
        """The control socket, for those who look for one."""
        self.add_argument(
            "--socket",
            metavar="PATH",
            help="the daemon's control socket; default $VFOD_SOCKET, else where it usually is",
        )

    def add_json(self, says: str = "print JSON") -> None:
        """Output for machines."""
        self.add_argument("--json", action="store_true", help=says)
