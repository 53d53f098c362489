"""`vfod note`: a line for the listener's log; the daemon adds time, dial, level and band."""

from vfod.cli.parser import Parser
from vfod.cli.setting import call, configuration_if_any, now, print_json, zone_of
from vfod.cli.when import When
from vfod.requests import TakeNote


def note(words: list[str]) -> int:
    """Take a note."""
    parser = Parser(
        "note",
        "Write a line into the log. The daemon adds the time in UTC, the dial, the level and the\n"
        "band, as they are now or were at WHEN: 10m (ago), 22:00 (the last one) or\n"
        "'2026-11-25 22:00'. A sweep does not yield for it.",
        "vfod note 'drums, then talk' --sinpo 45344 --heard 'Radio Haldrun'",
    )
    parser.add_argument("text", nargs="+", help="what was heard")
    parser.add_argument(
        "--sinpo",
        metavar="45344",
        help="strength, interference, noise, propagation, overall: 5 best, 1 worst, X not rated "
        "(ITU-R SM.1135)",
    )
    parser.add_argument("--heard", metavar="NAME", help="the station's name")
    parser.add_argument("--at", metavar="WHEN", type=When, help="the time it is about; default now")
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    parser.add_json()
    given = parser.parse_args(words)
    params: dict[str, object] = {"text": " ".join(given.text)}
    if given.sinpo is not None:
        params["sinpo"] = given.sinpo.upper()
    if given.heard is not None:
        params["heard"] = given.heard
    if given.at is not None:
        zone = zone_of(configuration_if_any(given.config))
        params["at"] = given.at.instant(now(), zone)
    # Complained of before anything is sent.
    TakeNote(**params)  # type: ignore[arg-type]  # each is of its field's type, as set above
    if given.vfo is not None:
        params["vfo"] = given.vfo
    answer = call(given.socket, "note", **params)
    if given.json:
        print_json(answer)
    else:
        print(answer["text"])
    return 0
