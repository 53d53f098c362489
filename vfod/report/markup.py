"""HTML that cannot be broken by what stands in a note: everything is escaped unless it is markup.

A page is whole in one file and asks for nothing: its policy forbids all requests, its style is
named by its hash, there is no script. Light or dark is the reader's, paper is always light.
"""

import base64
import hashlib
import html
import re
from collections.abc import Iterable

from vfod.picture.svg import STYLE as PICTURE_STYLE
from vfod.report.wording import Section
from vfod.state.say import visible

#: `--faint` has a contrast of more than 4.5 to the page in both (WCAG 2.2, 1.4.3).
STYLE = """\
:root{--page:#fdfcf8;--text:#23262b;--faint:#63676d;--line:#dbd7cc;--mark:#8a2c63;--soft:#e9c9d9}
@media screen and (prefers-color-scheme:dark){
:root{--page:#15171b;--text:#dcdad3;--faint:#9da0a5;--line:#343840;--mark:#e3ae74;--soft:#5a4632}}
*{box-sizing:border-box}
html{background:var(--page);color:var(--text);font:16px/1.5 system-ui,sans-serif}
body{max-width:60rem;margin:0 auto;padding:1.5rem 1rem 3rem}
h1{font:400 1.9rem/1.2 Georgia,serif;margin:0 0 .3rem}
h2{font:400 1.25rem/1.3 Georgia,serif;margin:0 0 .4rem}
p{margin:.3rem 0}
.faint,caption,footer{color:var(--faint)}
section{margin:2rem 0 0}
.flow{columns:2 24rem;column-gap:2.5rem;margin-top:2rem}
.flow section{break-inside:avoid;margin:0 0 2rem}
.figures{display:flex;flex-wrap:wrap;gap:.4rem 2.2rem;margin:1rem 0;padding:0}
.figures div{min-width:6rem}
.figures dt{color:var(--faint);font-size:.85rem}
.figures dd{margin:0;font-size:1.25rem;font-variant-numeric:tabular-nums}
.remarks{border-left:3px solid var(--mark);margin:1rem 0;padding:.1rem 0 .1rem 1rem;list-style:none}
.remarks li{margin:.25rem 0}
.scroll{overflow-x:auto;background:
linear-gradient(90deg,var(--page) 40%,transparent) left/2rem 100% local no-repeat,
linear-gradient(270deg,var(--page) 40%,transparent) right/2rem 100% local no-repeat,
linear-gradient(90deg,var(--line),transparent) left/.7rem 100% scroll no-repeat,
linear-gradient(270deg,var(--line),transparent) right/.7rem 100% scroll no-repeat}
.scroll:focus-visible,summary:focus-visible{outline:2px solid var(--mark);outline-offset:2px}
table{border-collapse:collapse;font-variant-numeric:tabular-nums;font-size:.92rem}
caption{text-align:left;padding:.2rem 0}
th{font-weight:400;color:var(--faint);text-align:left}
th,td{padding:.18rem .7rem .18rem 0;border-bottom:1px solid var(--line);vertical-align:top}
td{overflow-wrap:break-word}
td.short,td.number{white-space:nowrap}
td.long{min-width:12rem}
#channels td:last-child{min-width:8.5rem}
.number{text-align:right}
.numbers td,.numbers th{padding-right:.6rem}
.bar{display:block;width:7rem;height:.8rem;margin-top:.35rem}
.bar .all{fill:none;stroke:var(--line)}
.bar .range{fill:var(--soft)}
.bar .value{fill:var(--mark)}
figure{margin:1rem 0 0}
summary{cursor:pointer;color:var(--faint);padding:.3rem 0}
footer{margin-top:3rem;font-size:.85rem}
@media (max-width:640px){table{font-size:.85rem}th,td{padding-right:.35rem}.bar{width:4rem}
td.short,td.number{white-space:normal}
#channels td:last-child{min-width:6rem}
.scroll tr>:first-child{position:sticky;left:0;background:var(--page)}}
@media print{:root{color-scheme:light}html{font-size:11px;background:#fff}
body{max-width:none;padding:0}
.scroll{overflow:visible;background:none}section{margin-top:1.2rem}tr,figure{break-inside:avoid}
th,td{padding-right:.5rem}h2{break-after:avoid}summary{display:none}}
@page{margin:15mm}
"""


_UNIT = re.compile(r"(?<=\d) (?=%|(?:dBm?|h|min|s|kHz)\b)")
_INTERVAL = re.compile(r"\([^)]*\)")


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


def tag(name: str, *children: str, **attributes: str | None) -> Markup:
    """An element; what is no markup is escaped. `class_` is class, `aria_label` aria-label."""
    shown = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{html.escape(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{name}{shown}>{''.join(map(escape, children))}</{name}>")


def escape(text: str) -> Markup:
    """Text as it may stand in a page; control characters are shown as their numbers."""
    return text if isinstance(text, Markup) else Markup(html.escape(visible(text)))


def page(title: str, *body: str) -> str:
    """A whole document."""
    style = STYLE + PICTURE_STYLE
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode("ascii")
    policy = (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>{escape(title)}</title><style>{style}</style></head>"
        f"<body>{''.join(map(escape, body))}</body></html>\n"
    )


def figures(pairs: Iterable[tuple[str, str]]) -> Markup:
    """A few figures at a glance."""
    items = (tag("div", tag("dt", name), tag("dd", value)) for name, value in pairs)
    return tag("dl", *items, class_="figures")


def remarks(sentences: Iterable[str]) -> Markup:
    """Sentences that must not be overlooked."""
    items = [tag("li", sentence) for sentence in sentences]
    return tag("ul", *items, class_="remarks") if items else Markup("")


def section(one: Section, *more: str, extra: "Extra | None" = None) -> Markup:
    """A section with its sentences and its table; `more` comes between them."""
    parts = [tag("h2", one.title), *(tag("p", sentence, class_="faint") for sentence in one.says)]
    parts += map(escape, more)
    if one.rows:
        parts.append(table(one, extra))
    return tag("section", *parts, id=one.key)


class Extra:
    """A column of markup beside a table's own: after column `after`, one cell a row."""

    def __init__(self, head: str, after: int, cells: list[Markup]) -> None:
        self.head, self.after, self.cells = head, after, cells


def table(one: Section, extra: Extra | None = None) -> Markup:
    """A section's table, which scrolls by itself where it is too wide."""
    used = [index for index in range(len(one.head)) if any(row[index] for row in one.rows)]
    head: list[Markup] = []
    body: list[list[Markup]] = [[] for _ in one.rows]
    for index in used:
        number = "number" if one.head[index].startswith(">") else None
        name = one.head[index].removeprefix(">")
        head.append(tag("th", name, scope="col", class_=number))
        for cells, row in zip(body, one.rows, strict=True):
            shown = _held_together(row[index]) if number else row[index]
            cells.append(tag("td", shown, class_=number or _length(row[index])))
        if extra is not None and extra.after == index:
            head.append(tag("th", extra.head, scope="col"))
            for cells, cell in zip(body, extra.cells, strict=True):
                cells.append(tag("td", cell))
    rows = (tag("tr", *cells) for cells in body)
    return scroll(one.title, tag("table", tag("thead", tag("tr", *head)), tag("tbody", *rows)))


def _held_together(text: str) -> Markup:
    """A number with its unit, and an interval: a line is broken between the two."""
    with_units = _UNIT.sub("&nbsp;", escape(text))
    return Markup(_INTERVAL.sub(lambda found: found[0].replace(" ", "&nbsp;"), with_units))


def _length(text: str) -> str | None:
    """Times and bands stay in one line, names may break, a note needs room."""
    return "short" if len(text) <= 12 else "long" if len(text) > 40 else None


def scroll(label: str, content: Markup) -> Markup:
    """Something wide, which a keyboard can scroll too."""
    return tag("div", content, class_="scroll", tabindex="0", role="region", aria_label=label)
