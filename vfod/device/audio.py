"""The receiver's sound, from a child process that records it: started, watched, started again.

A crash in an audio library takes the child and not the daemon; a sound card that is pulled out or
a sound server that dies ends it, and it is started anew after a pause that grows. What it delivers
is raw: signed 16 bits, little-endian, one channel, sound.RATE a second.
"""

import asyncio
import contextlib
import os
import sys
from array import array
from collections.abc import Callable, Sequence
from random import Random

from vfod.clock import Clock
from vfod.device.timing import BACK_OFF_FIRST, BACK_OFF_LONGEST
from vfod.errors import LineError, LineLostError, NoReplyError, PortForbiddenError, PortMissingError
from vfod.survey.sound import RATE, Recording
from vfod.survey.soundness import Ear, Soundness

#: Seconds of a block: short against a dwell, and twenty wakings a second cost nothing.
BLOCK = 0.05
_BYTES = 2 * round(BLOCK * RATE)

#: No sound for so long, and the child is taken for stuck: recorders of servers that hang do so.
NO_DATA = 2.0

#: Of what the child says, so much is kept: its last words are the reason it ended.
_WORDS = 2000

#: What each program must be told; the device follows.
PROGRAMS: dict[str, tuple[str, ...]] = {
    "arecord": (
        *("arecord", "-q", "-t", "raw", "-f", "S16_LE", "-r", str(RATE), "-c", "1"),
        *("-F", str(round(BLOCK * 1e6)), "-D"),
    ),
    "parec": (
        *("parec", "--raw", "--format=s16le", f"--rate={RATE}", "--channels=1"),
        *(f"--latency-msec={round(BLOCK * 1000)}", "--device"),
    ),
}

#: The Debian package of each program.
_PACKAGES = {"arecord": "alsa-utils", "parec": "pulseaudio-utils"}


class Audio:
    """Keeps one recorder running. `run` ends only by being cancelled, and ends the child.

    `up` is called when sound comes after none, `down` once each time that it is gone, `judged` when
    it becomes silent, clipped, or good again. `recording` has the last seconds of it.
    """

    def __init__(
        self,
        command: Sequence[str],
        clock: Clock,
        random: Random,
        *,
        up: Callable[[], None],
        down: Callable[[LineError], None],
        judged: Callable[[Soundness], None],
    ) -> None:
        self._command = list(command)
        self._clock = clock
        self._random = random
        self._up = up
        self._down = down
        self._judged = judged
        self._said: str | None = None
        self.recording = Recording()
        #: Set while sound comes.
        self.flowing = asyncio.Event()

    async def run(self) -> None:
        """Keep at it until cancelled."""
        failures = 0
        while True:
            try:
                await self._one_child()
            except LineError as error:
                failures = 0 if self.flowing.is_set() else failures + 1
                self.flowing.clear()
                if error.reason != self._said:
                    self._said = error.reason
                    self._down(error)
            longest = min(BACK_OFF_FIRST * 2.0 ** min(failures, 30), BACK_OFF_LONGEST)
            pause = self._random.uniform(BACK_OFF_FIRST, longest)
            await self._clock.sleep_until(self._clock.monotonic() + pause)

    async def _one_child(self) -> None:
        """Start it and listen; raises LineError at its end."""
        child = await self._started()
        words = asyncio.create_task(_last_words(child.stderr), name="recorder's words")
        try:
            await self._listen(child, words)
        finally:
            with contextlib.suppress(ProcessLookupError):
                child.kill()
            await asyncio.shield(child.wait())
            words.cancel()

    async def _started(self) -> asyncio.subprocess.Process:
        name = self._command[0]
        try:
            return await asyncio.create_subprocess_exec(
                *self._command,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                limit=16 * _BYTES,
                env={**os.environ, "LC_ALL": "C"},
            )
        except FileNotFoundError:
            package = _PACKAGES.get(name, name)
            raise PortMissingError(
                f"there is no program {name}", remedy=f"apt-get install {package}"
            ) from None
        except PermissionError:
            raise PortForbiddenError(f"{name} may not be started") from None
        except OSError as error:
            raise LineError(f"{name}: {error.strerror}", reason="unstarted") from None

    async def _listen(self, child: asyncio.subprocess.Process, words: "asyncio.Task[str]") -> None:
        assert child.stdout is not None
        self.recording, ear = Recording(), Ear(BLOCK)
        name = self._command[0]
        while True:
            try:
                async with asyncio.timeout(NO_DATA):
                    data = await child.stdout.readexactly(_BYTES)
            except TimeoutError:
                raise NoReplyError(
                    f"{name} runs and gives no sound", remedy="see that the device is not in use"
                ) from None
            except asyncio.IncompleteReadError:
                code = await child.wait()
                said = await words
                raise LineLostError(
                    f"{name} ended ({said or f'exit code {code}'})",
                    remedy=f"try: {' '.join(self._command)} > /dev/null",
                ) from None
            samples = array("h", data)
            if sys.byteorder == "big":
                samples.byteswap()
            self.recording.add(samples, self._clock.monotonic())
            if not self.flowing.is_set():
                self._said = None
                self.flowing.set()
                self._up()
            if (changed := ear.hear(samples)) is not None:
                self._judged(changed)


async def _last_words(stream: asyncio.StreamReader | None) -> str:
    """The last line that the child wrote; all of it is read, else it would stop at a full pipe."""
    said = b""
    while stream is not None and (more := await stream.read(_WORDS)):
        said = (said + more)[-_WORDS:]
    lines = said.decode(errors="replace").strip().splitlines()
    return lines[-1].strip() if lines else ""
