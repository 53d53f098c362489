"""What the documents say is so: commands, links, paths, defaults, tables, sections."""

import inspect
import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.requests_page import filled
from vfod.cli import defaults
from vfod.cli.overview import SUMMARY
from vfod.config import forms
from vfod.config.loading import load, parse
from vfod.device import timing as patience
from vfod.errors import DaemonAbsentError, PortMissingError, StoreError
from vfod.events.plain import KINDS
from vfod.outputs.mqtt.publisher import PACE
from vfod.plan import moments
from vfod.plan.sweep import RANGE_CHANGE_FACTOR, Sweep
from vfod.radio import band_tables, receiver
from vfod.requests import make_request
from vfod.run import desk, hand
from vfod.run.battery import FINE
from vfod.store import waiting
from vfod.survey import floor
from vfod.wire import timing

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
REQUESTS = ROOT / "docs" / "requests.md"
DOCUMENTS = [README, DEVELOPERS, *sorted(ROOT.glob("docs/**/*.md"))]

#: Those that ask no daemon, with the exit code where there is neither a daemon nor a journal.
_EXITS = {
    "check": 0,
    "plan": 0,
    "agenda": 0,
    "--help": 0,
    "journal": StoreError.exit_code,
    "night": StoreError.exit_code,
    "doctor": 1,
    "conform": PortMissingError.exit_code,
}

#: They run until somebody ends them; other tests start them.
_ENDLESS = ("serve", "simulate")


def blocks(document: Path, language: str) -> list[str]:
    """The code blocks of a language, without the indentation of a list."""
    found = re.findall(rf"^ *```{language}\n(.*?)^ *```", document.read_text(), re.M | re.S)
    return [inspect.cleandoc(block) for block in found]


def commands(*documents: Path) -> list[list[str]]:
    """The words of every shell line, without comments."""
    lines = [line for d in documents for block in blocks(d, "sh") for line in block.splitlines()]
    return [shlex.split(line, comments=True) for line in lines if line]


VFOD = [words[1:] for words in commands(README) if words[0] == "vfod"]


def run_vfod(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """A run of the command where there is a configuration, and neither daemon nor journal."""
    return subprocess.run(
        [sys.executable, "-m", "vfod", *words],
        cwd=ROOT,
        env={
            "PATH": os.environ["PATH"],
            "VFOD_SOCKET": str(folder / "no.sock"),
            "VFOD_JOURNAL": str(folder / "no.sqlite"),
            "VFOD_CONFIG": str(folder / "vfod.yaml"),
        },
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the configuration that the README has its reader write."""
    folder = tmp_path_factory.mktemp("shelf")
    block, *_ = blocks(README, "yaml")
    (folder / "vfod.yaml").write_text(block)
    return folder


def test_the_windows_of_the_readme_can_be_written() -> None:
    """They are sound beside the VFO and the sweeps that the reader has."""
    first, windows = blocks(README, "yaml")
    vfos = first.partition("\nvfos:")[2].partition("\nsweeps:")[0]
    sweeps = "low-bands: {bands: [49m]}, high-bands: {bands: [31m]}, friends: {channels: [9.5M]}"
    config = parse(f"{windows}\nvfos:{vfos}\nsweeps: {{{sweeps}}}\n", "README.md")
    assert 4 == len(config.windows)


def test_the_readme_shows_the_main_verbs() -> None:
    """A reader meets what a night needs; every verb shown is one."""
    shown = {words[0] for words in VFOD}
    assert set() == shown - {*SUMMARY, "--help"}
    wanted = "simulate check plan serve status tune nudge sweep stay resume journal agenda"
    assert set() == set(wanted.split()) - shown


@pytest.mark.parametrize(
    "words", [w for w in VFOD if w[0] not in _ENDLESS], ids=lambda words: " ".join(words)
)
def test_a_command_of_the_readme_is_understood(words: list[str], shelf: Path) -> None:
    """Run as it is printed: it works, or misses nothing but a daemon or a journal."""
    done = run_vfod(words, shelf)
    assert _EXITS.get(words[0], DaemonAbsentError.exit_code) == done.returncode, done.stderr


@pytest.mark.parametrize("verb", _ENDLESS)
def test_the_options_of_an_endless_command_exist(verb: str, shelf: Path) -> None:
    """Its help knows every option that the README uses."""
    used = {word for words in VFOD if words[0] == verb for word in words if word.startswith("--")}
    known = run_vfod([verb, "--help"], shelf).stdout
    assert used
    assert [] == [option for option in used if f"{option} " not in known]


@pytest.mark.parametrize("verb", ["check", "plan"])
@pytest.mark.parametrize("name", ["minimal", "documented"])
def test_check_and_plan_on_the_shipped_configurations(verb: str, name: str, shelf: Path) -> None:
    """Both load, and the two commands print what they amount to."""
    path = f"configs/{name}.yaml"
    assert load(str(ROOT / path)).sweeps
    done = run_vfod(["check", path] if verb == "check" else ["plan", "--config", path], shelf)
    assert (0, "") == (done.returncode, done.stderr)
    assert "sweep evening" in done.stdout


def test_make_targets_exist() -> None:
    """Whatever `make` is told in a document, the Makefile has."""
    targets = set(re.findall(r"^(\w+):.*## ", (ROOT / "Makefile").read_text(), re.M))
    told = {words[1] for words in commands(README, DEVELOPERS) if words[0] == "make"}
    told |= {t for d in DOCUMENTS for t in re.findall(r"`make (\w+)", d.read_text())}
    assert {"demo", "test", "check"} <= told
    assert set() == told - targets


def links(document: Path) -> Iterator[str]:
    for target in re.findall(r"\]\(([^)\s]+)\)", document.read_text()):
        if "://" not in target:
            yield target.partition("#")[0]


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_and_paths_resolve(document: Path) -> None:
    """A link leads somewhere, and a path of the checkout in backticks is there."""
    missing = [t for t in links(document) if t and not (document.parent / t).exists()]
    named = re.findall(
        r"`((?:vfod|tests|docs|configs|requirements)/[\w./-]+)`", document.read_text()
    )
    missing += [path for path in named if not (ROOT / path).exists()]
    assert [] == missing


def test_the_house_is_drawn_as_it_is_kept() -> None:
    """The rooms of DEVELOPERS.md are the layers that import-linter holds."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    layers = [re.sub(r"[()]", "", line) for line in contracts["contracts"][0]["layers"]]
    (drawn,) = blocks(DEVELOPERS, "rooms")
    assert layers == drawn.splitlines()


def test_the_table_of_defaults_is_that_of_the_plan() -> None:
    """The README and `vfod plan --defaults` show one table; written anew like others."""
    text = README.read_text()
    begin, end = "<!-- table: vfod/cli/defaults.py -->\n", "<!-- end -->"
    rows = "".join(f"| {what} | {default} |\n" for what, default in defaults.table().items())
    head, tail = text.partition(begin)[0], text.partition(begin)[2].partition(end)[2]
    page = f"{head}{begin}| what | default |\n| --- | --- |\n{rows}{end}{tail}"
    if os.environ.get("VFOD_DOCUMENTS") == "write":
        README.write_text(page)
    assert page == README.read_text()


def test_the_table_of_defaults_is_that_of_the_code() -> None:
    """Every number in the README's table is the one in force."""
    text = README.read_text().partition("## Defaults")[2].partition("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    told = dict(rows[2:])
    http = told.pop("HTTP")
    table = {what: [float(n) for n in re.findall(r"\d+\.?\d*", d)] for what, d in told.items()}
    plan = parse(
        "vfos: {main: {port: /dev/vfo}}\nsweeps: {evening: {bands: [41m]}}", "defaults.yaml"
    )
    sweep: Sweep = plan.sweeps["evening"]
    hold = sweep.hold
    assert hold is not None
    assert plan.web is not None
    expected = {
        "settle": [receiver.SETTLE_ENVELOPE, receiver.SETTLE_AUDIO, RANGE_CHANGE_FACTOR],
        "dwell": [sweep.dwell, sweep.readings],
        "margin": [sweep.margin, sweep.margin_stay],
        "floor": [floor.LEAST, floor.SMOOTHING / 60, 100 * (1 - floor.LEAST_SHARE)],
        "hold": [hold.limit, hold.quiet, hold.most, hold.rest / 60],
        "quiet time after a hand or a person": [plan.vfos["main"].quiet / 60],
        "a hand": [2, hand.WITHIN],
        "automation (MQTT)": [
            desk.PERSON_FIRST,
            desk.AUTOMATION_BURST,
            desk.AUTOMATION_PER_SECOND,
        ],
        "raster": [
            band_tables.HF_RASTER / 1000,
            0,
            band_tables.MF_RASTER / 1000,
            2,
            band_tables.MF_RASTER_REGION_2 / 1000,
        ],
        "reply timeout": [timing.REPLY_TIMEOUT, timing.MISSES, timing.NOISE_LIMIT],
        "low battery": [FINE],
        "no such event of the sun in a night": [
            *(moments.EVENING.hour, moments.EVENING.minute),
            *(moments.MORNING.hour, moments.MORNING.minute),
        ],
        "windows that overlap": [
            forms.WindowForm.model_fields["priority"].default,
            forms.WatchForm.model_fields["priority"].default,
        ],
        "pause before a lost line opens again": [
            patience.BACK_OFF_FIRST,
            patience.BACK_OFF_LONGEST,
        ],
        "ping of an idle line": [timing.PING_EVERY],
        "MQTT values that a sweep changes": [PACE],
        "journal": [waiting.LIMIT],
    }
    assert expected == {what: numbers for what, numbers in table.items() if numbers}
    assert f"at {plan.web.host}:{plan.web.port}" == http
    vfo = forms.VfoForm.model_fields
    assert ("return", "on", "mute-in-sweeps", False) == (
        vfo["afterwards"].default,
        vfo["output"].default,
        vfo["speaker"].default,
        sweep.joined,
    )


def test_the_tables_of_requests_and_errors_are_those_of_the_code() -> None:
    """To write them anew: VFOD_DOCUMENTS=write pytest tests/test_documents.py."""
    page = filled(REQUESTS.read_text())
    if os.environ.get("VFOD_DOCUMENTS") == "write":
        REQUESTS.write_text(page)
    assert page == REQUESTS.read_text()


def test_the_examples_of_requests_are_requests() -> None:
    """Each line that is sent is in the table of requests, but the one that shows an error."""
    texts = [w for words in commands(REQUESTS) for w in words if w.startswith("{")]
    assert len(texts) > 5
    answered = {json.loads(a)["id"]: json.loads(a) for a in blocks(REQUESTS, "json")}
    for text in texts:
        call = json.loads(text)
        params = {n: v for n, v in call.get("params", {}).items() if n != "vfo"}
        if "error" in answered.get(call["id"], {}):
            with pytest.raises(Exception, match=answered[call["id"]]["error"]["message"]):
                make_request(call["method"], params)
        else:
            make_request(call["method"], params)
    assert answered[1]["result"]["event"] in KINDS


def test_cited_sections_of_the_standards_exist() -> None:
    """A section of docs/standards.md that a test or the program leans on is there."""
    headings = (ROOT / "docs" / "standards.md").read_text()
    there = set(re.findall(r"^##+ (\d+(?:\.\d+)?)\.? ", headings, re.M))
    sources = [*ROOT.glob("tests/**/*.py"), *ROOT.glob("vfod/**/*.py")]
    cited = set()
    for source in sources:
        for numbers in re.findall(r"standards\.md, sections? ([\d., and]+)", source.read_text()):
            cited |= set(re.findall(r"\d+(?:\.\d+)?", numbers))
    assert len(cited) > 3
    assert set() == cited - there


def test_requirements_name_no_address() -> None:
    """Packages come from the registry that the user's machine is set to."""
    files = sorted(ROOT.glob("requirements/*"))
    assert files
    assert [] == [path.name for path in files if "://" in path.read_text()]
