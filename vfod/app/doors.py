"""The doors as the configuration wants them, each given the same few things to work with."""

import asyncio
import os
import platform
import ssl
from collections.abc import Awaitable, Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar

from vfod.clock import Clock
from vfod.config.model import Config
from vfod.events import DoorClosed
from vfod.outputs.control import Control, ControlSettings
from vfod.outputs.door import Count, Snapshot
from vfod.outputs.mqtt import Mqtt, MqttSettings, Offer
from vfod.outputs.web import NO_KEYS, Beats, Certificate, Keys, Render, Web, WebSettings
from vfod.radio.levels import CALIBRATED, RELATIVE, Source
from vfod.state import Feed, Submit, Tell
from vfod.state.model import LinkState


@dataclass(frozen=True, kw_only=True, slots=True)
class Hands:
    """What every door is handed; `follow` gives a subscription by the door's name."""

    submit: Submit
    follow: Callable[[str], Callable[[], AbstractContextManager[Feed]]]
    snapshot: Snapshot
    tell: Tell
    count: Count
    clock: Clock


@dataclass(frozen=True, kw_only=True, slots=True)
class BrokerSecrets:
    """What the broker wants to see, read from files of their own; never from the configuration."""

    password: str | None = field(default=None, repr=False)
    #: The certificates of the authorities to believe, where a file names them, and what they make.
    authorities: bytes | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, kw_only=True, slots=True)
class WebSecrets:
    """The tokens of HTTP, and what the files of its certificate and key hold."""

    keys: Keys = NO_KEYS
    certificate: tuple[bytes, ...] = field(default=(), repr=False)


@dataclass(frozen=True, kw_only=True, slots=True)
class Secrets:
    """What is in files of its own; two of them differ when what is in the files does."""

    broker: BrokerSecrets = BrokerSecrets()
    web: WebSecrets = WebSecrets()


NO_SECRETS = Secrets()


class Works(Protocol):
    """A door: it works until it is cancelled."""

    async def run(self) -> None:
        """Work."""
        ...


_Door = TypeVar("_Door", bound=Works)


class Doorway(Generic[_Door]):
    """Where one door hangs that the configuration may change: taken out, put in, exchanged."""

    def __init__(self, name: str, door: _Door | None, tell: Tell) -> None:
        self.door: _Door | None = door
        self._name = name
        self._tell = tell
        self._changed = asyncio.Event()

    def hang(self, door: _Door | None) -> None:
        """Put another door there, once the one before is closed; None closes it for good."""
        self.door = door
        self._changed.set()

    async def run(self) -> None:
        """Let the door that hangs here work, until cancelled."""
        while True:
            self._changed.clear()
            await self._until_changed()
            if self.door is None:
                self._tell(DoorClosed(door=self._name))

    async def _until_changed(self) -> None:
        if self.door is None:
            await self._changed.wait()
            return
        working = asyncio.create_task(self.door.run(), name=self._name)
        changed = asyncio.create_task(self._changed.wait(), name=f"{self._name} changed")
        try:
            await asyncio.wait({working, changed}, return_when=asyncio.FIRST_COMPLETED)
            if working.done() and not changed.done():
                # A door rebuilds itself; what comes out here is a defect, and not kept silent.
                working.result()
                await changed
        finally:
            for task in (working, changed):
                task.cancel()
            await asyncio.gather(working, changed, return_exceptions=True)


def control(config: Config, path: Path, hands: Hands) -> Control:
    """The control socket at `path`."""
    return Control(
        ControlSettings(path=path, group=config.control.group),
        submit=hands.submit,
        subscribe=hands.follow("control"),
        snapshot=hands.snapshot,
        tell=hands.tell,
        count=hands.count,
        clock=hands.clock,
    )


def web(
    config: Config,
    hands: Hands,
    secrets: WebSecrets,
    *,
    render: Render,
    beats: Beats,
    beside: Callable[[str], dict[str, Any]],
    tonight: Callable[[str], Awaitable[str]] | None,
) -> Web | None:
    """HTTP, where it is not switched off."""
    settings = config.web
    if settings is None:
        return None
    certificate = None
    if settings.certificate_file is not None and settings.key_file is not None:
        certificate = Certificate(chain=settings.certificate_file, key=settings.key_file)
    return Web(
        WebSettings(
            host=settings.host,
            port=settings.port,
            names=settings.names,
            keys=secrets.keys,
            certificate=certificate,
            proxies=settings.proxies,
        ),
        submit=hands.submit,
        subscribe=hands.follow("web"),
        snapshot=hands.snapshot,
        beside=beside,
        tonight=tonight,
        render=render,
        beats=beats,
        tell=hands.tell,
        count=hands.count,
        clock=hands.clock,
    )


def mqtt(config: Config, hands: Hands, secrets: BrokerSecrets) -> Mqtt | None:
    """MQTT, where a broker is named.

    The identifier is the name the daemon has at the broker: two daemons with one name would write
    over each other's topics anyway, and this way the broker makes it plain.
    """
    if config.mqtt is None:
        return None
    return Mqtt(
        MqttSettings(
            host=config.mqtt.host,
            port=config.mqtt.port,
            client_id=f"vfod-{config.mqtt.name}",
            username=config.mqtt.user,
            password=secrets.password,
            tls=secrets.tls,
            root=config.mqtt.name,
            name=config.mqtt.name,
            who=f"a daemon (process {os.getpid()} on {platform.node() or 'this machine'})",
        ),
        offer_of=lambda vfo, link: _offer(config, vfo, link),
        submit=hands.submit,
        subscribe=hands.follow("mqtt"),
        snapshot=hands.snapshot,
        tell=hands.tell,
        count=hands.count,
        clock=hands.clock,
    )


def offers(config: Config) -> dict[str, Offer]:
    """What is offered at each VFO, before a box has narrowed it: what MQTT describes."""
    return {vfo: _offer(config, vfo, LinkState()) for vfo in config.vfos}


def _offer(config: Config, vfo: str, link: LinkState) -> Offer:
    """What can be set at a VFO: its dial limits as the box now connected leaves them."""
    settings = config.vfos[vfo]
    receiver = settings.receiver
    if link.low is not None and link.high is not None:
        receiver = receiver.limited(link.low, link.high)
    reach = receiver.reachable()
    source = settings.level_from
    by_box = source in (Source.BOX, Source.BOTH)
    return Offer(
        low=reach[0][0] if reach else None,
        high=reach[-1][1] if reach else None,
        bands=tuple(band.name for band in config.bands),
        sweeps=tuple(name for name, sweep in config.sweeps.items() if sweep.vfo == vfo),
        level_unit=CALIBRATED if settings.level_tables and by_box else RELATIVE,
        by_sound=source in (Source.AUDIO, Source.BOTH),
        settable=config.mqtt is None or config.mqtt.commands,
    )
