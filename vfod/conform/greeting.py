"""Points about the greeting: who the box is, where it can be tuned, what it is able to do."""

import re

from vfod.conform.bench import Bench
from vfod.conform.point import Point

#: Key of `read` by ability, with its limits (4.3, 4.7).
READS = {
    "output": ("out", 0, 1),
    "select": ("sel", 0, 15),
    "mute": ("mute", 0, 1),
    "knob": ("step", 1, 1_000_000),
    "level": ("level", 0, 16_777_215),
    "battery": ("battery", 0, 65_535),
    "temperature": ("temp", -1000, 2000),
}
#: What `read` leaves out while it cannot be measured (4.9).
_MEASURED = ("level", "battery", "temp")


async def learn(bench: Bench) -> None:
    """Take over what the box says of itself; raises DeviationError."""
    await bench.ok("who")
    limits = await bench.ok("range")
    bench.low, bench.high = bench.hertz(limits, "low"), bench.hertz(limits, "high")
    bench.resolution = bench.hertz(limits, "res")
    bench.settle = bench.whole(limits, "settle", 60_000) / 1000
    bench.abilities = frozenset((await bench.ok("can")).get("can", "").split(","))


async def _who(bench: Bench) -> str:
    fields = await bench.ok("who")
    for key, most in (("model", 12), ("fw", 12), ("serial", 16)):
        right = 1 <= len(fields.get(key, "")) <= most
        bench.must(right, f"{key}= and 1 to {most} characters", bench.heard[-1])
    return " ".join(fields[key] for key in ("model", "fw", "serial"))


async def _version(bench: Bench) -> str:
    fields = await bench.ok("who")
    newest = bench.whole(fields, "proto", 99)
    oldest = bench.whole(fields, "min", 99) if "min" in fields else 1
    bench.must(oldest <= 1 <= newest, "min, or 1, to proto with version 1", bench.heard[-1])
    return f"version {newest}"


async def _boot(bench: Bench) -> None:
    first = (await bench.ok("who")).get("boot", "")
    right = re.fullmatch(r"[0-9A-Fa-f]{1,8}", first) is not None
    bench.must(right, "boot= and 1 to 8 hexadecimal digits", bench.heard[-1])
    second = (await bench.ok("ping")).get("boot", "")
    same = re.fullmatch(r"[0-9A-Fa-f]{1,8}", second) and int(first, 16) == int(second, 16)
    bench.must(bool(same), f"boot={first} as in who", bench.heard[-1])


async def _range(bench: Bench) -> None:
    fields = await bench.ok("range")
    low, high = bench.hertz(fields, "low"), bench.hertz(fields, "high")
    bench.must(low <= high, "low not above high", bench.heard[-1])
    bench.must(bench.hertz(fields, "res") >= 1, "res of at least 0.001", bench.heard[-1])
    bench.whole(fields, "settle", 60_000)


async def _can(bench: Bench) -> str:
    text = (await bench.ok("can")).get("can", "")
    right = re.fullmatch(r"[a-z][a-z0-9]*(,[a-z][a-z0-9]*)*", text) is not None
    bench.must(right, "can= and words joined by commas", bench.heard[-1])
    words = text.split(",")
    bench.must(words == ["none"] or "none" not in words, "none alone or not", bench.heard[-1])
    return text


async def _keys(bench: Bench) -> None:
    fields = await bench.ok("read")
    for ability, (key, _, _) in READS.items():
        able = ability in bench.abilities
        if key in fields and not able:
            bench.must(False, f"no {key}=, since it cannot {ability}", bench.heard[-1])
        if able and key not in fields and key not in _MEASURED:
            bench.must(False, f"{key}=, since it can {ability}", bench.heard[-1])


async def _values(bench: Bench) -> None:
    fields = await bench.ok("read")
    low_to_high = bench.low <= bench.hertz(fields, "f") <= bench.high
    bench.must(low_to_high, "f from low to high", bench.heard[-1])
    for key, least, most in READS.values():
        if key in fields:
            bench.whole(fields, key, most, least)


POINTS = (
    Point(name="who", paragraph="4.5", says="says who it is", check=_who, greeted=False),
    Point(name="version", paragraph="9.4", says="speaks version 1", check=_version, greeted=False),
    Point(name="boot", paragraph="4.5", says="one boot id", check=_boot, greeted=False),
    Point(name="range", paragraph="4.6", says="says its range", check=_range, greeted=False),
    Point(name="can", paragraph="4.7", says="says what it can", check=_can, greeted=False),
    Point(name="read-keys", paragraph="4.9", says="reads exactly what it can", check=_keys),
    Point(name="read-values", paragraph="4.3", says="reads within the limits", check=_values),
)
