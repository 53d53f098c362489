"""A process with nothing but the MQTT door, to be killed: `python -m tests.outputs.mortal PORT`."""

import asyncio
import sys

from tests.outputs.house import GREETED, House, tuned
from tests.outputs.mqtt_parts import door
from vfod.clock import SystemClock


async def main(port: int) -> None:
    house = House(SystemClock())
    house.happen(GREETED, tuned(9_420_000))
    await door(house, port).run()


asyncio.run(main(int(sys.argv[1])))
