"""The parser of the verbs that have options of their own: argparse, with errors in our words.

Whatever is wrong at the command line is told in one line: the verb and the option, what was
written there, and what to write instead.
"""

import argparse
import difflib
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, NoReturn

from vfod.errors import QuantityError, UsageError

#: Columns of a help: what every terminal has, and the manual page too.
_WIDTH = 80

#: Characters of what was written that a complaint shows.
_SHOWN = 40

#: How alike an option must be to be the one that was meant: more than difflib's own 0.6.
_NEAR = 0.7

#: Speed of a serial line at which the hardware of the day ends, as in the configuration.
_FASTEST = 4_000_000

#: As many nights as anybody may want to tell apart.
_SEEDS = 999_999_999


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
        self._example = examples[0]
        # Python 3.14 and newer would paint the help.
        self.color = False

    def add_argument(self, *names: Any, **options: Any) -> argparse.Action:
        """As argparse has it; a `type` may raise a UsageError, whose message begins with the value.

        `choices` are told as what may be written; a word that must be there is asked for by name.
        """
        if "choices" in options:
            options["type"] = partial(_one_of, options["choices"])
        if "type" in options:
            # Words stand by themselves, a value stands behind its option.
            place = f"{names[0]} " if names[0].startswith("-") else ""
            options["type"] = partial(_placed, f"{self.prog}: {place}", options["type"])
        action = super().add_argument(*names, **options)
        if not action.option_strings:
            # Missing ones are told by parse_args.
            action.required = False
        return action

    def parse_args(self, words: Sequence[str]) -> argparse.Namespace:  # type: ignore[override]  # always with words
        """The words of the verb, understood. Raises DescribedError for a Describe."""
        if isinstance(words, Describe):
            raise DescribedError(self)
        given, left = self.parse_known_args(self._sorted(words))
        if surplus := [word for word in left if word != "--"]:
            raise UsageError(
                f"{self.prog} takes no {surplus[0][:_SHOWN]!r}", remedy=f"see `{self.prog} --help`"
            )
        for action in self._actions:
            wanted = not action.option_strings and action.nargs in (None, "+")
            if wanted and getattr(given, action.dest) is None:
                raise self._missing(action)
        return given

    def error(self, message: str) -> NoReturn:
        """What is left for argparse to say."""
        raise UsageError(f"{self.prog}: {message}", remedy=f"see `{self.prog} --help`")

    def _sorted(self, words: Sequence[str]) -> list[str]:
        """Options with their values first, because argparse wants the other words in one row."""
        options: list[str] = []
        rest: list[str] = []
        waiting = list(words)
        while waiting:
            word = waiting.pop(0)
            if word == "--":
                rest += waiting
                break
            if not _looks_like_an_option(word):
                rest.append(word)
                continue
            name, given, value = word.partition("=")
            action = self._option_string_actions.get(name)
            if action is None:
                raise self._unknown(name)
            if action.nargs == 0:
                if given:
                    raise UsageError(
                        f"{self.prog}: {name} takes no value, not {value[:_SHOWN]!r}",
                        remedy=f"write {name} alone",
                    )
                options.append(name)
                continue
            if not given:
                if not waiting or waiting[0] == "--" or _looks_like_an_option(waiting[0]):
                    raise UsageError(
                        f"{self.prog}: {name} needs a value",
                        remedy=f"write it like {name} {_called(action)}",
                    )
                value = waiting.pop(0)
            options.append(f"{name}={value}")
        return [*options, "--", *rest] if rest else options

    def _unknown(self, name: str) -> UsageError:
        known = [one for one in self._option_string_actions if one.startswith("--")]
        near = difflib.get_close_matches(name, known, n=1, cutoff=_NEAR)
        known.remove("--help")
        it_has = f"it has {_in_words(known, 'and')}" if known else "it has none but --help"
        return UsageError(
            f"{self.prog} has no option {name[:_SHOWN]}",
            remedy=f"did you mean {near[0]}?" if near else it_has,
        )

    def _missing(self, action: argparse.Action) -> UsageError:
        if action.choices is not None:
            choices = _in_words(list(action.choices), "or")
            return UsageError(f"{self.prog} needs a word more", remedy=f"write {choices}")
        return UsageError(
            f"{self.prog} needs a {_called(action)}", remedy=f"write it like {self._example}"
        )

    # --- options that several verbs have --------------------------------------------------------

    def add_number(
        self,
        name: str,
        *,
        least: int,
        most: int,
        like: int,
        whole: bool = True,
        metavar: str = "N",
        **options: Any,
    ) -> None:
        """A number between two, both included; `like` is one that makes sense."""
        takes = partial(_number, least, most, f"{name} {like}", whole)
        self.add_argument(name, type=takes, metavar=metavar, **options)

    def add_baud(self, says: str, *, least: int = 300) -> None:
        """The speed of a serial line."""
        self.add_number(
            "--baud", least=least, most=_FASTEST, like=115_200, default=115_200, help=says
        )

    def add_seed(self) -> None:
        """Where chance begins."""
        self.add_number("--seed", least=0, most=_SEEDS, like=0, default=0, help="chance; default 0")

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


def _looks_like_an_option(word: str) -> bool:
    """Not a number below zero, nor `-` for the standard output."""
    return word.startswith("-") and word.lstrip("-")[:1].isalpha() and " " not in word


def _called(action: argparse.Action) -> str:
    return str(action.metavar or "|".join(action.choices or ()) or action.dest.upper())


def _placed(place: str, takes: Callable[[str], Any], text: str) -> Any:
    try:
        return takes(text)
    except UsageError as error:
        raise UsageError(place + error.message, remedy=error.remedy) from None


def _one_of(choices: Sequence[str], text: str) -> str:
    if text in choices:
        return text
    near = difflib.get_close_matches(text.lower(), choices, n=1)
    remedy = f"did you mean {near[0]}?" if near else f"write {_in_words(choices, 'or')}"
    raise UsageError(f"{text[:_SHOWN]!r} is not known here", remedy=remedy)


def _number(least: int, most: int, like: str, whole: bool, text: str) -> float:
    kind: Callable[[str], float] = int if whole else float
    try:
        value = kind(text)
    except ValueError:
        value = least - 1
    if not least <= value <= most:
        what = "whole number" if whole else "number"
        raise QuantityError(
            f"{text[:_SHOWN]!r} is no {what} from {least} to {most}",
            remedy=f"write it like {like}",
        )
    return value


def _in_words(names: Sequence[str], last: str) -> str:
    """`a, b or c`."""
    *most, final = names
    return f"{', '.join(most)} {last} {final}" if most else final
