"""`vfod demo`: everything once, with real processes, in about a minute and a half.

scene       the invented air and the listener's configuration
crew        the processes
story       what happens, step by step
screen      how it is shown
subscriber  what arrives at the broker
whole_night a whole night, rehearsed, to look at
accounts    what every door says of it at the end, and whether they agree
"""

import asyncio
import signal
import tempfile
from pathlib import Path

from vfod.cli.demo.crew import Crew
from vfod.cli.demo.scene import Scene
from vfod.cli.demo.screen import Screen
from vfod.cli.demo.story import Story
from vfod.cli.parser import Parser
from vfod.clock import SystemClock

_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def demo(words: list[str]) -> int:
    """Play the demo; 1 where the accounts of it do not agree."""
    Parser(
        "demo",
        "The whole thing once, in a minute and a half: a simulated VFO on a pseudo-terminal, the\n"
        "daemon, a broker where the machine has mosquitto, a hand on the knob, a nudge from the\n"
        "shell, and what everybody says of it at the end; then a whole night, rehearsed, as a\n"
        "page to look at. It touches nothing but temporary files.",
        "vfod demo",
    ).parse_args(words)
    return asyncio.run(_play())


async def _play() -> int:
    task = asyncio.current_task()
    assert task is not None
    loop = asyncio.get_running_loop()
    caught: list[int] = []

    def stop(number: int) -> None:
        # Only once: an impatient second Ctrl-C must not stop the tidying up.
        if not caught:
            task.cancel()
        caught.append(number)

    for number in _SIGNALS:
        loop.add_signal_handler(number, stop, number)
    clock = SystemClock()
    try:
        with tempfile.TemporaryDirectory(prefix="vfod-demo-") as folder:
            scene = Scene(folder=Path(folder))
            async with Crew(scene.folder, scene.environment) as crew:
                story = Story(scene, crew, Screen(clock.wall()), clock)
                return 0 if await story.run() else 1
    except asyncio.CancelledError:
        print("\nstopped; nothing is left running", flush=True)
        return 128 + caught[0]
