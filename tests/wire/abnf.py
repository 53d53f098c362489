"""A grammar in ABNF (RFC 5234) as a regular expression over bytes, for grammars without recursion.

Does what docs/protocol.md uses: rules, alternatives, groups, options, repetition, quoted strings
(which match either case, section 2.3 of the RFC), numeric values, ranges and concatenations, and
the core rules of appendix B.1 it needs.
"""

import re
from collections.abc import Iterator

#: RFC 5234, appendix B.1.
CORE = {
    "CR": r"\x0d",
    "DIGIT": r"[\x30-\x39]",
    "HEXDIG": r"[0-9A-Fa-f]",
    "LF": r"\x0a",
    "SP": r"\x20",
}

_TOKEN = re.compile(
    r"\s+|(?P<name>[A-Za-z][A-Za-z0-9-]*)|(?P<text>\"[^\"]*\")|(?P<number>%x[0-9A-F.-]+)"
    r"|(?P<times>\d*\*\d*|\d+)|(?P<mark>[][()/])"
)


class Grammar:
    """The rules of a text; `pattern(rule)` is the regular expression of one of them."""

    def __init__(self, text: str) -> None:
        self.rules: dict[str, str] = {}
        name = ""
        for line in text.splitlines():
            line = line.split(";")[0].rstrip()
            if not line:
                continue
            if not line[0].isspace():
                name, _, line = line.partition("=")
                name = name.strip()
                assert name not in self.rules, f"{name} is defined twice"
                self.rules[name] = ""
            self.rules[name] += line

    def pattern(self, rule: str) -> str:
        if rule in CORE:
            return CORE[rule]
        tokens = list(self._tokens(self.rules[rule]))
        pattern = self._alternatives(tokens)
        assert not tokens, f"{rule}: {tokens} left over"
        return pattern

    def compile(self, rule: str) -> re.Pattern[bytes]:
        return re.compile(self.pattern(rule).encode("ascii"))

    @staticmethod
    def _tokens(text: str) -> Iterator[tuple[str, str]]:
        at = 0
        while at < len(text):
            match = _TOKEN.match(text, at)
            assert match, f"not ABNF: {text[at:]!r}"
            at = match.end()
            if match.lastgroup:
                yield match.lastgroup, match.group()

    def _alternatives(self, tokens: list[tuple[str, str]]) -> str:
        choices = [""]
        while tokens and tokens[0][1] not in ("]", ")"):
            if tokens[0] == ("mark", "/"):
                tokens.pop(0)
                choices.append("")
            else:
                choices[-1] += self._element(tokens)
        return f"(?:{'|'.join(choices)})"

    def _element(self, tokens: list[tuple[str, str]]) -> str:
        kind, text = tokens.pop(0)
        if kind == "times":
            low, star, high = text.partition("*")
            times = f"{{{low or 0},{high}}}" if star else f"{{{text}}}"
            return f"(?:{self._element(tokens)}){times}"
        if kind == "name":
            return self.pattern(text)
        if kind == "text":
            return f"(?i:{re.escape(text[1:-1])})"
        if kind == "number":
            if "-" in text:
                low, high = text[2:].split("-")
                return rf"[\x{low}-\x{high}]"
            return "".join(rf"\x{byte}" for byte in text[2:].split("."))
        inner = self._alternatives(tokens)
        closing = tokens.pop(0)[1]
        assert text + closing in ("()", "[]"), text + closing
        return inner + "?" if text == "[" else inner
