"""A night for the terminal: a short summary, in tables without lines."""

from collections.abc import Iterator, Sequence

from vfod.report.facts import Night
from vfod.report.season_words import season_remarks, season_sections
from vfod.report.seasons import Season
from vfod.report.sections import sections
from vfod.report.wording import Row, Section, brief
from vfod.state.say import visible


def night_lines(night: Night, width: int) -> Iterator[str]:
    """The summary, for a terminal of that many characters a line."""
    head = f"Night of {night.date:%A %Y-%m-%d}, VFO {visible(night.setting.vfo)}"
    yield head
    yield f"times in {night.setting.zone.key}"
    for remark in night.remarks:
        yield from wrapped(remark, width, "* ")
    for section in sections(night):
        if section.brief:
            yield ""
            yield from section_lines(section, width)


def season_lines(season: Season, width: int) -> Iterator[str]:
    """Many nights, for a terminal of that many characters a line."""
    yield f"Nights from {season.since} to {season.until}, VFO {visible(season.setting.vfo)}"
    yield f"times in {season.setting.zone.key}"
    for remark in season_remarks(season):
        yield from wrapped(remark, width, "* ")
    for section in season_sections(season):
        yield ""
        yield from section_lines(section, width)


def section_lines(section: Section, width: int) -> Iterator[str]:
    """A section: heading, sentences, the first rows of its table."""
    yield section.title
    for sentence in section.says:
        yield from wrapped(visible(sentence), width)
    rows, more = brief(section.rows, section.brief)
    if rows:
        yield from table(section.head, rows, width)
    if more:
        yield f"  and {more} more, see --html"


def table(head: Row, rows: Sequence[Row], width: int) -> Iterator[str]:
    """Columns under their names; the last one is cut where the line ends."""
    names = [name.removeprefix(">") for name in head]
    shown = [names, *([visible(cell) for cell in row] for row in rows)]
    widths = [max(len(row[index]) for row in shown) for index in range(len(head))]
    # Columns that are empty throughout say nothing.
    used = [index for index in range(len(head)) if any(row[index] for row in shown[1:])]
    for row in shown:
        cells = [
            row[index].rjust(widths[index])
            if head[index].startswith(">")
            else row[index].ljust(widths[index])
            for index in used
        ]
        line = "  " + "  ".join(cells).rstrip()
        yield line if len(line) <= width else line[: width - 1] + "…"


def wrapped(text: str, width: int, first: str = "  ") -> Iterator[str]:
    """A sentence in as many lines as it needs, indented; the first line may begin otherwise."""
    line = first
    for word in text.split(" "):
        if line.strip() and len(line) + 1 + len(word) > width:
            yield line
            line = "  "
        line = f"{line} {word}" if line[-1:] not in (" ", "") else f"{line}{word}"
    yield line
