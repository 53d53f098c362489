"""`vfod watch`: to a station of the listener's own list by its name, for as long as it is on."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, tzinfo

from vfod.cli.parser import Parser
from vfod.cli.setting import call, configuration, local_text, now
from vfod.config.loading import stations_of
from vfod.config.model import Config
from vfod.errors import RefusedError, UsageError, VfodError
from vfod.plan.stations import Broadcast, Station, expected
from vfod.state.say import visible
from vfod.units import format_duration, format_frequency

#: How far ahead a broadcast is looked for, seconds: a week has every day of the list.
_DAY = 86400.0
_AHEAD = 7 * _DAY
#: And for a list of all that comes.
_SOON, _MOST = 12 * 3600.0, 30


def watch(words: list[str]) -> int:
    """Tune to a station and stay with it, or list who is on."""
    parser = Parser(
        "watch",
        "Tune to a station of your own list (`stations:` in the configuration) and let the sweep\n"
        "wait until its broadcast ends. Without a name: who is on the air now, and who comes.\n"
        "For a broadcast to come, an entry of `watches:` in the configuration has the dial then.",
        "vfod watch Radio Haldrun",
    )
    parser.add_argument("name", nargs="*", help="the station, or the beginning of its name")
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    given = parser.parse_args(words)
    config = configuration(given.config)
    if config.stations is None:
        raise UsageError(
            "no list of stations is named", remedy="write stations: stations.csv; `vfod check`"
        )
    stations, when = stations_of(config), now()
    if not given.name:
        print("\n".join(_coming(stations, when, config.place.zone)))
        return 0
    wanted = " ".join(given.name)
    mine = [one for one in stations if one.name == _meant(wanted, stations)]
    broadcast = _on_now(mine, when, config)
    vfo = {} if given.vfo is None else {"vfo": given.vfo}
    print(call(given.socket, "tune", frequency=broadcast.frequency, **vfo)["text"])
    # One that never ends is stayed with for a day.
    left = min(broadcast.ends - when, _DAY)
    try:
        print(call(given.socket, "stay", seconds=left, **vfo)["text"])
    except VfodError as error:
        # The dial is there all the same, and a window that opens will keep to the quiet time.
        if error.exit_code != RefusedError.exit_code:
            raise
    ends = local_text(when + left, config.place.zone, seconds=False)
    print(f"{visible(broadcast.name)} until {ends}, for {format_duration(left)}")
    return 0


def _meant(text: str, stations: Sequence[Station]) -> str:
    """The one name that is meant; UsageError where none or several are."""
    names = sorted({one.name for one in stations})
    lower = text.casefold()
    for fits in (str.__eq__, str.startswith, str.__contains__):
        found = [name for name in names if fits(name.casefold(), lower)]
        if len(found) == 1:
            return found[0]
        if found:
            shown = ", ".join(visible(name) for name in found[:5])
            raise UsageError(f"{text[:40]!r} may be {shown}", remedy="write more of the name")
    raise UsageError(f"no station {text[:40]!r} in the list", remedy="`vfod watch` shows who is on")


def _on_now(mine: Sequence[Station], when: float, config: Config) -> Broadcast:
    found = expected(mine, when, when + _AHEAD)
    for one in found:
        if one.begins <= when:
            return one
    name = visible(mine[0].name)
    if not found:
        raise UsageError(f"{name} is not on in the next seven days", remedy="look at the list")
    following = min(found, key=lambda one: one.begins)
    begins = datetime.fromtimestamp(following.begins, UTC)
    minutes = round(following.ends - following.begins) // 60
    entry = (
        f"{{frequency: {following.frequency}Hz, at: {begins:%Y-%m-%d %H:%M} UTC, "
        f"for: {min(minutes, 24 * 60)}m}}"
    )
    starts = local_text(following.begins, config.place.zone, seconds=False)
    raise UsageError(
        f"{name} is not on now, but from {starts} on {format_frequency(following.frequency)}",
        remedy=f"write watches: [{entry}]",
    )


def _coming(stations: Sequence[Station], when: float, zone: tzinfo) -> Iterator[str]:
    found = sorted(expected(stations, when, when + _SOON), key=lambda one: (one.begins, one.ends))
    for one in found[:_MOST]:
        span = f"{local_text(one.begins, zone)[11:16]} to {local_text(one.ends, zone)[11:16]}"
        mark = "on" if one.begins <= when else "  "
        yield f"  {mark}  {span}  {format_frequency(one.frequency):>10}  {visible(one.name)}"
    if len(found) > _MOST:
        yield f"  and {len(found) - _MOST} more"
    if not found:
        yield "nobody of the list in the next twelve hours"
