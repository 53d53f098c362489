"""`vfod conform`: whether a box speaks the line protocol right."""

import asyncio
import contextlib
import sys

from vfod.cli.parser import Parser
from vfod.errors import UsageError


def conform(words: list[str]) -> int:
    """Exit code 0 when nothing failed, else 1."""
    parser = Parser(
        "conform",
        "Try every promise of docs/protocol.md on a VFO, whatever it hangs on.\n"
        "What only a hand can do is asked for. Frequency, output, step, selector and mute are\n"
        "left as they were found; meanwhile they change. Stop the daemon before.",
        "vfod conform /dev/serial/by-id/NAME",
        "vfod conform socket://shack.example:4000 --no-hands --quick",
    )
    parser.add_argument("port", help="path of a serial device, or socket://HOST:PORT")
    parser.add_baud("speed of a serial line")
    parser.add_argument(
        "--no-hands", action="store_true", help="leave out what a hand must do, and the reset"
    )
    parser.add_argument(
        "--quick", action="store_true", help="load the box for a second instead of a minute"
    )
    parser.add_json()
    given = parser.parse_args(words)
    if not given.no_hands and not sys.stdin.isatty():
        raise UsageError(
            "vfod conform: there is no terminal to ask a hand at", remedy="add --no-hands"
        )
    return asyncio.run(_conform(given.port, given.baud, given.no_hands, given.quick, given.json))


async def _conform(text: str, baud: int, no_hands: bool, quick: bool, as_json: bool) -> int:
    # Imported late, so that --help is quick.
    from vfod.cli.setting import print_json
    from vfod.clock import SystemClock
    from vfod.conform.point import Verdict
    from vfod.conform.report import line, plain, summary
    from vfod.conform.run import conform as run
    from vfod.device.address import port_from

    outcomes = []
    hand = None if no_hands else ask_a_hand
    going = run(port_from(text, baud=baud), SystemClock(), hand=hand, quick=quick)
    async with contextlib.aclosing(going) as each:
        async for outcome in each:
            outcomes.append(outcome)
            if not as_json:
                print(line(outcome), flush=True)
    failed = any(outcome.verdict is Verdict.FAILED for outcome in outcomes)
    if as_json:
        print_json({"port": text, "failed": failed, "points": [plain(one) for one in outcomes]})
    else:
        print(summary(outcomes))
    return 1 if failed else 0


async def ask_a_hand(deed: str) -> bool:
    """Say what to do, and wait for the enter key; False when a person cannot do it."""
    from vfod.conform.bench import DEEDS

    says = f"     {DEEDS[deed]}; then press the enter key (s and enter: it cannot be done here)"
    print(says, file=sys.stderr, flush=True)
    loop = asyncio.get_running_loop()
    pressed = asyncio.Event()
    # Not in a thread, which the end of the program would wait for.
    loop.add_reader(sys.stdin, pressed.set)
    try:
        await pressed.wait()
    finally:
        loop.remove_reader(sys.stdin)
    return sys.stdin.readline().strip().lower() != "s"
