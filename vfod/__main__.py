"""The command `vfod`: a quick verb at once, any other by way of the table of verbs.

Whatever a person may do wrong ends here in a line of text and an exit code, never in a traceback.
"""

import os
import sys
from io import TextIOWrapper

from vfod.errors import ConfigError, VfodError

#: What shells give for a process that was ended by SIGINT or SIGPIPE: 128 and the signal's number.
_INTERRUPTED, _PIPE_BROKEN = 130, 141


def main(argv: list[str]) -> int:
    """Carry out the words after `vfod`; gives the exit code."""
    if sys.stdout is None:
        # Closed by whoever started it; what would be told goes nowhere, as long as this runs.
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115, PTH123 - pathlib is slow to import
    # A terminal that cannot show a character shall show its number.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(argv)
        # Now and not at exit, where a broken pipe would be told in a way of Python's own.
        print(end="", flush=True)
        return code
    except ConfigError as error:
        # Each complaint begins with its place, as editors want to find it.
        print("\n".join(error.complaints), file=sys.stderr)
        return error.exit_code
    except VfodError as error:
        # Some begin with the verb, which says as much.
        lead = "" if error.message.startswith("vfod ") else "vfod: "
        print(f"{lead}{error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        return _INTERRUPTED
    except BrokenPipeError:
        _say_no_more()
        return _PIPE_BROKEN
    except OSError as error:
        if not _is_of_the_output(error):
            raise
        _say_no_more()
        print(f"vfod: the output cannot be written: {error.strerror}", file=sys.stderr)
        return 1


def _run(argv: list[str]) -> int:
    from vfod.cli import quick

    if quick.is_quick(argv):
        return quick.run(argv[0], argv[1:])
    from vfod.cli import verbs

    try:
        return verbs.run(argv)
    except SystemExit as left:
        # argparse, which has printed its help.
        return int(left.code or 0)


def _is_of_the_output(error: OSError) -> bool:
    """Whether it is what a file or terminal says that takes no more; others have a name."""
    # Not at the top: a nudge does not need it.
    from errno import EDQUOT, EFBIG, EIO, ENOSPC

    return error.errno in (ENOSPC, EDQUOT, EFBIG, EIO) and error.filename is None


def _say_no_more() -> None:
    """Nothing can be told any more; what is left of it must not be tried again at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
