"""What each door of the daemon says of the same hour, and whether they say the same.

All of it is asked as a stranger would: by commands of the shell, over HTTP, at the broker. What
they say is also held against the air that the demo invented.
"""

import asyncio
import http.client
import json
import urllib.parse
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from vfod.cli.demo import scene as s
from vfod.cli.demo.crew import Crew
from vfod.cli.demo.subscriber import Subscriber
from vfod.errors import VfodError
from vfod.units import format_frequency


@dataclass(frozen=True, kw_only=True, slots=True)
class Accounts:
    """The answers; `subscriber` is None where the machine has no broker."""

    status: dict[str, Any]
    channels: list[dict[str, Any]]
    moves: list[dict[str, Any]]
    passes: int
    metrics: dict[str, float]
    subscriber: dict[str, str] | None
    messages: int

    @property
    def vfo(self) -> dict[str, Any]:
        """The status of the demo's one VFO."""
        vfo: dict[str, Any] = self.status["vfos"]["main"]
        return vfo

    def dials(self) -> dict[str, int | None]:
        """Where the dial is, by who says so."""
        found: dict[str, int | None] = {
            "status": self.vfo["dial"],
            "journal": self.moves[-1]["data"]["dial"] if self.moves else None,
            "metrics": _whole(self.metrics.get("dial")),
        }
        if self.subscriber is not None:
            value = self.subscriber.get("dial/frequency", "")
            found["subscriber"] = int(value) if value.isdigit() else None
        return found

    def visits(self) -> dict[str, int | None]:
        """How many visits there were, by who says so."""
        return {
            "status": self.vfo["visits"],
            "journal": sum(channel["visits"] for channel in self.channels),
            "metrics": _whole(self.metrics.get("visits")),
        }

    def active(self) -> dict[str, list[int]]:
        """Where something was heard, by who says so; and where a station truly was."""
        return {
            "status": sorted(heard["dial"] for heard in self.vfo["heard"]),
            "journal": [c["dial"] for c in self.channels if c["active_visits"]],
            "the air itself": sorted(s.STATIONS),
        }

    def lines(self) -> Iterator[str]:
        """The summary, for a person."""
        dials = [channel["dial"] for channel in self.channels]
        low, high = format_frequency(dials[0]), format_frequency(dials[-1])
        yield (
            f"visited     {len(dials)} channels every {format_frequency(s.RASTER)} from "
            f"{low} to {high}, two bands without a gap"
        )
        yield f"            in {self.vfo['sweep']['passes']} passes and {self.vfo['visits']} visits"
        for channel in self.channels:
            if channel["active_visits"]:
                yield f"active      {_active_text(channel)}"
        for move in self.moves:
            yield f"moved       {move['text']}"
        for who, dial in self.dials().items():
            where = "nothing" if dial is None else format_frequency(dial)
            yield f"the dial    {where}, says the {who}" + ("" if who != "metrics" else " page")
        if self.subscriber is None:
            yield "received    no broker, no subscriber"
            return
        yield f"received    {self.messages} messages by the subscriber, the last values being"
        for end, value in self.subscriber.items():
            yield f"            {end} = {value}"


def compare(accounts: Accounts) -> list[str]:
    """Where the accounts do not agree, in sentences; empty where they do."""
    found = []
    for what, says in (
        ("where the dial is", accounts.dials()),
        ("how many visits there were", accounts.visits()),
        ("what was active", accounts.active()),
        (
            "how many passes",
            {"status": accounts.vfo["sweep"]["passes"], "journal": accounts.passes},
        ),
    ):
        values = list(says.values())
        if None in values or any(value != values[0] for value in values):
            told = "; ".join(f"{who} says {value}" for who, value in says.items())
            found.append(f"{what}: {told}")
    expected = list(range(s.LOW, s.HIGH + 1, s.RASTER))
    visited = [channel["dial"] for channel in accounts.channels]
    if visited != expected:
        gaps = ", ".join(map(format_frequency, sorted(set(expected) ^ set(visited))))
        found.append(f"not every channel was visited, or more than those: {gaps}")
    if {move["kind"] for move in accounts.moves} != {"dial-tuned", "knob-turned"}:
        found.append("the journal does not have both the hand and the shell as movers of the dial")
    return found


async def gather(crew: Crew, subscriber: Subscriber | None) -> Accounts:
    """Ask everybody."""
    status = json.loads(await _command(crew, "status", "--json"))
    moves = ("--kind", "dial-tuned", "--kind", "knob-turned")
    passes = await _command(crew, "journal", "--json", "--kind", "pass-completed")
    return Accounts(
        status=status,
        channels=_each(await _command(crew, "journal", "channels", "--json")),
        moves=_each(await _command(crew, "journal", "--json", *moves)),
        passes=len(_each(passes)),
        metrics=numbers(await asyncio.to_thread(_page, status["doors"]["web"]["where"])),
        subscriber=subscriber.last() if subscriber else None,
        messages=subscriber.messages if subscriber else 0,
    )


def numbers(page: str) -> dict[str, float]:
    """The dial, and the visits of all bands, from a page of metrics."""
    found: dict[str, float] = {}
    for name, begin in (
        ("dial", "vfod_dial_frequency_hertz{"),
        ("visits", "vfod_visits_total{"),
    ):
        values = [float(x.rpartition(" ")[2]) for x in page.splitlines() if x.startswith(begin)]
        if values:
            found[name] = sum(values)
    return found


async def _command(crew: Crew, *words: str) -> str:
    code, out, err = await crew.shell(*words)
    if code != 0:
        raise VfodError(f"vfod {' '.join(words)} exits with {code}: {err}")
    return out


def _each(lines: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines.splitlines()]


def _page(address: str) -> str:
    place = urllib.parse.urlsplit(address)
    connection = http.client.HTTPConnection(place.hostname or "", place.port, timeout=10)
    try:
        connection.request("GET", "/metrics")
        return connection.getresponse().read().decode()
    finally:
        connection.close()


def _active_text(channel: dict[str, Any]) -> str:
    share = f"{channel['active_visits']} of {channel['judged_visits']} visits that could tell"
    level = f"{channel['strongest']:.0f} {channel['unit']}"
    return f"{format_frequency(channel['dial'])}, in {share}, up to {level}"


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)
