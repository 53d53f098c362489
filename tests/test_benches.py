"""The benches: what is printed is what DEVELOPERS.md lists, and a missed bound is never hidden."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench.__main__ import BENCHES, LONG, main
from tests.bench.figures import Bench, Figure, Promise
from tests.bench.processes import MissingError

DEVELOPERS = Path(__file__).parents[1] / "DEVELOPERS.md"

SPEED = Promise(what="speed", most=2.0, unit="s", means="soon")
TOLD = Promise(what="size", unit="MB", means="told only")


def rows() -> Iterator[str]:
    """The lines of the table of benches."""
    for bench in BENCHES:
        for promise in bench.promises:
            yield f"| `{bench.name}` | {promise.what} | {promise.bound} | {promise.means} |"


def test_the_list_of_benches_is_that_of_the_code() -> None:
    """Names and bounds; to write it anew: VFOD_DOCUMENTS=write pytest tests/test_benches.py."""
    text = DEVELOPERS.read_text()
    head = r"(?<=\| bench \| figure \| bound \| what it means \|\n\| --- \| --- \| --- \| --- \|\n)"
    table = "\n".join(rows()) + "\n"
    written, times = re.subn(head + r"(\|.*\n)*", lambda _: table, text)
    assert 1 == times
    if os.environ.get("VFOD_DOCUMENTS") == "write":
        DEVELOPERS.write_text(written)
    assert written == DEVELOPERS.read_text()


def test_every_figure_has_one_name() -> None:
    """The names of all benches and of all figures differ, and each says what it means."""
    promises = [promise for bench in BENCHES for promise in bench.promises]
    assert len(promises) == len({promise.what for promise in promises})
    assert len(BENCHES) == len({bench.name for bench in BENCHES})
    assert not {"all", "short"} & {bench.name for bench in BENCHES}
    assert all(promise.means for promise in promises)
    assert {bench.name for bench in LONG} < {bench.name for bench in BENCHES}


def measuring(*values: float, again: bool = True, name: str = "one") -> Bench:
    """A bench that measures these speeds, one after the other."""
    left = iter(values)

    def measure(folder: Path) -> list[Figure]:
        assert folder.is_dir()
        return [SPEED.measured(next(left), "so many"), TOLD.measured(5.0)]

    return Bench(name=name, promises=(SPEED, TOLD), measure=measure, takes="0 s", again=again)


def narrow(text: str) -> str:
    """Without what aligns the columns."""
    return re.sub(" +", " ", text)


def failing(error: Exception) -> Bench:
    def measure(_: Path) -> list[Figure]:
        raise error

    return Bench(name="failing", promises=(TOLD,), measure=measure, takes="0 s")


@pytest.mark.parametrize(
    ("bench", "code", "says"),
    [
        (measuring(1.5), 0, "speed 1.5 s 2 s ok so many"),
        (measuring(3.0, 2.5, 2.25), 1, "speed 2.25 s 2 s over so many; measured again"),
        (measuring(3.0, 1.75), 0, "speed 1.75 s 2 s ok so many; measured again"),
        (measuring(3.0, again=False), 1, "speed 3 s 2 s over so many"),
        (measuring(float("nan"), again=False), 1, "speed nan s 2 s over so many"),
    ],
)
def test_a_bound_and_its_verdict(
    bench: Bench, code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What other work can spoil is measured three times at most; nothing else is measured twice."""
    assert code == main(["one"], [bench])
    said = narrow(capsys.readouterr().out)
    assert f"one\nfigure value bound\n{says}\nsize 5 MB" in said
    assert ("over: speed" if code else "all are within their bounds") == said.splitlines()[-1]


def test_the_others_are_measured_all_the_same(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that fails, or has something missing, takes nothing from the others, and is told."""
    monkeypatch.delenv("CI", raising=False)
    broken, poor = failing(RuntimeError("oh")), failing(MissingError("a broker"))
    assert 1 == main([], [broken, measuring(1.0)])
    said = capsys.readouterr()
    assert "RuntimeError: oh" in said.err
    assert "speed 1 s 2 s ok" in narrow(said.out)
    assert "failed: failing" == said.out.splitlines()[-1]
    assert 0 == main(["all"], [poor, measuring(1.0)])
    assert "not measured: failing, for want of a broker" in capsys.readouterr().out
    monkeypatch.setenv("CI", "true")
    assert 1 == main(["all"], [poor, measuring(1.0)])


def test_what_is_measured_is_what_is_promised(capsys: pytest.CaptureFixture[str]) -> None:
    """A figure that was forgotten fails the bench."""
    bench = Bench(
        name="one", promises=(SPEED, TOLD), measure=lambda _: [SPEED.measured(1.0)], takes="0 s"
    )
    assert 1 == main(["one"], [bench])
    assert "not what it promises" in capsys.readouterr().err


def test_an_unknown_name(capsys: pytest.CaptureFixture[str]) -> None:
    """What there is is said."""
    assert 2 == main(["nothing"])
    assert "no measurement 'nothing'; there are all, short, nudge," in capsys.readouterr().out


def test_one_that_is_quick_as_a_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """The agenda's: both figures, by name, with their bounds."""
    main(["agenda"])
    said = capsys.readouterr().out
    assert re.search(r"^a year of agenda +[\d.]+ s +1 s  (ok|over)", said, re.M)
    assert re.search(r"^a keeper's look at the agenda +[\d.]+ ms +50 ms  (ok|over)", said, re.M)
