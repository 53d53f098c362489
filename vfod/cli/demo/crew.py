"""The processes of the demo: started, spoken to, and ended, whatever happens.

Each gets a session of its own, so that Ctrl-C reaches the demo alone, which then ends them in
order.
"""

import asyncio
import os
import shutil
import signal
import socket
import sys
from asyncio.subprocess import DEVNULL, PIPE, STDOUT, Process
from collections.abc import AsyncIterator
from pathlib import Path

from vfod.errors import VfodError

#: Seconds for a process to end by itself before it is killed.
_PARTING = 5.0

#: Seconds for a command of the shell to answer, on a slow machine under load.
_ANSWER = 20.0

#: This very program, whether it is installed or a checkout.
VFOD = (sys.executable, "-m", "vfod")


def program(name: str) -> str | None:
    """The path of a program; servers are often where only root looks."""
    return shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")


def free_port() -> int:
    """A TCP port of 127.0.0.1 at which nobody listens at this moment."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


class Crew:
    """Everything that was started; use it in an `async with`, which ends it all."""

    def __init__(self, folder: Path, environment: dict[str, str]) -> None:
        self.folder = folder
        self._environment = environment
        self._members: list[tuple[str, Process]] = []

    async def __aenter__(self) -> "Crew":
        return self

    async def __aexit__(self, *exc: object) -> None:
        # The last started first: nothing then misses what it depends on.
        for _, member in reversed(self._members):
            await _end(member)

    async def start(self, name: str, *command: str, listen: bool = False) -> Process:
        """Start a process; `listen` leaves its output to the caller, else it goes into a log."""
        with (self.folder / f"{name}.log").open("wb") as log:
            process = await asyncio.create_subprocess_exec(
                *command,
                stdin=PIPE,
                stdout=PIPE if listen else log,
                stderr=log if listen else STDOUT,
                env=self._environment,
                start_new_session=True,
            )
        self._members.append((name, process))
        return process

    def check(self) -> None:
        """Raise VfodError when one of them has ended before its time, with its last words."""
        for name, process in self._members:
            if process.returncode is not None:
                words = self.last_words(name)
                raise VfodError(f"{name} ended with {process.returncode}: {words}")

    def last_words(self, name: str) -> str:
        """The end of a process's log."""
        text = (self.folder / f"{name}.log").read_text(encoding="utf-8", errors="replace")
        return " | ".join(text.splitlines()[-5:]) or "it said nothing"

    async def shell(self, *words: str, patience: float = _ANSWER) -> tuple[int, str, str]:
        """What `vfod WORDS` exits with and prints."""
        process = await asyncio.create_subprocess_exec(
            *VFOD, *words, stdin=DEVNULL, stdout=PIPE, stderr=PIPE, env=self._environment
        )
        try:
            async with asyncio.timeout(patience):
                out, err = await process.communicate()
        except TimeoutError:
            raise VfodError(f"vfod {' '.join(words)} took more than {patience:.0f} s") from None
        finally:
            await _end(process)
        return process.returncode or 0, out.decode(), err.decode()


async def lines(process: Process) -> AsyncIterator[str]:
    """The lines a process prints."""
    assert process.stdout is not None
    async for line in process.stdout:
        yield line.decode("utf-8", "replace").rstrip("\n")


async def _end(process: Process) -> None:
    for number in (signal.SIGTERM, signal.SIGKILL):
        if process.returncode is not None:
            return
        process.send_signal(number)
        try:
            async with asyncio.timeout(_PARTING):
                await process.wait()
        except TimeoutError:
            continue
