r"""The quick verbs: those that ask the daemon for one thing and print what it says.

They must answer a key press, so nothing is imported that a starting Python has not loaded: no
parser of options, no JSON. The line is put together and the answer cut by string operations, in
the form that `vfod.outputs.control` promises to such callers.
What can be checked without the daemon is checked before anything is sent.
"""

import sys

from vfod.cli.ask import ask, socket_path
from vfod.errors import ConfigError, OutOfRangeError, QuantityError, UsageError
from vfod.units import USUAL, other_scales, parse_duration, parse_frequency, parse_shift

VERBS = (
    "status",
    "tune",
    "nudge",
    "step",
    "band",
    "output",
    "mute",
    "sweep",
    "stay",
    "resume",
    "reload",
)

_MINUS = "-\u2212"
_BEGINS = b'{"jsonrpc":"2.0","id":"plain",'
#: Longest name that is sent, as in the configuration.
_LONGEST_NAME = 60

#: A method, its parameters as members of a JSON object, and what to say when it is out of range.
_Call = tuple[str, list[str], str]


def is_quick(argv: list[str]) -> bool:
    """Whether these words are for this file; help, watching and the configuration are not."""
    return (
        bool(argv)
        and argv[0] in VERBS
        and argv[:2] != ["sweep", "list"]
        and not any(word in argv for word in ("-h", "--help", "--watch", "--explain"))
    )


def run(verb: str, words: list[str]) -> int:
    """Ask, print, and return what the command exits with.

    Raises UsageError before anything is sent, and DaemonAbsentError.
    """
    words, vfo, socket, as_json = _options(verb, words)
    try:
        method, members, hint = _call(verb, words)
        if vfo is not None:
            members.append(f'"vfo":{_name(vfo, "VFO")}')
    except UsageError as error:
        if error.message.startswith("vfod "):
            raise
        raise UsageError(f"vfod {verb}: {error.message}", remedy=error.remedy) from None
    line = (
        f'{{"jsonrpc":"2.0","id":"plain","method":"{method}","params":{{{",".join(members)}}}}}\n'
    )
    path = socket_path(socket)
    answer = ask(path, line.encode("ascii"))
    if answer.startswith(_BEGINS + b'"result":{'):
        if as_json:
            print(answer[answer.index(b'"result":') + 9 : answer.rindex(b"}")].decode("ascii"))
        else:
            print(_cut(answer, b'"text":"'))
        return 0
    if answer.startswith(_BEGINS + b'"error":{'):
        is_range = b'"error":{"code":%d,' % OutOfRangeError.rpc_code in answer
        message = _cut(answer, b'"message":"')
        code = int(answer[answer.rindex(b'"exit":') + 7 :].partition(b"}")[0])
        # Complaints of a configuration begin with their place, as editors want to find it.
        lead = "" if code == ConfigError.exit_code else "vfod: "
        print(f"{lead}{message}{'; ' + hint if hint and is_range else ''}", file=sys.stderr)
        return code
    raise UsageError(f"what answers at {path} is no vfod", remedy="name the daemon's --socket")


def _options(verb: str, words: list[str]) -> tuple[list[str], str | None, str | None, bool]:
    """The words without the options; a word of signs only, like `--`, is none of them."""
    rest: list[str] = []
    found: dict[str, str] = {}
    as_json = False
    waiting = list(words)
    while waiting:
        word = waiting.pop(0)
        if word == "--" and waiting:
            # The usual sign that no options follow; as the last word of a nudge it is two steps.
            rest += waiting
            break
        if word[:2] != "--" or not word[2:3].isalpha():
            rest.append(word)
            continue
        name, given, value = word.partition("=")
        if name == "--json":
            if given:
                raise UsageError(
                    f"vfod {verb}: --json takes no value, not {value[:40]!r}",
                    remedy="write --json alone",
                )
            as_json = True
        elif name in ("--vfo", "--socket"):
            if not given and not waiting:
                raise UsageError(
                    f"vfod {verb}: {name} needs a value",
                    remedy=f"write it like {name} {'NAME' if name == '--vfo' else 'PATH'}",
                )
            found[name] = value if given else waiting.pop(0)
        else:
            raise UsageError(
                f"vfod {verb} has no option {name[:40]}",
                remedy="it has --vfo NAME, --socket PATH and --json",
            )
    return rest, found.get("--vfo"), found.get("--socket"), as_json


def _call(verb: str, words: list[str]) -> _Call:
    text = " ".join(words)
    match verb:
        case "tune":
            return _tune(_wanted(verb, text, "9420, 9.42M or 7200.5k"))
        case "nudge":
            return _nudge(_wanted(verb, text, "+, -, +3, -5k or 500Hz"))
        case "step":
            hertz = parse_shift(_wanted(verb, text, "1k or 100Hz"))
            if hertz <= 0:
                raise QuantityError(f"{text!r} is not a step", remedy="write it like 1k or 100Hz")
            return "step", [f'"step":{hertz}'], ""
        case "stay":
            return _stay(text)
        case "band" if words == ["list"]:
            return "bands", [], ""
        case "band":
            band = _wanted(verb, text, "31m, up, down or list")
            return "band", [f'"band":{_name(band, "band")}'], ""
        case "output":
            return "output", [f'"on":{_on_or_off(verb, words)}'], ""
        case "mute":
            return "mute", [f'"muted":{_on_or_off(verb, words)}'], ""
        case "sweep":
            return _sweep(words)
    _no_words(verb, words)
    return verb, [], ""


def _wanted(verb: str, text: str, examples: str) -> str:
    if not text.strip():
        raise UsageError(f"vfod {verb} needs a word more", remedy=f"write {examples}")
    return text


def _no_words(verb: str, words: list[str]) -> None:
    if words:
        raise UsageError(
            f"vfod {verb} takes no {words[0][:40]!r}", remedy=f"see `vfod {verb} --help`"
        )


def _tune(text: str) -> _Call:
    hint = _other_scale(text)
    try:
        return "tune", [f'"frequency":{parse_frequency(text)}'], hint
    except QuantityError as error:
        raise QuantityError(error.message, remedy=hint or error.remedy) from None


def _nudge(text: str) -> _Call:
    text = text.strip()
    for signs, way in (("+", 1), (_MINUS, -1)):
        if not text.strip(signs):
            return "nudge", [f'"steps":{way * len(text)}'], ""
    hertz = parse_shift(text)
    if hertz == 0:
        raise QuantityError("a nudge by 0 moves nothing", remedy="write +, -, +3, -5k or 500Hz")
    bare = text.replace(".", "").isdigit()
    hint = f"a nudge is a difference; to go there, write vfod tune {text}" if bare else ""
    return "nudge", [f'"hertz":{hertz}'], hint


def _stay(text: str) -> _Call:
    if not text.strip():
        return "stay", [], ""
    seconds = parse_duration(text)
    if seconds <= 0:
        raise QuantityError(f"{text!r} is no time to stay", remedy="write it like 30m or 2h")
    return "stay", [f'"seconds":{seconds!r}'], ""


def _sweep(words: list[str]) -> _Call:
    match words:
        case ["start", name]:
            return "sweep-start", [f'"sweep":{_name(name, "sweep")}'], ""
        case ["stop"]:
            return "sweep-stop", [], ""
        case ["skip"]:
            return "skip", [], ""
        case ["start"]:
            raise UsageError(
                "vfod sweep start needs the name of a sweep", remedy="`vfod sweep list` knows them"
            )
    given = " ".join(words)[:40]
    raise UsageError(
        f"vfod sweep does not know {given!r}" if given else "vfod sweep needs a word more",
        remedy="write start NAME, stop, skip or list",
    )


def _on_or_off(verb: str, words: list[str]) -> str:
    if words not in (["on"], ["off"]):
        instead = f", not {' '.join(words)[:40]!r}" if words else ""
        raise UsageError(f"vfod {verb} needs on or off{instead}", remedy=f"write vfod {verb} on")
    return "true" if words == ["on"] else "false"


def _name(name: str, what: str) -> str:
    """A name as JSON writes it; the daemon knows whether there is one."""
    printable = name.isascii() and name.isprintable() and " " not in name
    if not printable or len(name) > _LONGEST_NAME:
        raise UsageError(
            f"{name[:_LONGEST_NAME]!r} is no name of a {what}",
            remedy="names are of lower-case letters, digits and hyphens",
        )
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _other_scale(text: str) -> str:
    """What a number on the wrong scale may have been meant as; empty where nothing is likelier."""
    try:
        own = parse_frequency(text)
    except QuantityError:
        own = 0
    others = [other for other in other_scales(text, *USUAL) if parse_frequency(other) != own]
    bare = "a bare number is kilohertz, " if text.strip()[-1:].isdigit() else ""
    return f"{bare}did you mean {others[0]}?" if others else ""


def _cut(answer: bytes, begin: bytes) -> str:
    r"""The text after the last `begin`, up to the closing of its object, with \n and the like."""
    text = answer[answer.rindex(begin) + len(begin) : answer.rindex(b'"}}')]
    if b"\\" not in text:
        return text.decode("ascii")
    from _codecs import unicode_escape_decode

    # Characters above U+FFFF come as two surrogates, which belong together.
    return (
        unicode_escape_decode(text)[0].encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    )
