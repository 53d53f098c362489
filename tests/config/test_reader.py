"""Text to plain data: what a word means, and where it stands."""

import os
import stat
from pathlib import Path

import pytest

from vfod.config.reader import LARGEST, read, understand
from vfod.errors import ConfigError

#: The number of the user without rights, by custom of Linux systems.
NOBODY = 65534

#: YAML 1.1, which PyYAML follows by itself, makes 1320, 390, 79230, 3717, 7205, true and a date
#: of the first ones; read here by the core schema of YAML 1.2.2 (section 10.3.2), narrowed.
VALUES: list[tuple[str, object]] = [
    ("22:00", "22:00"),
    ("6:30", "6:30"),
    ("06:30", "06:30"),
    ("22:00:30", "22:00:30"),
    ("07205", "07205"),
    ("7_205", "7_205"),
    ("on", "on"),
    ("off", "off"),
    ("yes", "yes"),
    ("NO", "NO"),
    ("2026-10-25", "2026-10-25"),
    ("0x1F", "0x1F"),
    ("1:2", "1:2"),
    (".nan", ".nan"),
    (".inf", ".inf"),
    ("=", "="),
    ("<<", "<<"),
    ("+", "+"),
    ("1.", "1."),
    ("9.4.2", "9.4.2"),
    ("9" * 40, "9" * 40),
    ("true", True),
    ("false", False),
    ("~", None),
    ("null", None),
    ("", None),
    ("0", 0),
    ("-17", -17),
    ("+5", 5),
    ("1.10", 1.1),
    (".5", 0.5),
    ("1e3", 1000.0),
    ("7.205e6", 7205000.0),
    ('"5"', "5"),
    ("!!str 5", "5"),
    ("!!int junk", "junk"),
]


@pytest.mark.parametrize(("text", "value"), VALUES, ids=[text or "nothing" for text, _ in VALUES])
def test_values(text: str, value: object) -> None:
    """A plain word is a number, true, false or nothing only where nobody could think otherwise."""
    found = understand(f"key: {text}\n", "f").data["key"]
    assert value == found
    assert type(value) is type(found)


def test_keys_stay_text() -> None:
    """A name may look like a number or a word for yes."""
    assert {"41": 1, "on": 2, "null": 3} == understand("{41: 1, on: 2, null: 3}", "f").data


def test_a_key_twice() -> None:
    """The second of two equal keys is a complaint that names the line of the first."""
    found = understand("a: 1\nb: {c: 1,\n  c: 2}\na: 3\n", "f")
    assert [
        (3, 3, "'c' is already in line 2; remove one of them"),
        (4, 1, "'a' is already in line 1; remove one of them"),
    ] == [tuple(complaint) for complaint in found.complaints]
    assert {"a": 1, "b": {"c": 1}} == found.data


def test_a_byte_order_mark_and_line_ends(tmp_path: Path) -> None:
    """A file saved on another system is read like any other."""
    file = tmp_path / "f.yaml"
    file.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n")
    assert {"a": 1, "b": 2} == understand(read(str(file)), "f").data


def complaint(path: str) -> str:
    """What is said about a file that cannot be read."""
    with pytest.raises(ConfigError) as caught:
        read(path)
    (line,) = caught.value.complaints
    return line


def test_missing() -> None:
    """A file that is not there."""
    assert "/no/such: there is no such file; write it, or name another" == complaint("/no/such")


def test_directory(tmp_path: Path) -> None:
    """A directory instead of a file."""
    assert f"{tmp_path}: this is a directory; name the file in it" == complaint(str(tmp_path))


def test_file_below_a_file(tmp_path: Path) -> None:
    """A path that goes on behind a file."""
    (tmp_path / "f").touch()
    assert f"{tmp_path}/f/g: cannot be read (Not a directory); name another file" == complaint(
        f"{tmp_path}/f/g"
    )


def test_unreadable(tmp_path: Path) -> None:
    """A file that this user may not read."""
    file = tmp_path / "f"
    file.touch()
    file.chmod(stat.S_IWUSR)
    before = os.geteuid()
    if before == 0:
        os.seteuid(NOBODY)  # root may read everything
    try:
        said = complaint(str(file))
    finally:
        os.seteuid(before)
    assert (
        f"{file}: this user may not read the file; make it readable for the user or the group"
    ) == said


def test_binary(tmp_path: Path) -> None:
    """Bytes that are no text are named by their place."""
    file = tmp_path / "f"
    file.write_bytes(b"a: 1\nb: \xff\xfe\x00\n")
    assert f"{file}:2:4: this is no UTF-8 text; save the file as UTF-8" == complaint(str(file))


def test_too_large(tmp_path: Path) -> None:
    """A file of another kind altogether is not read to its end."""
    file = tmp_path / "f"
    file.write_bytes(b"#" * (LARGEST + 1))
    assert (f"{file}: larger than 1 MB; this is no configuration, name another file") == complaint(
        str(file)
    )
