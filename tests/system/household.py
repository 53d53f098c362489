"""Simulator, broker and daemon as processes of their own, each of which can be killed."""

import http.client
import itertools
import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from tests.hours import morning
from tests.real_parts import Server, free_port
from vfod.clock import wait_until

CONFIG = """
place: {{zone: {zone}, region: 1}}
vfos:
  main:
    port: {here}/vfo0
    quiet: 2s
    receiver: [{{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}}]
    level_table: {{0: -130dBm, 4095: -10dBm}}
    {first}
  {second}
sweeps:
  test: {{bands: [41m], dwell: 250ms, settle: 100ms, readings: 2, hold: off}}
windows:
  - {{name: first, sweep: test, from: 00:00, until: 12:00}}
  - {{name: second, sweep: test, from: 12:00, until: 00:00}}
mqtt: {{host: 127.0.0.1, port: {broker}}}
web: {{listen: "127.0.0.1:{web}"{more}}}
"""


#: Of the questions to brokers.
_asked = itertools.count()


class Household:
    """Where everything is, and what each door says.

    `more` are further keys of web:, `first` of the VFO, `second` is a second VFO.
    """

    def __init__(
        self, here: Path, broker: Server, more: str = "", first: str = "", second: str = ""
    ) -> None:
        self.here = here
        self.broker = broker
        self.web = free_port()
        self.journal = here / "journal.sqlite"
        self.socket = here / "control.sock"
        self.config = here / "vfod.yaml"
        self.config.write_text(
            CONFIG.format(
                here=here,
                broker=broker.port,
                web=self.web,
                more=more,
                first=first,
                second=second,
                zone=morning(),
            )
        )
        #: A file that says what the simulated box and its air are like; none is the usual evening.
        self.scenario: tuple[str, ...] = ()
        self._running: dict[str, subprocess.Popen[bytes]] = {}

    @property
    def url(self) -> str:
        """The page."""
        return f"http://127.0.0.1:{self.web}/"

    def start(self, name: str) -> None:
        """Start "box", "broker" or "daemon"."""
        if name == "broker":
            self.broker.start()
            return
        words = {
            "box": ["simulate", *self.scenario, "--link", str(self.here / "vfo0"), "--keys"],
            "daemon": ["serve", "--config", str(self.config), "--socket", str(self.socket),
                       "--journal", str(self.journal)],
        }[name]  # fmt: skip
        with (self.here / f"{name}.log").open("ab") as log:
            self._running[name] = subprocess.Popen(
                [sys.executable, "-m", "vfod", *words],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONPATH": str(Path.cwd())},
            )

    def kill(self, name: str) -> None:
        """End it without a word."""
        if name == "broker":
            self.broker.kill()
            return
        self._end(name, signal.SIGKILL)

    def stop(self, name: str) -> int:
        """Ask it to end; its exit status."""
        return self._end(name, signal.SIGTERM)

    def signal(self, name: str, number: signal.Signals) -> None:
        """Send it a signal and let it run."""
        self._running[name].send_signal(number)

    def _end(self, name: str, number: int) -> int:
        process = self._running.pop(name)
        process.send_signal(number)
        status = process.wait(60)
        if process.stdin is not None:
            process.stdin.close()
        return status

    def close(self) -> None:
        """End all that runs."""
        for name in list(self._running):
            self.kill(name)

    def knob(self, keys: bytes) -> None:
        """Keys of the simulator: + and - turn."""
        stdin = self._running["box"].stdin
        assert stdin is not None
        stdin.write(keys)
        stdin.flush()

    # --- what the doors say ---------------------------------------------------------------------

    def ask(self, method: str, **params: object) -> dict[str, Any]:
        """What the control socket answers."""
        request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as door:
            door.settimeout(60)
            try:
                door.connect(str(self.socket))
            except OSError:
                self._must_live("daemon")
                raise
            door.sendall(json.dumps(request).encode() + b"\n")
            answer = json.loads(door.makefile("rb").readline())
        assert "result" in answer, answer
        return dict(answer["result"])

    def _must_live(self, name: str) -> None:
        """Where nobody answers any more, it is said at once, with the last words."""
        process = self._running.get(name)
        if process is not None and process.poll() is not None:
            said = (self.here / f"{name}.log").read_text()
            raise AssertionError(f"the {name} has ended:\n{said}")

    def vfo(self) -> dict[str, Any]:
        """The state of the VFO by the control socket."""
        return dict(self.ask("status")["vfos"]["main"])

    def page(self) -> str:
        """What /metrics says."""
        web = http.client.HTTPConnection("127.0.0.1", self.web, timeout=60)
        web.request("GET", "/metrics")
        page = web.getresponse().read().decode()
        web.close()
        return page

    def scraped(self) -> int:
        """The dial by /metrics, hertz."""
        line = next(
            w for w in self.page().splitlines() if w.startswith("vfod_dial_frequency_hertz{")
        )
        return int(float(line.rpartition(" ")[2]))

    def retained(self) -> dict[str, str]:
        """What the broker holds of the daemon and the VFO: the last levels of each topic."""
        return retained(self.broker.port)


def retained(port: int) -> dict[str, str]:
    """What a broker on this machine holds, by the topics without their first two levels."""
    found: dict[str, str] = {}
    last = f"test/{os.getpid()}/{next(_asked)}"
    client = paho.Client(CallbackAPIVersion.VERSION2)

    def connected(*_: object) -> None:
        client.subscribe("#", 1)

    def subscribed(*_: object) -> None:
        # The broker keeps the order (MQTT 3.1.1, 4.6): when this comes back, all it held has come.
        client.publish(last, b"", 1)

    def told(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        topic = message.topic
        found[topic if topic == last else "/".join(topic.split("/")[2:])] = message.payload.decode()

    client.on_connect, client.on_subscribe, client.on_message = connected, subscribed, told
    client.connect("127.0.0.1", port)
    while last not in found:
        if client.loop(0.1) != paho.MQTT_ERR_SUCCESS:
            raise OSError("the broker has gone")
    client.disconnect()
    del found[last]
    return found


async def until(what: Callable[[], Any], clock: Callable[[], float], limit: float = 120.0) -> Any:
    """Ask again every tenth of a second of real time until the answer is true."""
    deadline = clock() + limit
    last: object = None
    while clock() < deadline:
        try:
            if last := what():
                return last
        except (OSError, ValueError, StopIteration) as error:
            last = error
        await wait_until(clock() + 0.1)
    raise AssertionError(f"not within {limit} s; last: {last!r}")
