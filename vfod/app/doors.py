"""The doors as the configuration wants them, each given the same few things to work with."""

import os
import platform
import ssl
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vfod.clock import Clock
from vfod.config.model import Config
from vfod.outputs.control import Control, ControlSettings
from vfod.outputs.door import Count, Snapshot
from vfod.outputs.mqtt import Mqtt, MqttSettings, Offer
from vfod.outputs.web import Beats, Certificate, Keys, Render, Web, WebSettings
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
    tls: ssl.SSLContext | None = None


NO_SECRETS = BrokerSecrets()


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
    keys: Keys,
    *,
    render: Render,
    beats: Beats,
    beside: Callable[[str], dict[str, Any]],
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
            zone=str(config.place.zone),
            keys=keys,
            certificate=certificate,
            proxies=settings.proxies,
        ),
        submit=hands.submit,
        subscribe=hands.follow("web"),
        snapshot=hands.snapshot,
        beside=beside,
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


def _offer(config: Config, vfo: str, link: LinkState) -> Offer:
    """What can be set at a VFO: its dial limits as the box now connected leaves them."""
    settings = config.vfos[vfo]
    receiver = settings.receiver
    if link.low is not None and link.high is not None:
        receiver = receiver.limited(link.low, link.high)
    reach = receiver.reachable()
    return Offer(
        low=reach[0][0] if reach else None,
        high=reach[-1][1] if reach else None,
        bands=tuple(band.name for band in config.bands),
        sweeps=tuple(name for name, sweep in config.sweeps.items() if sweep.vfo == vfo),
        level_unit="dBm" if settings.level_tables else "dB",
        settable=config.mqtt is None or config.mqtt.commands,
    )
