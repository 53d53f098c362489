"""`vfod status --watch`: the state now, then every event as it happens."""

import contextlib
import json
from collections.abc import Generator
from typing import Any

from vfod.cli.ask import connect, socket_path
from vfod.cli.parser import Parser
from vfod.cli.setting import local_text, result_of
from vfod.errors import DaemonAbsentError
from vfod.plan.localtime import parse_zone

_QUESTION = b'{"jsonrpc":"2.0","id":1,"method":"watch"}\n'


def watch(words: list[str]) -> int:
    """Print until Ctrl-C, or until the daemon ends."""
    parser = Parser(
        "status --watch",
        "The state now, then every event as it happens, until Ctrl-C.",
        "vfod status --watch",
    )
    parser.add_argument("--watch", action="store_true", required=True, help="what this is about")
    parser.add_argument("--vfo", metavar="NAME", help="events of one VFO only, and the daemon's")
    parser.add_socket()
    parser.add_json("print each event as a line of JSON")
    given = parser.parse_args(words)
    path = socket_path(given.socket)
    with contextlib.closing(follow(path)) as lines:
        first = result_of(next(lines, {}))
        # A daemon of an older version does not say it.
        zone = parse_zone(first.get("zone", "UTC"))
        print(json.dumps(first) if given.json else first["text"], flush=True)
        for line in lines:
            event = line["params"]
            zone = parse_zone(event["data"].get("zone", zone.key))
            if given.vfo and event["vfo"] not in ("", given.vfo):
                continue
            text = f"{local_text(event['time'], zone)}  {event['text']}"
            print(json.dumps(event) if given.json else text, flush=True)
    raise DaemonAbsentError(f"the daemon at {path} has ended", remedy="start it again")


def follow(path: str) -> Generator[dict[str, Any]]:
    """What a watcher is sent: the answer with the state, then notifications."""
    client = connect(path)
    try:
        client.sendall(_QUESTION)
        # An event may be hours away.
        client.settimeout(None)
        waiting = b""
        while part := client.recv(65536):
            *lines, waiting = (waiting + part).split(b"\n")
            yield from map(json.loads, lines)
    finally:
        client.close()
