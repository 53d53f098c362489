"""docs/configuration.md: its table is the code's, and its orders of search are those in force."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.configuration_page import filled
from vfod.cli.quick_help import HELP
from vfod.cli.verbs import run
from vfod.config import places

PAGE = Path(__file__).parents[1] / "docs" / "configuration.md"

HOME = {"HOME": "~"}


def test_the_table_of_keys_is_that_of_the_code() -> None:
    """To write it anew: VFOD_DOCUMENTS=write pytest tests/test_configuration_page.py."""
    page = filled(PAGE.read_text())
    if os.environ.get("VFOD_DOCUMENTS") == "write":
        PAGE.write_text(page)
    assert page == PAGE.read_text()


def told(what: str) -> list[str]:
    """The order that the page gives, from the first place without a switch or variable on."""
    found = re.search(rf"<!-- places: {what} -->\n(.*?)<!-- end -->", PAGE.read_text(), re.S)
    assert found
    lines = found[1].splitlines()
    assert [f"{number}." for number in range(1, len(lines) + 1)] == [w.split()[0] for w in lines]
    return [re.findall(r"`([^`]+)`", line)[0] for line in lines]


@pytest.mark.parametrize(
    ("what", "variable", "of", "configured"),
    [
        ("configuration", "VFOD_CONFIG", lambda env, _: places.config_places(env), None),
        ("socket", "VFOD_SOCKET", places.socket_places, "control.socket"),
        ("journal", "VFOD_JOURNAL", places.journal_places, "journal.path"),
    ],
)
def test_the_orders_of_search_are_those_in_force(
    what: str,
    variable: str,
    of: Callable[[dict[str, str], str | None], list[str]],
    configured: str | None,
) -> None:
    """Switch, variable, configuration, then the places one after the other."""
    order = told(what)
    assert order[0].startswith("--")
    assert f"${variable}" == order[1]
    assert ["/named"] == of({variable: "/named"}, "/configured")
    rest = order[2:]
    if configured:
        assert configured == rest.pop(0)
        assert ["/configured"] == of({}, "/configured")
    every = {
        name: f"/{name}"
        for name in ("RUNTIME_DIRECTORY", "STATE_DIRECTORY", "XDG_RUNTIME_DIR",
                     "XDG_CONFIG_HOME", "XDG_STATE_HOME")
    }  # fmt: skip
    assert [place.replace("$", "/") for place in rest] == of(every, None)
    usual = re.findall(r"which is `(~[^`]+)`", PAGE.read_text())
    assert set(usual) == {places.config_places(HOME)[0], places.journal_places(HOME)[-1]}


def test_the_helps_say_the_orders_too(capsys: pytest.CaptureFixture[str]) -> None:
    """Every place of the page is in the help of the verb that looks there."""
    with pytest.raises(SystemExit):
        run(["serve", "--help"])
    serve = capsys.readouterr().out
    for what in ("socket", "journal"):
        for place in told(what):
            assert place.split()[0] in serve, place
    with pytest.raises(SystemExit):
        run(["config", "--help"])
    config = capsys.readouterr().out
    for place in told("configuration"):
        assert place.split()[0] in config, place
    assert "$VFOD_SOCKET" in HELP["reload"]
