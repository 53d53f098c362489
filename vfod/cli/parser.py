"""The parser of the verbs that have options of their own: argparse, with errors of our own tree."""

import argparse
from collections.abc import Sequence
from functools import partial
from typing import NoReturn

from vfod.errors import UsageError

#: Columns of a help: what every terminal has, and the manual page too.
_WIDTH = 80


class Describe(list[str]):
    """In place of a verb's words: its parser is wanted and not its work."""


class DescribedError(Exception):
    """What a parser answers that with; no error, but a way out of the verb before it does work."""

    def __init__(self, parser: "Parser") -> None:
        super().__init__()
        self.parser = parser


class Parser(argparse.ArgumentParser):
    """A verb's parser; `example` is shown below its help, a line for each."""

    def __init__(self, verb: str, about: str, *examples: str) -> None:
        super().__init__(
            prog=f"vfod {verb}",
            description=about,
            epilog="\n  ".join(["example:", *examples]),
            formatter_class=partial(argparse.RawDescriptionHelpFormatter, width=_WIDTH),
            allow_abbrev=False,
        )
        # Python 3.14 and newer would paint the help.
        self.color = False

    def parse_args(self, words: Sequence[str]) -> argparse.Namespace:  # type: ignore[override]  # always with words
        """The words of the verb, understood. Raises DescribedError for a Describe."""
        if isinstance(words, Describe):
            raise DescribedError(self)
        return super().parse_args(words)

    def error(self, message: str) -> NoReturn:
        """A UsageError, with one message and one exit code for all verbs."""
        raise UsageError(f"{self.prog}: {message}", remedy=f"see `{self.prog} --help`")

    def add_config(self) -> None:
        """The configuration."""
        self.add_argument(
            "--config",
            metavar="FILE",
            help="the configuration; default $VFOD_CONFIG, "
            "$XDG_CONFIG_HOME/vfod/vfod.yaml (~/.config/vfod/vfod.yaml), /etc/vfod/vfod.yaml",
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
