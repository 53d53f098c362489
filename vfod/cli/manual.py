"""`vfod manual`: the manual page, from what the verbs say of themselves, as man(7) wants it."""

from collections.abc import Callable, Iterable, Iterator

import vfod.errors
from vfod import __version__
from vfod.cli.description import Description
from vfod.cli.overview import ABOUT, MORE
from vfod.cli.parser import Parser
from vfod.errors import VfodError

_FILES = {
    "~/.config/vfod/vfod.yaml, /etc/vfod/vfod.yaml": "the configuration",
    "/run/vfod/control.sock": "the control socket of the service",
    "/var/lib/vfod/journal.sqlite": "the journal of the service",
    "/usr/local/share/doc/vfod/documented.yaml": "every key of the configuration explained",
}

_VARIABLES = {
    "VFOD_CONFIG": "the configuration",
    "VFOD_SOCKET": "the control socket",
    "VFOD_JOURNAL": "the journal",
}


def manual(words: list[str], described: Callable[[], list[Description]]) -> int:
    """Print the page."""
    parser = Parser(
        "manual",
        "The manual page: everything that --help says, on one page.\n"
        "`vfod service install` puts it where man looks for it.",
        "vfod manual | man -l -",
    )
    parser.parse_args(words)
    print(page(described()), end="")
    return 0


def page(found: Iterable[Description]) -> str:
    """The page in the language of man(7)."""
    return "\n".join([f'.TH VFOD 1 "" "vfod {__version__}"', *_sections(found)]) + "\n"


def _sections(found: Iterable[Description]) -> Iterator[str]:
    about = ABOUT.splitlines()[0].removeprefix("vfod ").rstrip(".")
    yield from (".SH NAME", f"vfod \\- {_escaped(about)}")
    yield from (".SH SYNOPSIS", ".B vfod", ".I VERB", ".RI [ WORD \\&... ]")
    yield from (".SH DESCRIPTION", *map(_escaped, MORE.strip().splitlines()))
    yield ".SH VERBS"
    for one in found:
        yield f'.SS "vfod {one.verb}: {_escaped(one.says)}"'
        yield from (".nf", *map(_escaped, one.help.splitlines()), ".fi")
    yield ".SH FILES"
    yield from _terms(_FILES)
    yield ".SH ENVIRONMENT"
    yield from _terms(_VARIABLES)
    yield ".SH EXIT STATUS"
    yield from _terms(_statuses())


def _terms(terms: dict[str, str]) -> Iterator[str]:
    for term, says in terms.items():
        yield from (".TP", f".B {_escaped(term)}", _escaped(says))


def _statuses() -> dict[str, str]:
    """What the command exits with, from the tree of errors; the first class of a number speaks."""
    found = {0: "it is done"}
    for cls in vars(vfod.errors).values():
        if isinstance(cls, type) and issubclass(cls, VfodError):
            meant = (cls.__doc__ or "").split("\n\n")[0].replace("\n", " ")
            found.setdefault(cls.exit_code, " ".join(meant.split()))
    found[1] = "an error of another kind; or what was looked at is not as it should be"
    return {str(number): found[number] for number in sorted(found)}


def _escaped(line: str) -> str:
    """A line as text, whatever is in it."""
    text = line.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{text}" if text.startswith((".", "'")) else text
