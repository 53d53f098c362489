"""YAML text → plain data, and where each piece of it stands in the file.

Plain values are understood by the core schema of YAML 1.2, narrowed: a number has no leading zero
and no underscore, `true` and `false` are the only words for yes and no, and everything else is
text.
YAML 1.1, which the parser would follow by itself, reads 22:00 as 1320, 07205 as 3717 and `on` as
true.
A key that is written twice, a tag and a tab are complaints; an anchor is fine as long as what it
repeats stays within bounds.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from vfod.config.complaints import Complaint, Fault, Where, refuse, shown
from vfod.errors import ConfigError

#: A thousand entries are a tenth of it; what is larger is no configuration.
LARGEST = 1_000_000
#: Values once every alias is replaced by what it stands for; a bomb of aliases has billions.
MOST_VALUES = 100_000

_TAG = "tag:yaml.org,2002:"
_NULL, _BOOL, _INT, _FLOAT = (f"{_TAG}{kind}" for kind in ("null", "bool", "int", "float"))
_KNOWN = (*(f"{_TAG}{kind}" for kind in ("map", "seq", "str")), _NULL, _BOOL, _INT, _FLOAT)
#: What the text of a plain value becomes; anything else stays text.
_VALUES: dict[str, Callable[[str], Any]] = {
    _NULL: lambda _: None,
    _BOOL: lambda text: text == "true",
    _INT: int,
    _FLOAT: float,
}


class _Loader(yaml.SafeLoader):
    """The parser without YAML 1.1's opinions on what a plain word means."""


_Loader.yaml_implicit_resolvers = {}

# At most thirty digits, because turning thousands of them into a number takes for ever.
for _tag, _pattern, _first in (
    (_NULL, r"~|null|", ["~", "n", ""]),
    (_BOOL, r"true|false", list("tf")),
    (_INT, r"[-+]?(0|[1-9][0-9]{0,29})", list("-+0123456789")),
    (
        _FLOAT,
        r"[-+]?((0|[1-9][0-9]{0,29})(\.[0-9]{1,30})?|\.[0-9]{1,30})([eE][-+]?[0-9]{1,3})?",
        list("-+.0123456789"),
    ),
):
    _Loader.add_implicit_resolver(_tag, re.compile(f"^(?:{_pattern})$"), _first)

#: What the parser says, and what it means to a person who writes a configuration.
_SYNTAX = (
    ("cannot start any token", "a sign that cannot stand here; indent with spaces, quote the text"),
    (
        "mapping values are not allowed",
        "a second ': ' in one line; quote the text, or begin a line",
    ),
    ("could not find expected ':'", "a key without ': '; write key: value"),
    ("expected <block end>", "this does not line up with the lines above; indent it like them"),
    ("expected ',' or ']'", "a list that is not closed; write the missing ]"),
    ("expected ',' or '}'", "a section that is not closed; write the missing }"),
    (
        "expected the node content",
        "nothing where a value belongs; write one, or close what is open",
    ),
    ("unexpected end of stream", "a quotation mark that is not closed; write the missing one"),
    ("found undefined alias", "an alias without its anchor; write &name at what it repeats"),
    ("but found another document", "a second document in the file; remove the line ---"),
)


class Document(NamedTuple):
    """A file as plain data (dict with text keys, list, str, int, float, bool, None)."""

    path: str
    data: Any
    root: Node | None
    complaints: list[Complaint]

    def complaint(self, fault: Fault) -> Complaint:
        """A fault with its line and column: of the nearest thing above where nothing is there."""
        value, key = _marks(self.root, fault.where)
        line, column = key if fault.key else value
        return Complaint(line, column, str(fault))

    def text(self, where: Where) -> str:
        """What stands at `where` letter by letter, empty where it is no single value."""
        node = self.root
        for part in where:
            node = _child(node, part)[1]
        return node.value if isinstance(node, ScalarNode) else ""


def read(path: str) -> str:
    """The text of the file; ConfigError where there is none to read."""
    try:
        with Path(path).open("rb") as file:
            content = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise ConfigError([f"{path}: there is no such file; write it, or name another"]) from None
    except IsADirectoryError:
        raise ConfigError([f"{path}: this is a directory; name the file in it"]) from None
    except PermissionError:
        raise ConfigError(
            [f"{path}: this user may not read the file; make it readable for the user or the group"]
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ConfigError([f"{path}: cannot be read ({reason}); name another file"]) from None
    if len(content) > LARGEST:
        raise ConfigError(
            [f"{path}: larger than 1 MB; this is no configuration, name another file"]
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        raise refuse(
            path, [Complaint(line, column, "this is no UTF-8 text; save the file as UTF-8")]
        ) from None


def understand(text: str, path: str) -> Document:
    """Plain data of a YAML text; ConfigError where it is no YAML at all."""
    try:
        root = _Loader(text).get_single_node()
    except yaml.MarkedYAMLError as error:
        raise refuse(path, [_syntax(error)]) from None
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        line, column = before.count("\n") + 1, error.position - before.rfind("\n")
        what = f"a sign that no text has (U+{ord(text[error.position]):04X}); remove it"
        raise refuse(path, [Complaint(line, column, what)]) from None
    except RecursionError:
        what = "nested deeper than any configuration; write it flatter"
        raise refuse(path, [Complaint(1, 1, what)]) from None
    complaints: list[Complaint] = []
    if root is None:
        return Document(path, None, None, complaints)
    size = _size(root, {})
    if size is None:
        raise refuse(path, [_at(root, "an alias that contains itself; write it out")])
    if size > MOST_VALUES:
        what = f"more than {MOST_VALUES} values once its aliases are written out; use fewer"
        raise refuse(path, [_at(root, what)])
    return Document(path, _plain(root, complaints), root, complaints)


def _at(node: Node, text: str) -> Complaint:
    return Complaint(node.start_mark.line + 1, node.start_mark.column + 1, text)


def _syntax(error: yaml.MarkedYAMLError) -> Complaint:
    problem = error.problem or error.context or ""
    mark = error.problem_mark or error.context_mark
    words = next((words for part, words in _SYNTAX if part in problem), None)
    text = words or f"this is not YAML ({problem}); compare with the documented example"
    return Complaint(mark.line + 1 if mark else 1, mark.column + 1 if mark else 1, text)


def _size(node: Node, known: dict[int, int | None]) -> int | None:
    """How many values a node stands for, aliases written out; None where it holds itself."""
    if isinstance(node, ScalarNode):
        return 1
    if id(node) in known:
        return known[id(node)]
    known[id(node)] = None
    total = 1
    for child in _children(node):
        size = _size(child, known)
        if size is None:
            return None
        total += size
    known[id(node)] = total
    return total


def _children(node: Node) -> list[Node]:
    if isinstance(node, MappingNode):
        return [part for pair in node.value for part in pair]
    return list(node.value)


def _plain(node: Node, complaints: list[Complaint]) -> Any:
    if node.tag not in _KNOWN:
        complaints.append(_at(node, f"the tag {shown(node.tag)} means nothing here; leave it out"))
    if isinstance(node, MappingNode):
        return _mapping(node, complaints)
    if isinstance(node, SequenceNode):
        return [_plain(item, complaints) for item in node.value]
    try:
        return _VALUES.get(node.tag, str)(node.value)
    except ValueError:
        # Somebody wrote !!int before a word; what reads the key says what it wants.
        return node.value


def _mapping(node: MappingNode, complaints: list[Complaint]) -> dict[str, Any]:
    """A section; keys are names and stay text whatever they look like."""
    found: dict[str, Any] = {}
    first: dict[str, int] = {}
    for key, value in node.value:
        if not isinstance(key, ScalarNode):
            complaints.append(_at(key, "a key that is a list or a section; write a name"))
        elif key.value in first:
            what = f"{shown(key.value)} is already in line {first[key.value]}; remove one of them"
            complaints.append(_at(key, what))
        else:
            first[key.value] = key.start_mark.line + 1
            found[key.value] = _plain(value, complaints)
    return found


def _child(node: Node | None, part: str | int) -> tuple[Node | None, Node | None]:
    """Key and value of a part; the key of a list's entry is the entry itself."""
    if isinstance(node, MappingNode):
        for key, value in node.value:
            if isinstance(key, ScalarNode) and key.value == part:
                return key, value
    if isinstance(node, SequenceNode) and isinstance(part, int) and part < len(node.value):
        return node.value[part], node.value[part]
    return None, None


def _marks(root: Node | None, where: Where) -> tuple[tuple[int, int], tuple[int, int]]:
    """Line and column of the value at `where` and of its key, as far as the file goes."""
    node = key = root
    for part in where:
        next_key, next_node = _child(node, part)
        if next_node is None:
            # What is missing is missing from the section, which is known by its key.
            node = key
            break
        key, node = next_key, next_node
    if node is None or key is None:
        return (1, 1), (1, 1)
    mark, key_mark = node.start_mark, key.start_mark
    return (mark.line + 1, mark.column + 1), (key_mark.line + 1, key_mark.column + 1)
