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


#: A shorter word can be guessed through a network within a lifetime.
TOKEN_LENGTH = 16


def token(path: str) -> str:
    """A secret for callers of ours: ConfigError where others may read it, or it is too short."""
    found = secret(path)
    if Path(path).stat().st_mode & 0o077:
        raise ConfigError([f"{path}: others may read the token; chmod 600 {path}"])
    if len(found) < TOKEN_LENGTH:
        text = f"{path}: the token has fewer than {TOKEN_LENGTH} characters; choose a longer one"
        raise ConfigError([text])
    return found
