"""`vfod simulate`: a VFO, a receiver and a band full of invented stations, for trying things."""

import asyncio
from pathlib import Path

from vfod.cli.parser import Parser


def simulate(words: list[str]) -> int:
    """Simulate until SIGTERM, Ctrl-C or the key q."""
    parser = Parser(
        "simulate",
        "A simulated VFO on a pseudo-terminal, or on TCP, with invented stations on the air.\n"
        "It prints where it can be reached and runs until Ctrl-C or the key q.\n\n"
        "With --keys: right, up, + one step up; left, down, - one step down; 1 to 9 a button;\n"
        "u unplug and plug; r reset; q quit. A pipe takes the same characters.",
        "vfod simulate --link /tmp/vfo --keys",
    )
    parser.add_argument("scenario", nargs="?", type=Path, help="a YAML file; default a ready one")
    parser.add_argument("--link", type=Path, metavar="PATH", help="also name the terminal so")
    parser.add_argument("--listen", metavar="HOST:PORT", help="be on TCP; port 0 is any free one")
    parser.add_seed()
    parser.add_argument("--keys", action="store_true", help="take keys from the standard input")
    parser.add_baud("speed of the line; 0 is no limit", least=0)
    given = parser.parse_args(words)
    # Imported late, so that --help is quick.
    from vfod.sim.run import simulate as run

    asyncio.run(
        run(
            scenario=given.scenario,
            link=given.link,
            listen=given.listen,
            seed=given.seed,
            keys=given.keys,
            baud=given.baud or None,
        )
    )
    return 0
