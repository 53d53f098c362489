"""How log lines leave the process: a line a record, repeats limited, levels that the journal knows.

Everything goes to the standard error. Where that is the service manager's journal, which has the
time and the name by itself, a line begins with its level as sd-daemon(3) writes it.
"""

import logging
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass

#: Lines of one kind within HOUR that are written; of more, the line after the hour tells how many.
MOST = 3
HOUR = 3600.0

#: Kinds that are remembered; the one that was silent longest is forgotten for a new one. There are
#: about fifty in the program.
_KINDS = 200

#: Levels of logging and of syslog (RFC 5424, section 6.2.1), highest first.
_PRIORITIES = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6), (logging.DEBUG, 7))


def set_up_log(level: str, environment: Mapping[str, str]) -> None:
    """Everything of that level and above to the standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.addFilter(Repeats())
    handler.setFormatter(_ForJournal() if is_journal(environment) else _ForPerson())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)


def is_journal(environment: Mapping[str, str]) -> bool:
    """Whether the standard error goes to the service manager's journal (systemd.exec(5))."""
    try:
        here = os.fstat(sys.stderr.fileno())
    except (AttributeError, OSError, ValueError):
        return False
    return environment.get("JOURNAL_STREAM") == f"{here.st_dev}:{here.st_ino}"


@dataclass(slots=True)
class _Kind:
    since: float
    written: int = 0
    unwritten: int = 0


class Repeats(logging.Filter):
    """Lets the first few records of a kind within an hour pass.

    A record's kind is its `incident`, where whoever wrote it gave one, else its logger, its
    level and its message before anything is filled in.
    """

    def __init__(self) -> None:
        super().__init__()
        self._kinds: dict[object, _Kind] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether the record is written; one that is may be given a `note` for the reader."""
        key = getattr(record, "incident", None) or (
            record.name,
            record.levelno,
            str(record.msg),
        )
        kind = self._kinds.pop(key, None)
        note = ""
        # The clock may have been set back, which must not silence anything for longer.
        if kind is None or not 0 <= record.created - kind.since < HOUR:
            if kind is not None and kind.unwritten:
                note = f" ({kind.unwritten} such lines before were left out)"
            kind = _Kind(since=record.created)
        self._kinds[key] = kind
        if len(self._kinds) > _KINDS:
            del self._kinds[next(iter(self._kinds))]
        if kind.written == MOST:
            kind.unwritten += 1
            return False
        kind.written += 1
        if kind.written == MOST:
            note += " (repeats; more of this is left out for an hour)"
        record.note = note
        return True


class _OneLine(logging.Formatter):
    """A record is one line, its traceback too, so that a log can be searched by lines."""

    def format(self, record: logging.LogRecord) -> str:
        return super().format(record).replace("\n", " | ") + getattr(record, "note", "")


class _ForPerson(_OneLine):
    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")


class _ForJournal(_OneLine):
    def format(self, record: logging.LogRecord) -> str:
        fitting = (number for level, number in _PRIORITIES if record.levelno >= level)
        return f"<{next(fitting, 7)}>{super().format(record)}"
