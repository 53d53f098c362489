"""A night as one page of HTML: who was heard, the picture, and the numbers behind both."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from vfod import __version__
from vfod.picture.svg import draw
from vfod.report.drawing import night_chart, numbers
from vfod.report.facts import Channel, Night
from vfod.report.looked import quiet
from vfod.report.markup import Extra, Markup, figures, page, remarks, scroll, section, table, tag
from vfod.report.sections import sections
from vfod.report.setting import clock_text, utc_text
from vfod.report.wording import Section, kilohertz
from vfod.survey.occupancy import Share, Unsaid
from vfod.units import format_duration

#: Sections that lead the page, and those that are short enough to stand side by side.
_LEAD = ("expected", "missed", "unknown", "not-looked")
_PAIRED = ("strongest", "new", "pace")


def night_page(night: Night) -> str:
    """The whole page."""
    title = f"Night of {night.date:%A, %d %B %Y}"
    vfo, zone = night.setting.vfo, night.setting.zone.key
    found = sections(night)
    return page(
        f"{title}, VFO {vfo}",
        tag(
            "header",
            tag("h1", title),
            tag("p", f"VFO {vfo}; times in {zone}", class_="faint"),
            figures(_figures(night)),
            remarks(night.remarks),
        ),
        tag("main", *_main(night, found)),
        tag("footer", f"vfod {__version__}, made {utc_text(night.setting.now)} from the journal"),
    )


def _main(night: Night, found: list[Section]) -> Iterator[Markup]:
    yield tag("div", *(section(one) for one in found if one.key in _LEAD), class_="flow")
    yield _picture(night)
    yield tag("div", *(section(one) for one in found if one.key in _PAIRED), class_="flow")
    for one in found:
        if one.key == "channels":
            active = [channel for channel in night.channels if channel.sums.active]
            yield section(one, extra=_bars(active))
            yield _quiet(night)
        elif one.key == "channel-hours":
            yield tag("details", tag("summary", one.title), table(one))
        elif one.key == "notes":
            yield section(_text_first(one))
        elif one.key not in (*_LEAD, *_PAIRED):
            yield section(one)


def _text_first(notes: Section) -> Section:
    """The words of a note beside its time: a phone shows the first columns."""
    return replace(
        notes,
        head=(notes.head[0], notes.head[-1], *notes.head[1:-1]),
        rows=tuple((row[0], row[-1], *row[1:-1]) for row in notes.rows),
    )


def _figures(night: Night) -> Iterator[tuple[str, str]]:
    due = sum(one.due for one in night.windows)
    if due:
        swept = sum(one.swept for one in night.windows)
        yield "swept", f"{format_duration(swept)} of {format_duration(due)}"
    yield "visits", str(night.visits)
    yield "channels", str(len({channel.sums.dial for channel in night.channels}))
    if night.judged:
        active = sum(
            isinstance(share := channel.occupancy.tonight, Share) and share.low > 0.01
            for channel in night.channels
        )
        yield "surely active", str(active)
    if night.revisit is not None:
        yield "revisit time", format_duration(night.revisit.median)
    for event, when in night.sun.items():
        yield str(event), clock_text(when, night.setting.zone)


def _picture(night: Night) -> Markup:
    chart = night_chart(night)
    heading = tag("h2", "Level over time and frequency")
    if chart is None:
        nothing = "There is no picture, because no level was measured."
        return tag("section", heading, tag("p", nothing, class_="faint"), id="picture")
    drawing = draw(chart, "night")
    return tag(
        "section",
        heading,
        tag("figure", Markup(drawing.store + drawing.wide + drawing.narrow)),
        tag("details", tag("summary", "The numbers behind the picture"), _numbers(night)),
        id="picture",
    )


def _numbers(night: Night) -> Markup:
    found = numbers(night)
    head = tag(
        "tr",
        tag("th", "kHz", scope="col"),
        *(tag("th", hour, scope="col", class_="number") for hour in found.hours),
    )
    rows = (
        tag(
            "tr",
            tag("th", kilohertz(dial), scope="row"),
            *(tag("td", _whole(one), class_="number") for one in levels),
        )
        for dial, levels in found.rows
    )
    says = f"The strongest visit of each hour, {night.unit}; empty where nothing was visited."
    parts = (tag("caption", says), tag("thead", head), tag("tbody", *rows))
    return scroll("The numbers behind the picture", tag("table", *parts, class_="numbers"))


def _whole(level: float | None) -> str:
    return "" if level is None else f"{level:.0f}".replace("-", "\u2212")


def _quiet(night: Night) -> Markup:
    found = quiet(night)
    if not found.rows:
        return Markup("")
    channels = [channel for channel in night.channels if not channel.sums.active]
    summary = f"{len(found.rows)} channels that were never found active"
    return tag("details", tag("summary", summary), table(found, _bars(channels)))


def _bars(channels: Sequence[Channel]) -> Extra:
    """The interval of each channel as a bar from never to always, the value as a mark in it."""
    cells = [_bar(channel.occupancy.tonight) for channel in channels]
    return Extra("never to always", 1, cells)


def _bar(share: Share | Unsaid) -> Markup:
    if isinstance(share, Unsaid):
        return tag("span", share.reason, class_="faint")
    low, high, value = 100 * share.low, 100 * share.high, 100 * share.value
    return Markup(
        '<svg class="bar" viewBox="-1 0 102 10" preserveAspectRatio="none" aria-hidden="true">'
        '<path class="all" d="M0 9.5H100"/>'
        f'<rect class="range" x="{low:.1f}" y="2" width="{max(high - low, 1):.1f}" height="6"/>'
        f'<rect class="value" x="{value - 0.8:.1f}" y="0" width="1.6" height="10"/></svg>'
    )
