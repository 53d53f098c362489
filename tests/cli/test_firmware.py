"""`vfod firmware` puts into a builder's project what is shipped, and destroys nothing there."""

from pathlib import Path

import pytest

from vfod.__main__ import main

ROOT = Path(__file__).parents[2]
WRITTEN = {
    "vfoline.c": ROOT / "vfod/firmware/vfoline.c",
    "vfoline.h": ROOT / "vfod/firmware/vfoline.h",
    "example_main.c": ROOT / "vfod/firmware/example_main.c",
    "firmware.md": ROOT / "docs/firmware.md",
    "protocol.md": ROOT / "docs/protocol.md",
}


def same(folder: Path) -> list[str]:
    """The names of the files that are as they are shipped."""
    return [name for name, source in WRITTEN.items() if _is(folder / name, source)]


def _is(path: Path, source: Path) -> bool:
    return path.is_file() and not path.is_symlink() and path.read_bytes() == source.read_bytes()


def test_it_writes_all_of_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Into a folder that it makes; it says each file, and what to read next."""
    folder = tmp_path / "my-vfo" / "line"
    assert 0 == main(["firmware", str(folder)])
    assert list(WRITTEN) == same(folder)
    assert set(WRITTEN) == {path.name for path in folder.iterdir()}
    said = capsys.readouterr().out
    assert all(f"{folder / name}: " in said for name in WRITTEN)
    assert f"Now read {folder / 'firmware.md'}." in said


def test_once_more_changes_nothing(tmp_path: Path) -> None:
    """What is there and the same is no reason to complain."""
    assert [0, 0] == [main(["firmware", str(tmp_path)]) for _ in range(2)]
    assert list(WRITTEN) == same(tmp_path)


def test_a_changed_file_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The builder's changes are named and kept, and nothing else is written; unless by force."""
    mine = tmp_path / "vfoline.h"
    mine.write_text("#define VFOLINE_KNOB 1\n")
    assert 2 == main(["firmware", str(tmp_path)])
    assert ["vfoline.h"] == [path.name for path in tmp_path.iterdir()]
    assert "#define VFOLINE_KNOB 1\n" == mine.read_text()
    said = capsys.readouterr().err
    assert f"{mine}: there already, and different" in said
    assert "--force" in said
    assert 0 == main(["firmware", "--force", str(tmp_path)])
    assert list(WRITTEN) == same(tmp_path)


@pytest.mark.parametrize("name", ["a-file", "a-file/below"])
def test_no_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """A file in the way is named, in one line."""
    (tmp_path / "a-file").write_text("")
    assert 2 == main(["firmware", str(tmp_path / name)])
    said = capsys.readouterr().err
    assert str(tmp_path / "a-file") in said
    assert 1 == said.count("\n")


def test_without_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    """The folder must be said."""
    assert 2 == main(["firmware"])
    assert "DIR" in capsys.readouterr().err
