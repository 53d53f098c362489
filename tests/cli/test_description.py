"""What the verbs say of themselves: an example for each, that works, and the manual page."""

import shlex
import subprocess

import pytest

from tests.cli.conftest import Stub
from tests.real_parts import real_part
from vfod.__main__ import main
from vfod.cli import quick, verbs
from vfod.cli.description import FLAG, Description
from vfod.cli.manual import page
from vfod.cli.parser import Describe, DescribedError

EVERYTHING = verbs.described()
NAMED = {one.verb: one for one in EVERYTHING}


def words_of(example: str) -> list[str]:
    """The words after `vfod`, without what the shell does with the output."""
    words = shlex.split(example)
    for sign in (">", "|"):
        if sign in words:
            words = words[: words.index(sign)]
    return words[words.index("vfod") + 1 :]


EXAMPLES = [(one.verb, example) for one in EVERYTHING for example in one.examples]


@pytest.mark.parametrize("one", EVERYTHING, ids=lambda one: one.verb)
def test_every_verb_has_an_example(one: Description) -> None:
    """At least one, and each is of that verb."""
    assert one.examples
    assert {one.verb} == {words_of(example)[0] for example in one.examples}


@pytest.mark.parametrize(("verb", "example"), EXAMPLES, ids=[text for _, text in EXAMPLES])
def test_an_example_is_understood(
    verb: str, example: str, stub: Stub, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its words parse: a quick verb asks the daemon one thing, the others take their options."""
    words = words_of(example)
    if quick.is_quick(words):
        assert 0 == main(words), capsys.readouterr().err
        (asked,) = stub.asked
        assert asked["method"]
        return
    with pytest.raises(DescribedError) as told:
        verbs.carry_out(verb, Describe())
    told.value.parser.parse_args(words[1:])


def test_the_options_of_a_quick_verb_are_those_it_takes() -> None:
    """Read from its text: with a value or without, as the verb itself has it."""
    nudge = NAMED["nudge"]
    assert {"--help": FLAG, "--vfo": (), "--socket": (), "--json": FLAG} == nudge.options
    assert () == nudge.words
    assert ("start", "stop", "skip", "list") == NAMED["sweep"].words
    assert ("on", "off") == NAMED["output"].words
    assert ("up", "down", "list") == NAMED["band"].words
    assert "--watch" in NAMED["status"].options


def test_the_options_of_a_verb_with_a_parser() -> None:
    """As argparse has them, with the values there are."""
    serve = NAMED["serve"]
    assert ("error", "warning", "info", "debug") == serve.options["--log"]
    assert () == serve.options["--config"]
    assert FLAG is NAMED["journal"].options["--follow"]
    assert ("schema", "show") == NAMED["config"].words


def test_the_manual_page_has_everything(capsys: pytest.CaptureFixture[str]) -> None:
    """Set by the program that `man` uses: no complaint, and each verb with its examples."""
    assert 0 == main(["manual"])
    text = capsys.readouterr().out
    assert page(EVERYTHING) == text
    done = subprocess.run(
        [real_part("groff"), "-man", "-ww", "-Tascii", "-P-cbou", "-rLL=100n"],
        input=text,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    shown = [line.strip() for line in done.stdout.splitlines()]
    for one in EVERYTHING:
        assert f"vfod {one.verb}: {one.says}" in shown
        assert [] == [line for line in one.examples if line not in shown]
    for title in ("NAME", "SYNOPSIS", "DESCRIPTION", "VERBS", "FILES", "ENVIRONMENT"):
        assert title in shown
    assert shown[shown.index("EXIT STATUS") + 1 :][:1] != []


def test_a_wrong_page_would_be_seen() -> None:
    """The setter of pages complains about what it does not know."""
    done = subprocess.run(
        [real_part("groff"), "-man", "-ww", "-z"],
        input=page(EVERYTHING) + ".XX nonsense\n",
        capture_output=True,
        text=True,
        check=False,
    )
    assert "XX" in done.stderr
