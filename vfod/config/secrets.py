"""Secrets, which live in files of their own.

A secret is no part of a Config: it is read where it is used, so that it never reaches a log, the
state or the journal.
"""

from pathlib import Path

from vfod.errors import ConfigError


def secret(path: str) -> str:
    """The first line of a file; ConfigError where there is none to read."""
    try:
        with Path(path).open(encoding="utf-8") as file:
            found = file.readline().rstrip("\r\n")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no text"
        raise ConfigError([f"{path}: cannot be read ({reason}); write the secret there"]) from None
    if not found:
        raise ConfigError([f"{path}: its first line is empty; write the secret there"])
    return found
