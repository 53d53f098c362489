"""One connection to a broker, from the first description to the farewell.

Four things go on side by side: to notice that something happened, to publish what changed, to
receive (all the time, since that is also how a loss is noticed), and to carry out what was asked.
"""

import asyncio
import contextlib
import itertools
import logging
from collections.abc import Callable

from vfod.clock import Clock
from vfod.errors import DoorError, VfodError
from vfod.events import Door, Origin
from vfod.outputs.door import OTHER, Count, Snapshot, Subscribe
from vfod.outputs.mqtt import commands
from vfod.outputs.mqtt.broker import Broker, Message
from vfod.outputs.mqtt.devices import Devices
from vfod.outputs.mqtt.leftovers import Leftovers
from vfod.outputs.mqtt.owner import Owner
from vfod.outputs.mqtt.publisher import Publisher
from vfod.requests import Asked
from vfod.state import Submit

#: Settings that may wait to be carried out: a scene sets a handful of properties at once. One that
#: comes while so many wait is not carried out, but counted.
WAITING = 32

#: Seconds for the farewell; a broker that hangs does not keep the daemon.
FAREWELL = 1.5

#: What is counted beside "ok" and the words of errors: lay at the broker since an unknown time;
#: came while too many waited.
RETAINED, OVERFLOW = "retained", "overflow"

_log = logging.getLogger(__name__)


class Session:
    """Lives as long as its broker does; `run` ends with DoorError or by being cancelled."""

    def __init__(
        self,
        broker: Broker,
        *,
        base: str,
        devices: Devices,
        submit: Submit,
        subscribe: Subscribe,
        snapshot: Snapshot,
        count: Count,
        clock: Clock,
        numbers: "itertools.count[int]",
        owner: Owner,
    ) -> None:
        self._owner = owner
        self._broker = broker
        self._base = base
        self._devices = devices
        self._submit = submit
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._count = count
        self._numbers = numbers
        self._publisher = Publisher(broker, base=base, clock=clock)
        self._leftovers = Leftovers(
            broker,
            base=base,
            root=devices.root,
            known=lambda: {devices.id_of(vfo) for vfo in snapshot().vfos},
        )
        self._changed = asyncio.Event()
        self._settings: asyncio.Queue[Message] = asyncio.Queue(WAITING)

    async def run(self, opened: Callable[[], None]) -> None:
        """Keep the broker up to date; `opened` is called when all stands there."""
        try:
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(self._notice(), name="mqtt notice")
                tasks.create_task(self._publish(opened), name="mqtt publish")
                tasks.create_task(self._receive(), name="mqtt receive")
                tasks.create_task(self._obey(), name="mqtt obey")
        except asyncio.CancelledError:
            with contextlib.suppress(DoorError, TimeoutError):
                async with asyncio.timeout(FAREWELL):
                    await self._publisher.farewell()
            raise

    async def _notice(self) -> None:
        with self._subscribe() as feed:
            async for _ in feed:
                self._changed.set()

    async def _publish(self, opened: Callable[[], None]) -> None:
        state = self._snapshot()
        await self._publisher.begin(self._devices.root)
        await self._broker.subscribe(self._owner.asked)
        for one in self._devices.shown(state):
            if any(p.settable for p in one.device.properties().values()):
                await self._broker.subscribe(f"{self._base}/{one.device.id}/+/+/set")
        due = await self._publisher.update(self._devices.shown(self._snapshot()))
        opened()
        await self._leftovers.look()
        while True:
            # A clock's monotonic time is the loop's.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout_at(due):
                    await self._changed.wait()
            self._changed.clear()
            due = await self._publisher.update(self._devices.shown(self._snapshot()))

    async def _receive(self) -> None:
        async for message in self._broker.messages():
            if message.topic == self._owner.asked:
                await self._owner.answer(self._broker, message)
                continue
            if not message.topic.endswith("/set"):
                await self._leftovers.take(message)
                continue
            if message.retained:
                # Asked for at an unknown time: nobody may wait for it any more.
                self._count(Door.MQTT, OTHER, RETAINED)
                continue
            try:
                self._settings.put_nowait(message)
            except asyncio.QueueFull:
                self._count(Door.MQTT, OTHER, OVERFLOW)

    async def _obey(self) -> None:
        while True:
            message = await self._settings.get()
            device, _, rest = message.topic.removeprefix(f"{self._base}/").partition("/")
            vfo = self._devices.vfo_of(self._snapshot(), device)
            if vfo is not None:
                await self._set(vfo, device, rest.removesuffix("/set"), message.payload)

    async def _set(self, vfo: str, device: str, path: str, given: bytes) -> None:
        """Carry out one setting; in any case the value that holds is said again afterwards."""
        shown = next(
            s for s in self._devices.shown(self._snapshot()) if s.device.id == device
        ).device
        method, result = OTHER, "ok"
        try:
            request = commands.request_for(shown, path, given)
            method = commands.method_of(request)
            origin = Origin(door=Door.MQTT, who=self._devices.root)
            id_ = f"{Door.MQTT}-{next(self._numbers)}"
            answer = await self._submit(Asked(request=request, origin=origin, vfo=vfo, id=id_))
            if remark := answer.get("remark"):
                await self._publisher.log(device, "info", f"{path}: {remark}")
        except VfodError as error:
            result = error.code
            await self._publisher.log(device, "warn", f"{path}: {error}")
        except Exception:  # a defect must not close the door
            result = "internal"
            _log.exception("setting %s failed: %r", path[:80], given[:80])
            await self._publisher.log(device, "error", f"{path}: a defect of the daemon itself")
        else:
            if not shown.properties()[path].retained:
                await self._publisher.echo(device, path, given)
        finally:
            self._count(Door.MQTT, method, result)
        self._publisher.forget(device, path)
        self._changed.set()
