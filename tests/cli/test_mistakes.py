"""Mistakes at the shell, for every verb: one line that names the place, the value and the remedy.

Which options and words a verb has is asked of the verb itself, so that a new one is tried too; some
lines are written out. That none is in the words of the library behind the parsers is looked for by
what its messages consist of (argparse, as in Python 3.11 to 3.14).
"""

import re
from argparse import Action
from functools import partial
from pathlib import Path

import pytest

from vfod.__main__ import main
from vfod.cli import verbs
from vfod.cli.overview import SUMMARY
from vfod.cli.parser import DescribedError, Parser
from vfod.cli.quick import VERBS
from vfod.cli.quick_help import HELP

LIBRARY = re.compile(
    r"argument -|argument [A-Z]|invalid|expected (one|at least)|unrecognized|required|"
    r"ignored explicit|choose from|ambiguous|not allowed"
)

#: The words before every parser: a verb, or a word of it that has options of its own.
PARSERS = [
    *[[verb] for verb in SUMMARY if verb not in HELP],
    *[["journal", word] for word in ("export", "backup", "check", "repair")],
    ["sweep", "list"],
    ["tune", "--explain"],
    ["status", "--watch"],
]

#: A value that nothing takes but a file, a name or an address.
WRONG = "xyzzy"


def parser_of(words: list[str], monkeypatch: pytest.MonkeyPatch) -> Parser:
    """The parser that reads what stands behind these words."""

    def instead(parser: Parser, _: object) -> None:
        raise DescribedError(parser)

    with monkeypatch.context() as patch:
        patch.setattr(Parser, "parse_args", instead)
        with pytest.raises(DescribedError) as told:
            verbs.run(words)
    return told.value.parser


def is_picky(action: Action) -> bool:
    """Whether there are values that do not fit, which a path or a name has none of."""
    return isinstance(action.type, partial) and Path not in action.type.args


def complaint(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The one line that a mistake is answered with, without its line end."""
    assert 2 == main(words), words
    out, err = capsys.readouterr()
    assert "" == out
    assert 1 == err.count("\n"), err
    assert not LIBRARY.search(err), err
    place, remedy, says = err.startswith(f"vfod {words[0]}"), "; " in err, err.rstrip("\n")
    assert (place, remedy) == (True, True), err
    return says


@pytest.mark.parametrize("words", PARSERS, ids=" ".join)
def test_an_option_that_is_not_there(
    words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Long, short, with a value: each is named; a slip is told what was meant."""
    verb = parser_of(words, monkeypatch).prog
    for wrong in ("--xyzzy", "--xyzzy=3", "-q"):
        says = complaint([*words, wrong], capsys)
        assert says.startswith(f"{verb} has no option {wrong.partition('=')[0]}; it has ")
    assert complaint([*words, "--hepl"], capsys).endswith("; did you mean --help?")


@pytest.mark.parametrize("words", PARSERS, ids=" ".join)
def test_every_option_of_every_verb(
    words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A value too many, a value too few, a value that does not fit."""
    parser = parser_of(words, monkeypatch)
    place = f"{parser.prog}: "
    for action in parser._actions:
        if not action.option_strings:
            continue
        name = action.option_strings[-1]
        if action.nargs == 0:
            says = complaint([*words, f"{name}=3"], capsys)
            assert f"{place}{name} takes no value, not '3'; write {name} alone" == says
            continue
        for behind in ([], ["--help"], ["--"]):
            says = complaint([*words, name, *behind], capsys)
            assert says.startswith(f"{place}{name} needs a value; write it like {name} ")
        if is_picky(action):
            for typed in ([name, WRONG], [f"{name}={WRONG}"]):
                assert complaint([*words, *typed], capsys).startswith(f"{place}{name} '{WRONG}")


@pytest.mark.parametrize("words", PARSERS, ids=" ".join)
def test_the_words_of_every_verb(
    words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that must be there and is not; one that does not fit; one too many."""
    parser = parser_of(words, monkeypatch)
    wanted = [action for action in parser._actions if not action.option_strings]
    if any(action.nargs in (None, "+") for action in wanted):
        assert complaint(words, capsys).startswith(f"{parser.prog} needs a ")
    if wanted and is_picky(wanted[0]) and words != ["tune", "--explain"]:
        assert complaint([*words, WRONG], capsys).startswith(f"{parser.prog}: '{WRONG}' is ")
    if not any(action.nargs in ("+", "*") for action in wanted):
        word = "9996" if words == ["calibrate"] else "last"
        fitting = [next(iter(action.choices or [word])) for action in wanted]
        says = complaint([*words, *fitting, "42"], capsys)
        assert says.startswith(f"{parser.prog} takes no '42'; see `{parser.prog} --help`")


#: Words that a quick verb needs, so that nothing but its options is wrong.
NEEDED = {
    "tune": ["9420"],
    "nudge": ["+"],
    "step": ["1k"],
    "band": ["31m"],
    "output": ["on"],
    "mute": ["off"],
    "sweep": ["stop"],
}


@pytest.mark.parametrize("verb", VERBS)
def test_the_quick_verbs(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The same of those that have no parser; nothing is asked of a daemon."""
    words = [verb, *NEEDED.get(verb, [])]
    says = complaint([*words, "--xyzzy"], capsys)
    assert says.startswith(f"vfod {verb} has no option --xyzzy; it has ")
    says = complaint([*words, "--json=3"], capsys)
    assert f"vfod {verb}: --json takes no value, not '3'; write --json alone" == says
    says = complaint([*words, "--socket"], capsys)
    assert f"vfod {verb}: --socket needs a value; write it like --socket PATH" == says
    if verb != "stay":
        says = complaint([*words, "xyzzy"] if verb in NEEDED else [verb, "42"], capsys)
        assert "xyzzy" in says or f"vfod {verb} takes no '42'" in says


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("journal --sinc=3h", "vfod journal has no option --sinc; did you mean --since?"),
        ("journal --since 3h chanels", "'chanels' is not known here; did you mean channels?"),
        ("journal --since 3x", "--since '3x' is not a time; write 3h (ago), 22:00, 2026-11-25 or"),
        ("journal --last x", "--last 'x' is no whole number from 1 to 1000000000; write"),
        ("journal backup", "needs a FILE; write it like vfod journal backup /media/stick/journal"),
        ("plan --config", "vfod plan: --config needs a value; write it like --config FILE"),
        ("config", "vfod config needs a word more; write schema or show"),
        ("agenda --days 0", "--days '0' is no whole number from 1 to 400; write it like --days 7"),
        ("agenda --days 1.5", "--days '1.5' is no whole number"),
        ("drift --at nan", "--at 'nan' is no number from -60 to 100; write it like --at 21"),
        ("simulate --baud -1", "--baud '-1' is no whole number from 0 to 4000000; write it like"),
        ("doctor --baud 0", "--baud '0' is no whole number from 300 to 4000000; write it like"),
        ("serve --log loud", "--log 'loud' is not known here; write error, warning, info or debug"),
        ("level settle 9420 9.42m", "'9.42m': 'm' is not a unit of frequency; did you mean 9.42M?"),
        ("level table --at x", "--at 'x' is not a frequency; write it like"),
        ("level settle 1 2 --watch 6", "--watch '6' has no unit; write 6s for seconds or 6m for"),
        ("note x --at never", "--at 'never' is not a time; write"),
        ("nights --since 3h", "--since '3h' is not the date of a night; write it like 2026-11-25"),
        ("calibrate --recording 9996k", "'9996k' is no recording; write it like 9996k:upper:below"),
        ("manual page", "vfod manual takes no 'page'; see `vfod manual --help`"),
        ("manual --pdf", "vfod manual has no option --pdf; it has none but --help"),
        ("stay 30", "'30' has no unit; write 30s for seconds or 30m for minutes"),
        ("sweep list all", "vfod sweep list takes no 'all'; see `vfod sweep list --help`"),
        ("service rule", "vfod service rule needs a port; see `vfod doctor`"),
    ],
)
def test_in_so_many_words(typed: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What a listener reads who made that mistake."""
    assert says in complaint(typed.split(), capsys)


def test_words_and_options_in_any_order(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Options before, between and behind words; after `--` everything is a word."""
    assert 0 == main(["plan", "--json", "both"])
    assert 0 == main(["plan", "both", "--json", f"--config={config}"])
    capsys.readouterr()
    for typed in ("--vfo main 9420 9450", "9420 --vfo main 9450", "9420 9450 --vfo main"):
        # The port is not there; until then everything is understood.
        assert 5 == main(["level", "settle", *typed.split()])
        assert "there is no such port" in capsys.readouterr().err
    assert 6 == main(["note", "--", "--heard", "on 9420"])
    assert "no daemon listens" in capsys.readouterr().err
