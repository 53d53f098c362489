"""Every verb as it describes itself: the one source of the manual page and of the completion.

A verb with a parser is asked for it; the quick verbs have a text, from which options and fixed
words are read.
"""

import re
from argparse import Action
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from vfod.cli.overview import SUMMARY
from vfod.cli.parser import Describe, DescribedError
from vfod.cli.quick_help import HELP

#: Takes no value.
FLAG = None

#: Does a verb's work with the words after it, and gives the exit code.
CarryOut = Callable[[str, list[str]], int]

_EXAMPLE = "\nexample:\n"


@dataclass(frozen=True, kw_only=True, slots=True)
class Description:
    """One verb: what its help says, its options, and the fixed words that may come first.

    `options` gives for each option the values there are: FLAG for one that takes none, and
    nothing for one that takes what only its user knows.
    """

    verb: str
    says: str
    help: str
    options: Mapping[str, tuple[str, ...] | None]
    words: tuple[str, ...]

    @property
    def examples(self) -> list[str]:
        """The lines that the help gives as examples."""
        return [line.strip() for line in self.help.partition(_EXAMPLE)[2].splitlines() if line]


def describe(verb: str, carry_out: CarryOut) -> Description:
    """How a verb describes itself when it is asked by way of `carry_out`."""
    if verb in HELP:
        return _from_text(verb, HELP[verb])
    try:
        carry_out(verb, Describe())
    except DescribedError as told:
        parser = told.parser
        actions = parser._actions
        return Description(
            verb=verb,
            says=SUMMARY[verb],
            help=parser.format_help(),
            options={
                name: _values(action)
                for action in actions
                for name in action.option_strings
                if name.startswith("--")
            },
            words=next((_values(a) or () for a in actions if not a.option_strings), ()),
        )
    raise AssertionError(f"{verb} did its work instead of telling of it")


def everything(carry_out: CarryOut) -> list[Description]:
    """All verbs, in the order of the overview."""
    return [describe(verb, carry_out) for verb in SUMMARY]


def _values(action: Action) -> tuple[str, ...] | None:
    return FLAG if action.nargs == 0 else tuple(action.choices or ())


def _from_text(verb: str, text: str) -> Description:
    usage = text.partition("\n\n")[0]
    # What is in brackets is an option, what is in capitals is for the user to fill in.
    fixed = re.findall(rf"vfod {verb} ([^\[\n]*)", usage)
    words = [word for part in fixed for word in re.split(r"[ |]", part) if word.islower()]
    options: dict[str, tuple[str, ...] | None] = {"--help": FLAG}
    for name, value in re.findall(r"(--[a-z]+)(?: ([A-Z]+))?", text.partition(_EXAMPLE)[0]):
        options[name] = () if value or options.get(name) == () else FLAG
    return Description(
        verb=verb, says=SUMMARY[verb], help=text, options=options, words=tuple(words)
    )
