"""`vfod serve`: the daemon on the real clock, with real ports, a real disk and the signals."""

import asyncio
import contextlib
import os
import random
import signal
import ssl
from functools import partial
from pathlib import Path

from vfod.app.daemon import Daemon
from vfod.app.doors import BrokerSecrets, Secrets, WebSecrets
from vfod.app.listening import Recorder, Told
from vfod.app.notify import ServiceManager
from vfod.app.recall import Memory
from vfod.clock import Clock, SystemClock
from vfod.config.loading import load
from vfod.config.model import Config, Mqtt, VfoConfig, Web
from vfod.config.secrets import secret, token
from vfod.device.address import port_from
from vfod.device.audio import PROGRAMS, Audio
from vfod.device.claim import claimed
from vfod.device.port import Port
from vfod.errors import ConfigError
from vfod.events import Door, Origin
from vfod.outputs.web import Keys
from vfod.store import Threaded

#: Who asks by the signal.
_HANGUP = Origin(door=Door.DAEMON, who="SIGHUP")


async def serve(
    config: Config, *, socket_path: str, journal_path: str, notify: ServiceManager | None = None
) -> None:
    """Run the daemon until SIGTERM or SIGINT, reload at SIGHUP, and keep the service manager told.

    Raises AlreadyRunningError, StoreError or DoorError when it cannot begin.
    """
    clock = SystemClock()

    def reread() -> tuple[Config, Secrets]:
        fresh = load(config.path)
        return fresh, _secrets(fresh)

    journal = Path(journal_path)
    memory = Memory(journal)
    store = Threaded(journal)
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        journal=journal,
        port_for=_port,
        recorder_for=partial(_recorder, clock),
        memory=memory,
        socket=Path(socket_path),
        secrets=_secrets(config),
        reread=reread,
        manager=notify,
    )
    assert daemon.control is not None
    with contextlib.ExitStack() as claims:
        daemon.control.claim()
        claims.callback(daemon.control.release)
        ports = claims.enter_context(claimed(settings.port for settings in config.vfos.values()))
        daemon.claim_ports = ports.hold
        if daemon.mqtt is not None:
            await daemon.mqtt.claim()
        store.open(clock.wall())
        living = asyncio.create_task(daemon.run(), name="daemon")
        watching = None
        reloads: set[asyncio.Task[None]] = set()

        def end() -> None:
            if notify is not None:
                notify.stopping()
            living.cancel()

        has_terminal = os.isatty(2)

        def hang_up() -> None:
            if has_terminal and not os.isatty(2):
                # The window was closed in which a person had started it.
                end()
                return
            task = asyncio.create_task(daemon.reload(_HANGUP), name="reload")
            reloads.add(task)
            task.add_done_callback(reloads.discard)

        loop = asyncio.get_running_loop()
        loop.add_signal_handler(signal.SIGHUP, hang_up)
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


def _recorder(clock: Clock, settings: VfoConfig, told: Told) -> Recorder:
    audio = settings.audio
    assert audio is not None
    return Audio(
        (*PROGRAMS[audio.program], audio.device),
        clock,
        random.Random(),  # noqa: S311 - jitter of pauses, nothing secret
        up=told.up,
        down=told.down,
        judged=told.judged,
    )


def _secrets(config: Config) -> Secrets:
    """What the files say that the configuration names; ConfigError names the file."""
    return Secrets(broker=_of_broker(config.mqtt), web=_of_web(config.web))


def _of_web(web: Web | None) -> WebSecrets:
    """The tokens, and a look at the certificate."""
    if web is None:
        return WebSecrets()
    certificate: tuple[bytes, ...] = ()
    if web.certificate_file is not None and web.key_file is not None:
        try:
            context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
            context.load_cert_chain(web.certificate_file, web.key_file)
            certificate = tuple(Path(f).read_bytes() for f in (web.certificate_file, web.key_file))
        except OSError as error:  # of which an SSLError is one
            reason = error.strerror or error
            raise ConfigError(
                [f"{web.certificate_file}: no certificate with this key ({reason}); name both"]
            ) from error
    keys = Keys(
        change=None if web.token_file is None else token(web.token_file),
        look=None if web.read_token_file is None else token(web.read_token_file),
    )
    return WebSecrets(keys=keys, certificate=certificate)


def _of_broker(mqtt: Mqtt | None) -> BrokerSecrets:
    if mqtt is None:
        return BrokerSecrets()
    password = secret(mqtt.password_file) if mqtt.password_file is not None else None
    authorities = tls = None
    if mqtt.tls:
        try:
            if mqtt.ca_file is not None:
                authorities = Path(mqtt.ca_file).read_bytes()
            tls = ssl.create_default_context(cafile=mqtt.ca_file)
        except OSError as error:  # of which an SSLError is one
            reason = error.strerror or error
            raise ConfigError(
                [f"{mqtt.ca_file}: cannot be used for the broker ({reason}); name its authorities"]
            ) from error
    return BrokerSecrets(password=password, authorities=authorities, tls=tls)
