"""`vfod firmware`: the answering end of the line protocol in C, put into a builder's project."""

from pathlib import Path

import vfod
from vfod.cli.parser import Parser
from vfod.errors import UsageError

_PACKAGE = Path(vfod.__file__).parent

#: What is written, and what it is. The text of the last two is that of docs/.
FILES = {
    "vfoline.c": ("firmware", "the responder"),
    "vfoline.h": ("firmware", "what you fill in and call"),
    "example_main.c": ("firmware", "an example around it"),
    "firmware.md": ("shipped", "how to build it in, in ten steps"),
    "protocol.md": ("shipped", "the protocol"),
}


def firmware(words: list[str]) -> int:
    """Write the files."""
    parser = Parser(
        "firmware",
        "Write into a folder what the firmware of a VFO needs to be reached by this program: the\n"
        "responder in portable C, an example, the protocol, and how to build it in.",
        "vfod firmware ~/my-vfo/line",
    )
    parser.add_argument("folder", type=Path, metavar="DIR", help="made when it is not there")
    parser.add_argument(
        "--force", action="store_true", help="write over files that were changed there"
    )
    given = parser.parse_args(words)
    write(given.folder, force=given.force)
    for name, (_, what) in FILES.items():
        print(f"{given.folder / name}: {what}")
    print(f"Now read {given.folder / 'firmware.md'}.")
    return 0


def write(folder: Path, *, force: bool = False) -> None:
    """Write all files, or none when one of them is there and differs, unless `force`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        texts = {
            folder / name: (_PACKAGE / room / name).read_bytes()
            for name, (room, _) in FILES.items()
        }
        differing = [path for path, text in texts.items() if _differs(path, text)]
        if differing and not force:
            raise UsageError(
                f"{', '.join(map(str, differing))}: there already, and different",
                remedy="nothing was written; --force writes over it, another DIR leaves it alone",
            )
        for path, text in texts.items():
            path.write_bytes(text)
    except OSError as error:
        where = error.filename or folder
        raise UsageError(f"{where} cannot be written ({error.strerror})") from error


def _differs(path: Path, text: bytes) -> bool:
    return path.exists() and path.read_bytes() != text
