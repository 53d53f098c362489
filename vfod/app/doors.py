"""The doors as the configuration wants them, each given the same few things to work with."""

import os
import platform
import ssl
from collections.abc import Awaitable, Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from vfod.app.hook import Hook, Works
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


_Door = TypeVar("_Door", bound=Works)


class Doorway(Hook[_Door]):
    """Where one door hangs that the configuration may change: taken out, put in, exchanged."""

    def __init__(self, name: str, door: _Door | None, tell: Tell) -> None:
        super().__init__(name, door, lambda: tell(DoorClosed(door=name)))


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
