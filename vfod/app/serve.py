"""`vfod serve`: the daemon on the real clock, with real ports, a real disk and the signals."""

import asyncio
import contextlib
import signal
import ssl
from pathlib import Path

from vfod.app.daemon import Daemon
from vfod.app.doors import BrokerSecrets
from vfod.app.notify import ServiceManager
from vfod.app.recall import Memory
from vfod.clock import SystemClock
from vfod.config.model import Config, Mqtt, VfoConfig, Web
from vfod.config.secrets import secret, token
from vfod.device.address import port_from
from vfod.device.claim import claimed
from vfod.device.port import Port
from vfod.errors import ConfigError
from vfod.outputs.web import NO_KEYS, Keys
from vfod.store import Threaded


async def serve(
    config: Config, *, socket_path: str, journal_path: str, notify: ServiceManager | None = None
) -> None:
    """Run the daemon until SIGTERM or SIGINT, and keep the service manager told.

    Raises AlreadyRunningError, StoreError or DoorError when it cannot begin.
    """
    clock = SystemClock()
    journal = Path(journal_path)
    memory = Memory(journal)
    store = Threaded(journal)
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=_port,
        memory=memory,
        socket=Path(socket_path),
        broker=_secrets(config.mqtt),
        keys=_keys(config.web),
    )
    assert daemon.control is not None
    with contextlib.ExitStack() as claims:
        daemon.control.claim()
        claims.callback(daemon.control.release)
        claims.enter_context(claimed(settings.port for settings in config.vfos.values()))
        if daemon.mqtt is not None:
            await daemon.mqtt.claim()
        store.open(clock.wall())
        living = asyncio.create_task(daemon.run(), name="daemon")
        watching = None

        def end() -> None:
            if notify is not None:
                notify.stopping()
            living.cancel()

        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, end)
        if notify is not None:
            notify.ready()
            watching = asyncio.create_task(notify.watch(daemon.beats, clock), name="watchdog")
        try:
            await living
        except asyncio.CancelledError:
            if not living.cancelled():
                raise
        finally:
            if watching is not None:
                watching.cancel()


def _port(settings: VfoConfig) -> Port:
    return port_from(settings.port, baud=settings.baud, dtr=settings.dtr, rts=settings.rts)


def _keys(web: Web | None) -> Keys:
    """The tokens in the files that the configuration names, and a look at its certificate."""
    if web is None:
        return NO_KEYS
    if web.certificate_file is not None:
        try:
            context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
            context.load_cert_chain(web.certificate_file, web.key_file)
        except OSError as error:  # of which an SSLError is one
            reason = error.strerror or error
            raise ConfigError(
                [f"{web.certificate_file}: no certificate with this key ({reason}); name both"]
            ) from error
    return Keys(
        change=None if web.token_file is None else token(web.token_file),
        look=None if web.read_token_file is None else token(web.read_token_file),
    )


def _secrets(mqtt: Mqtt | None) -> BrokerSecrets:
    """What the files say that the configuration names; ConfigError names the file."""
    if mqtt is None:
        return BrokerSecrets()
    password = secret(mqtt.password_file) if mqtt.password_file is not None else None
    tls = None
    if mqtt.tls:
        try:
            tls = ssl.create_default_context(cafile=mqtt.ca_file)
        except OSError as error:  # of which an SSLError is one
            reason = error.strerror or error
            raise ConfigError(
                [f"{mqtt.ca_file}: cannot be used for the broker ({reason}); name its authorities"]
            ) from error
    return BrokerSecrets(password=password, tls=tls)
