"""`vfod nights`: many nights; band by hour, by the clock and by the sun. Needs no daemon."""

from datetime import timedelta

from vfod.cli.night import add_common, progress, setting_of, width, write
from vfod.cli.parser import Parser
from vfod.cli.setting import configuration_if_any, journal_path
from vfod.cli.when import parse_night
from vfod.errors import UsageError
from vfod.plan.localtime import night_of
from vfod.store import Reader

#: Nights that are told where nobody says since when: four weeks, one of the moon's rounds.
_DEFAULT = timedelta(days=27)
#: Longest stretch: ten years.
_MOST = 3660


def nights(words: list[str]) -> int:
    """Tell many nights."""
    parser = Parser(
        "nights",
        "Many nights: at which hours each band was open, by the clock and by the sun, the best\n"
        "hours, and what came and went between the first and the last third of them.",
        "vfod nights --since 2026-09-01 --html autumn.html",
    )
    parser.add_argument(
        "--since", metavar="DATE", type=parse_night, help="the first night; default four weeks ago"
    )
    parser.add_argument(
        "--until", metavar="DATE", type=parse_night, help="the last night; default the newest"
    )
    parser.add_argument("--html", metavar="FILE", help="write one self-contained page")
    add_common(parser)
    given = parser.parse_args(words)
    config = configuration_if_any(given.config)
    from vfod.report.seasons import gather_nights

    with Reader(journal_path(given.journal, config)) as reader:
        setting = setting_of(reader, config, given)
        newest = reader.newest()
        last = night_of(setting.now if newest is None else newest, setting.zone)
        until = given.until or last
        since = given.since or until - _DEFAULT
        if not 0 <= (until - since).days <= _MOST:
            raise UsageError(
                f"from {since} to {until} there are no nights, or more than ten years of them",
                remedy="write the earlier date after --since",
            )
        season = gather_nights(reader, setting, since, until, progress)
    if given.html is not None:
        from vfod.report.season_page import season_page

        write(given.html, [season_page(season).encode("utf-8")])
        return 0
    from vfod.report.text import season_lines

    for line in season_lines(season, width()):
        print(line)
    return 0
