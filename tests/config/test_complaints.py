"""What is wrong in a configuration is said with its place and the remedy, all of it at once."""

import copy
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.config.loading import parse
from vfod.config.reader import MOST_VALUES, understand
from vfod.errors import ConfigError

CONFIGS = Path(__file__).parents[2] / "configs"
DOCUMENTED = (CONFIGS / "documented.yaml").read_text()

#: A sound file in few lines, to put one mistake before or behind.
RANGE = "{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}"
VFO = f"vfos: {{main: {{port: /dev/vfo, receiver: [{RANGE}]}}}}\n"
SWEEP = "sweeps: {evening: {bands: [41m]}}\n"


def complaints(text: str) -> list[str]:
    """The complaints about a text, without the name of the file."""
    with pytest.raises(ConfigError) as caught:
        parse(text, "f")
    assert all(line.startswith("f:") for line in caught.value.complaints)
    return [line[2:] for line in caught.value.complaints]


def mistakes() -> dict[str, tuple[str, str]]:
    """The blocks of mistakes.txt: name → file with a mark, complaint."""
    blocks = (Path(__file__).parent / "mistakes.txt").read_text().split("\n## ")[1:]
    found = {}
    for block in blocks:
        name, rest = block.split("\n", 1)
        text, complaint = rest.split("\n=> ", 1)
        found[name] = (text + "\n", complaint.split("\n", 1)[0])
    return found


BAD = mistakes()


def marked(text: str) -> tuple[str, str]:
    """A file without its mark, and the line and column of it."""
    if "vfos:" not in text:
        if "sweeps:" not in text:
            text = SWEEP + text
        text = VFO + text
    before, _, after = text.partition("^")
    return before + after, f"{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}"


@pytest.mark.parametrize("mistake", BAD)
def test_one_mistake_one_complaint(mistake: str) -> None:
    """Each mistake gives one line: where it stands, what is wrong, what to write instead."""
    text, complaint = BAD[mistake]
    text, place = marked(text)
    assert [f"{place}: {complaint}"] == complaints(text)


def test_the_sound_file_is_sound() -> None:
    """What the mistakes above are put into has none of its own."""
    parse(VFO + SWEEP, "f")


def test_all_at_once_in_the_order_of_the_file() -> None:
    """Five mistakes of different kinds are told together, from top to bottom."""
    text = (
        "windows: [{sweep: evning, from: 22:00, until: 06:00}]\n"
        "vfos: {main: {port: /dev/vfo, bauds: 1}, other: {port: /dev/vfo2}}\n"
        "sweeps: {evening: {bands: [41n], vfo: other}, late: {bands: [41m], vfo: main}}\n"
        "place: {zone: Nowhere}\n"
        "place: {zone: UTC}\n"
    )
    assert [
        "1:19: windows.#1.sweep: there is no sweep 'evning'; did you mean evening?",
        "2:31: vfos.main.bauds: there is no such key; did you mean baud or audio?",
        "3:28: sweeps.evening.bands.#1: there is no band '41n'; did you mean 41m?",
        "4:15: place.zone: there is no time zone 'Nowhere'; "
        "write a name of the IANA database, like Europe/Berlin or UTC",
        "5:1: 'place' is already in line 4; remove one of them",
    ] == complaints(text)


def test_no_complaint_for_what_follows_from_another() -> None:
    """A sweep is not blamed for the band, the VFO or the region that is wrong itself."""
    text = (
        "place: {region: 7}\n"
        "vfos: {main: {port: vfo}}\n"
        "bands: {mine: {from: 6M, to: 6.1}}\n"
        "sweeps: {a: {bands: [mine]}, b: {bands: [75m], vfo: main}}\n"
        "windows: [{sweep: a, from: 22:00, until: 06:00}]\n"
    )
    assert ["1:17", "2:21", "3:30"] == [line.split(": ")[0] for line in complaints(text)]


# --- what is not YAML, or more than YAML should be ------------------------------------------------

NOT_YAML = {
    "": "1:1: the file is empty; write vfos: {main: {port: /dev/serial/by-id/...}}",
    "place: {region: 1}\n": "1:1: no VFO is described; "
    "write vfos: {main: {port: /dev/serial/by-id/...}}",
    "# only a comment\n": "1:1: the file is empty; "
    "write vfos: {main: {port: /dev/serial/by-id/...}}",
    "- vfos\n": "1:1: the file is no section; write keys with values, like vfos: {...}",
    "vfos\n": "1:1: the file is no section; write keys with values, like vfos: {...}",
    "vfos: {\n": "2:1: nothing where a value belongs; write one, or close what is open",
    "a: [1, 2\n": "2:1: a list that is not closed; write the missing ]",
    "a: b: c\n": "1:5: a second ': ' in one line; quote the text, or begin a line",
    "a:\n\tb: 1\n": "2:1: a sign that cannot stand here; indent with spaces, quote the text",
    "a: 1\n  b: 2\n": "2:4: a second ': ' in one line; quote the text, or begin a line",
    "a: 'x\n": "2:1: a quotation mark that is not closed; write the missing one",
    "a: *b\n": "1:4: an alias without its anchor; write &name at what it repeats",
    "a: 1\n---\nb: 2\n": "2:1: a second document in the file; remove the line ---",
    "a: \x00\n": "1:4: a sign that no text has (U+0000); remove it",
    "a: &x [*x]\n": "1:1: an alias that contains itself; write it out",
    "[" * 1000: "1:1: nested deeper than any configuration; write it flatter",
}


@pytest.mark.parametrize("text", NOT_YAML, ids=range(len(NOT_YAML)))
def test_not_yaml(text: str) -> None:
    """What is no YAML, or no configuration at all, is one line with a place and a remedy."""
    assert [NOT_YAML[text]] == complaints(text)


def test_tags_and_keys() -> None:
    """A tag makes no object, and a key is a name."""
    assert [
        "1:7: the tag '!station' means nothing here; leave it out",
        "2:3: a key that is a list or a section; write a name",
    ] == complaints("vfos: !station {main: {port: /a}}\n? [b]\n: 1\n")


def test_many_aliases() -> None:
    """A bomb of aliases is refused before it is written out; a few aliases are fine."""
    bomb = "a: &a [x, x, x, x, x, x, x, x, x, x]\n"
    for here, above in zip("bcdefghi", "abcdefgh", strict=True):
        bomb += f"{here}: &{here} [" + ", ".join([f"*{above}"] * 10) + "]\n"
    assert [f"1:1: more than {MOST_VALUES} values once its aliases are written out; use fewer"] == (
        complaints(bomb)
    )
    few = parse(f"{VFO}sweeps: {{a: {{bands: &b [41m]}}, b: {{bands: *b}}}}\n", "f")
    assert few.sweeps["a"].bands == few.sweeps["b"].bands


# --- the words themselves -------------------------------------------------------------------------

#: What pydantic, Python and PyYAML would say, and a listener should never read.
JARGON = re.compile(
    r"pydantic|[Ii]nput should|[Vv]alue error|Traceback|NoneType|\bdict\b|\bstr\b|"
    r"expected <|<class|mapping|union|instance|None|<function"
)
SHAPE = re.compile(r"[0-9]+:[0-9]+: \S.*; \S.*")

JUNK: list[Any] = [
    True,
    7,
    -0.5,
    1e300,
    "junk",
    "",
    "ü\n\x7f",
    [],
    ["x"],
    [[1]],
    {},
    {"x": {"y": 1}},
]


def _places(value: Any, where: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [where] if where else []
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for part, item in items:
            found += _places(item, (*where, part))
    return found


def test_junk_anywhere() -> None:
    """Whatever stands at any place of the file, the answer is a Config or plain complaints."""
    sound = understand(DOCUMENTED, "f").data
    tried = refused = 0
    for number, where in enumerate(_places(sound)):
        # A quarter of it at each place, in turn, because all of it takes too long.
        for junk in JUNK[number % 4 :: 4]:
            data = copy.deepcopy(sound)
            inside = data
            for part in where[:-1]:
                inside = inside[part]
            inside[where[-1]] = junk
            tried += 1
            try:
                parse(json.dumps(data), "f")  # which is YAML as well
            except ConfigError as error:
                refused += 1
                for line in error.complaints:
                    assert not JARGON.search(line), line
                    assert SHAPE.fullmatch(line[2:]), line
    assert tried > 300
    assert refused > 0.9 * tried


@given(text=st.text() | st.text(alphabet="ab:{}[],&*!?-#'\"\\ \n\t0129.~%|>U"))
def test_any_text(text: str) -> None:
    """No text leads to anything but a Config or complaints."""
    with pytest.raises(ConfigError):
        parse(text, "f")


def test_a_thousand_entries() -> None:
    """A large file is understood whole, and each of a thousand mistakes is told once."""
    sound = "".join(f"  s{n}: {{bands: [41m]}}\n" for n in range(1000))
    assert 1000 == len(parse(f"{VFO}sweeps:\n{sound}", "f").sweeps)
    assert 1000 == len(complaints(f"{VFO}sweeps:\n{sound.replace('41m', '41n')}"))
