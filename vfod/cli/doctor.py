"""`vfod doctor`: why the VFO cannot be reached, and what to do about it."""

import asyncio
import os
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from vfod.cli.parser import Parser
from vfod.cli.setting import configuration
from vfod.errors import LineError

if TYPE_CHECKING:
    from vfod.device.diagnosis import Findings


def doctor(words: list[str]) -> int:
    """Exit code 0 when every port that was looked at greeted back, else 1."""
    parser = Parser(
        "doctor",
        "Look why the VFO cannot be reached, and say what to do, the likeliest first.\n"
        "Without PORT, at every VFO of the configuration. It opens the port, greets, and tries\n"
        "other speeds when nothing of the line protocol comes. Stop the daemon before.",
        "vfod doctor",
        "vfod doctor /dev/ttyACM0",
    )
    parser.add_argument("port", nargs="?", help="path of a serial device, or socket://HOST:PORT")
    parser.add_baud("with PORT: its speed")
    parser.add_config()
    given = parser.parse_args(words)
    ports = [(given.port, given.baud, "on", "on")]
    if given.port is None:
        vfos = configuration(given.config).vfos.values()
        ports = [(vfo.port, vfo.baud, str(vfo.dtr), str(vfo.rts)) for vfo in vfos]
    results = [asyncio.run(_look_at(*port)) for port in ports]
    return 0 if all(results) else 1


async def _look_at(text: str, baud: int, dtr: str, rts: str) -> bool:
    from vfod.device.diagnosis import diagnose, is_greeted

    found = await examine(text, baud, dtr, rts)
    greeted = is_greeted(found)
    name = next((one.name for one in found.soundings if one.greeted), "")
    print(f"{text}: " + (f"the VFO answers: {name}" if greeted else "the VFO is not reached"))
    for number, advice in enumerate(diagnose(found), 1):
        also = "" if advice.cause else "by the way: "
        print(f"{number}. {also}{advice.says}\n   {advice.remedy}")
    return greeted


async def examine(text: str, baud: int, dtr: str = "on", rts: str = "on") -> "Findings":
    """Everything that can be found out about the port; UsageError when it cannot be one."""
    import secrets

    from vfod.clock import SystemClock
    from vfod.device.address import port_from
    from vfod.device.claim import daemon_at
    from vfod.device.diagnosis import Findings
    from vfod.device.places import holders
    from vfod.device.sounding import SPEEDS, sound
    from vfod.device.surroundings import Surroundings
    from vfod.device.tcp import TcpPort

    clock = SystemClock()
    port = port_from(text, baud=baud, dtr=dtr, rts=rts)
    found = Findings(port=text, baud=baud, is_network=isinstance(port, TcpPort))
    if not found.is_network:
        around = Surroundings()
        there, device = await asyncio.to_thread(lambda: (around.there(), around.device(text)))
        probers = await asyncio.to_thread(around.probers)
        found = replace(found, there=there, device=device, probers=probers)
    others: list[tuple[int, str]] = []

    async def look_for_others() -> None:
        if not found.is_network:
            held = await asyncio.to_thread(lambda: list(holders(text)))
            others.extend(one for one in held if one[0] != os.getpid())

    tag = secrets.randbelow(65_536)
    try:
        first = await sound(port, clock, baud=baud, first_tag=tag, meanwhile=look_for_others)
    except LineError as error:
        await look_for_others()
        number = daemon_at(text)
        if number is not None and number not in dict(others):
            others.append((number, "vfod serve"))
        return replace(
            found,
            refused=error.reason,
            says=error.message,
            remedy=error.remedy,
            holders=tuple(others),
        )
    soundings = [first]
    if not first.ours and not found.is_network:
        for speed in SPEEDS:
            if speed == baud or soundings[-1].ours:
                continue
            print(f"vfod: nothing yet, trying {speed} baud", file=sys.stderr)
            try:
                other = port_from(text, baud=speed, dtr=dtr, rts=rts)
                tag = secrets.randbelow(65_536)
                soundings.append(await sound(other, clock, baud=speed, first_tag=tag, guess=True))
            except LineError:
                # Not every device can be set to every speed.
                continue
    return replace(found, soundings=tuple(soundings), holders=tuple(others))
