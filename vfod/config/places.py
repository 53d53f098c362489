"""Where the configuration, the control socket and the journal are looked for.

The one place that states the orders of search; the environment is handed in.

    configuration  --config, $VFOD_CONFIG, $XDG_CONFIG_HOME/vfod/vfod.yaml (~/.config/vfod/...),
                   /etc/vfod/vfod.yaml: the first that exists, but a named one is never passed over
    socket         --socket, $VFOD_SOCKET, control.socket of the configuration (the daemon only),
                   $RUNTIME_DIRECTORY/control.sock, /run/vfod/control.sock,
                   $XDG_RUNTIME_DIR/vfod/control.sock
    journal        --journal, $VFOD_JOURNAL, journal.path of the configuration,
                   $STATE_DIRECTORY/journal.sqlite, /var/lib/vfod/journal.sqlite,
                   $XDG_STATE_HOME/vfod/journal.sqlite (~/.local/state/vfod/...)

Who looks for an existing socket or journal takes the first that exists.
Who makes one takes the first whose directory it may write to: /run/vfod and /var/lib/vfod are a
service's or root's, so a person's own daemon falls through to the person's own directories.
A name in the environment goes before the configuration, because the quick verbs of the command
line read no configuration and have to find the same socket.

The quick verbs import this file, so it pulls in nothing that a starting Python has not loaded:
no pathlib, no collections.abc.
"""

import os

from vfod.errors import ConfigError, UsageError

Environment = dict[str, str]

_CONFIG = "vfod.yaml"
_SOCKET = "control.sock"
_JOURNAL = "journal.sqlite"


def exists(path: str) -> bool:
    """Whether there is something of that name."""
    return os.access(path, os.F_OK)


def may_make(path: str) -> bool:
    """Whether this process may make a file of that name, or its missing directory."""
    top = "/" if path.startswith("/") else "."
    directory = path.rpartition("/")[0] or top
    while not exists(directory):
        directory = directory.rpartition("/")[0] or top
    return os.access(directory, os.W_OK | os.X_OK)


def config_places(environment: Environment) -> list[str]:
    """Where a configuration may lie, best first."""
    if named := environment.get("VFOD_CONFIG"):
        return [named]
    own = _under_home(environment, "XDG_CONFIG_HOME", ".config")
    return [*([f"{own}/vfod/{_CONFIG}"] if own else []), f"/etc/vfod/{_CONFIG}"]


def find_config(given: str | None, environment: Environment) -> str:
    """The configuration to read: `given` (--config), else the first place that exists.

    Raises ConfigError that lists the places looked at.
    """
    if given:
        return given
    places = config_places(environment)
    found = to_open(places)
    if exists(found) or environment.get("VFOD_CONFIG"):
        return found
    raise ConfigError(
        [f"there is no configuration at {' or '.join(places)}; write one, or name it with --config"]
    )


def socket_places(environment: Environment, configured: str | None = None) -> list[str]:
    """Where the control socket may lie, best first."""
    if named := environment.get("VFOD_SOCKET") or configured:
        return [named]
    places = [f"/run/vfod/{_SOCKET}"]
    if service := environment.get("RUNTIME_DIRECTORY"):
        places.insert(0, f"{service.partition(':')[0]}/{_SOCKET}")
    if own := environment.get("XDG_RUNTIME_DIR"):
        places.append(f"{own}/vfod/{_SOCKET}")
    return places


def journal_places(environment: Environment, configured: str | None = None) -> list[str]:
    """Where the journal may lie, best first."""
    if named := environment.get("VFOD_JOURNAL") or configured:
        return [named]
    places = [f"/var/lib/vfod/{_JOURNAL}"]
    if service := environment.get("STATE_DIRECTORY"):
        places.insert(0, f"{service.partition(':')[0]}/{_JOURNAL}")
    if own := _under_home(environment, "XDG_STATE_HOME", ".local/state"):
        places.append(f"{own}/vfod/{_JOURNAL}")
    return places


def to_open(places: list[str]) -> str:
    """The first place that exists; the first of all where none does, for the error's sake."""
    return next((place for place in places if exists(place)), places[0])


def to_make(places: list[str]) -> str:
    """The first place this process may make; UsageError where it may make none."""
    for place in places:
        if may_make(place):
            return place
    raise UsageError(
        f"none of {', '.join(places)} can be made by this user",
        remedy="name another place in the configuration or on the command line",
    )


def _under_home(environment: Environment, variable: str, otherwise: str) -> str | None:
    """A directory of the XDG Base Directory Specification, None without a home."""
    # The specification wants a relative path in the variable to be ignored.
    if (named := environment.get(variable, "")).startswith("/"):
        return named
    home = environment.get("HOME")
    return f"{home}/{otherwise}" if home else None
