"""The course of the demo: each step waits for what it needs to have happened, not for a time."""

import asyncio
import contextlib
import json
import os
import shlex
import socket
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from vfod.cli.demo import scene as s
from vfod.cli.demo.accounts import Accounts, compare, gather
from vfod.cli.demo.crew import VFOD, Crew, free_port, lines, program
from vfod.cli.demo.screen import Screen
from vfod.cli.demo.subscriber import Subscriber
from vfod.cli.demo.whole_night import whole_night
from vfod.clock import Clock
from vfod.errors import DaemonAbsentError, VfodError
from vfod.units import format_frequency

#: Seconds that any single step may take on a slow machine under load.
_PATIENCE = 60.0

#: Seconds that the rehearsal of a night may take there.
_WHOLE_NIGHT = 300.0

#: Seconds between two looks at something that cannot be waited for.
_LOOK_EVERY = 0.2

#: Visits between one disturbance and the next, so that the sweep is seen to work in between.
_VISITS_BETWEEN = 5

#: Steps that the hand turns the knob; two within a second already are a hand.
_TURNS = 3

_BROKER = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence false
"""


class Story:
    """The demo in one folder, with one crew."""

    def __init__(self, scene: s.Scene, crew: Crew, screen: Screen, clock: Clock) -> None:
        self._scene = scene
        self._crew = crew
        self._screen = screen
        self._clock = clock
        self._events: list[dict[str, Any]] = []
        self._news = asyncio.Event()
        self._subscriber: Subscriber | None = None

    async def run(self) -> bool:
        """Play it; whether all accounts agreed at the end."""
        screen = self._screen
        screen.heading("A simulated VFO, a daemon, a listener")
        simulator = await self._set_up()
        watching = asyncio.create_task(self._watch(), name="watch")
        try:
            await self._first_pass()
            await self._a_hand(simulator)
            await self._a_nudge()
            await self._the_end_of_the_sweep()
            agreed = await self._summary()
            await self._the_morning_after()
            return agreed
        finally:
            watching.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await watching

    # --- steps ----------------------------------------------------------------------------------

    async def _set_up(self) -> asyncio.subprocess.Process:
        broker = await self._broker()
        self._scene.write(when=self._clock.wall(), broker_port=broker)
        simulator = await self._crew.start(
            "simulator",
            *VFOD,
            *("simulate", str(self._scene.scenario), "--link", str(self._scene.port)),
            *("--seed", str(s.SEED), "--keys"),
        )
        await self._until(self._scene.port.exists, "the simulated VFO")
        self._screen.say(f"the simulated VFO is at {self._scene.port}")
        await self._shown("plan", s.SWEEP)
        await self._crew.start("daemon", *VFOD, "serve")
        deadline = self._clock.monotonic() + _PATIENCE
        while (await self._crew.shell("status"))[0] == DaemonAbsentError.exit_code:
            self._crew.check()
            if self._clock.monotonic() > deadline:
                raise VfodError(f"no daemon after {_PATIENCE:.0f} s")
            await self._pause()
        return simulator

    async def _broker(self) -> int | None:
        """Its port, with a subscriber at it; None where the machine has no such programs."""
        broker, subscriber = program("mosquitto"), program("mosquitto_sub")
        if broker is None or subscriber is None:
            missing = "mosquitto" if broker is None else "mosquitto-clients"
            self._screen.say(f"missing: {missing}; going on without a broker and a subscriber")
            return None
        port = free_port()
        file = self._scene.folder / "broker.conf"
        text = _BROKER.format(port=port)
        if os.getuid() == 0:
            # Else it becomes a user who may not read its file in a private folder.
            text += "user root\n"
        file.write_text(text, encoding="utf-8")
        await self._crew.start("broker", broker, "-c", str(file))
        await self._until(lambda: _answers(port), "the broker")
        listening = await self._crew.start(
            "subscriber", subscriber, *f"-h 127.0.0.1 -p {port} -t # -v".split(), listen=True
        )
        self._subscriber = Subscriber(lines(listening))
        self._screen.say(f"a broker is at 127.0.0.1:{port}, with a subscriber to everything")
        return port

    async def _first_pass(self) -> None:
        await self._happened("pass-completed", 1)

    async def _a_hand(self, simulator: asyncio.subprocess.Process) -> None:
        await self._more_visits()
        yielded, resumed = self._count("sweep-yielded"), self._count("sweep-resumed")
        self._screen.say("  a hand turns the knob")
        assert simulator.stdin is not None
        simulator.stdin.write(b"+" * _TURNS)
        await simulator.stdin.drain()
        await self._happened("sweep-yielded", yielded + 1)
        await self._happened("sweep-resumed", resumed + 1)

    async def _a_nudge(self) -> None:
        await self._more_visits()
        await self._shown("nudge", "-5k")
        # The quiet time of the demo is short; a slow machine shall not run out of it.
        await self._shown("stay", "5m")
        await self._shown("status")
        await self._shown("resume")

    async def _the_end_of_the_sweep(self) -> None:
        await self._happened("pass-completed", 2)
        await self._shown("sweep", "stop")
        code, out, err = await self._crew.shell("journal", "channels", "--json")
        if code != 0:
            raise VfodError(f"vfod journal exits with {code}: {err}")
        heard = [json.loads(line) for line in out.splitlines()]
        strongest = max(heard, key=lambda channel: channel["strongest"])
        self._screen.say("  the listener goes to the strongest channel of the journal")
        await self._shown("tune", *format_frequency(strongest["dial"]).split())
        station, _ = s.STATIONS[strongest["dial"]]
        await self._shown("note", "drums, then talk", "--sinpo", "45344", "--heard", station)

    async def _summary(self) -> bool:
        self._screen.heading("What everybody says of it")
        deadline = self._clock.monotonic() + 10
        while True:
            accounts = await gather(self._crew, self._subscriber)
            complaints = compare(accounts)
            # The journal and a subscriber may be a second behind.
            if not complaints or self._clock.monotonic() > deadline:
                break
            await self._pause()
        self._tell(accounts)
        for complaint in complaints:
            self._screen.say(f"  DISAGREEMENT: {complaint}")
        if not complaints:
            self._screen.say("\nall of them agree")
        return not complaints

    async def _the_morning_after(self) -> None:
        """Pages outlive the demo's folder, because they are there to be looked at."""
        self._screen.heading("The morning after")
        await self._shown("night")
        page, whole_page = _page("minute"), _page("night")
        await self._told("night", "--html", page)
        self._screen.say("a whole night on a clock that jumps takes half a minute")
        whole = whole_night(self._scene.folder, self._clock.wall())
        await self._told(*whole.words)
        await self._told(*whole.page(whole_page))
        self._screen.say(f"\nthis minute as a page: {Path(page).as_uri()}")
        self._screen.say(f"a whole night as a page: {Path(whole_page).as_uri()}")

    async def _told(self, *words: str) -> None:
        """Run a command that may take its time; its answer is only for when it fails."""
        code, _, err = await self._crew.shell(*words, patience=_WHOLE_NIGHT)
        if code != 0:
            raise VfodError(f"vfod {' '.join(words)} exits with {code}: {err}")

    def _tell(self, accounts: Accounts) -> None:
        for line in accounts.lines():
            self._screen.say(f"  {line}")

    # --- waiting --------------------------------------------------------------------------------

    async def _watch(self) -> None:
        process = await self._crew.start(
            "watcher", *VFOD, "status", "--watch", "--json", listen=True
        )
        watched = lines(process)
        await anext(watched, "")
        async for line in watched:
            event = json.loads(line)
            self._events.append(event)
            self._screen.event(event)
            self._news.set()

    def _count(self, kind: str) -> int:
        return sum(event["event"] == kind for event in self._events)

    async def _happened(self, kind: str, times: int) -> None:
        """Wait until an event of that kind has been seen so often."""
        await self._seen(lambda: self._count(kind) >= times, kind.replace("-", " "))

    async def _more_visits(self) -> None:
        wanted = self._count("channel-observed") + _VISITS_BETWEEN
        await self._happened("channel-observed", wanted)

    async def _seen(self, is_so: Callable[[], bool], what: str) -> None:
        """Wait for something that the daemon tells."""
        deadline = self._clock.monotonic() + _PATIENCE
        while not is_so():
            self._crew.check()
            if self._clock.monotonic() > deadline:
                daemon = self._crew.last_words("daemon")
                raise VfodError(f"{what}: not seen for {_PATIENCE:.0f} s; daemon: {daemon}")
            self._news.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(1):
                    await self._news.wait()

    async def _until(self, is_so: Callable[[], bool], what: str) -> None:
        """Wait for something outside the daemon."""
        deadline = self._clock.monotonic() + _PATIENCE
        while not is_so():
            self._crew.check()
            if self._clock.monotonic() > deadline:
                raise VfodError(f"{what} was not there after {_PATIENCE:.0f} s")
            await self._pause()

    async def _pause(self) -> None:
        await self._clock.sleep_until(self._clock.monotonic() + _LOOK_EVERY)

    async def _shown(self, *words: str) -> None:
        """Run a command as the listener would, and show it with its answer."""
        self._screen.say(f"$ vfod {shlex.join(words)}")
        code, out, err = await self._crew.shell(*words)
        for line in (out + err).splitlines():
            self._screen.say(f"  {line}")
        if code != 0:
            raise VfodError(f"vfod {' '.join(words)} exits with {code}")


def _page(name: str) -> str:
    """A file of nobody else's for a page."""
    with tempfile.NamedTemporaryFile(
        prefix=f"vfod-demo-{name}-", suffix=".html", delete=False
    ) as file:
        return file.name


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True
