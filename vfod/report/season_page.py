"""Many nights as one page of HTML."""

from collections.abc import Iterator

from vfod import __version__
from vfod.picture.svg import draw
from vfod.report.markup import Markup, figures, page, remarks, scroll, section, tag
from vfod.report.season_drawing import season_chart, season_numbers
from vfod.report.season_words import season_remarks, season_sections
from vfod.report.seasons import Season
from vfod.report.setting import utc_text

_PAIRED = ("best-by-clock", "best-by-sun", "changed-clock", "changed-sun", "came", "went")


def season_page(season: Season) -> str:
    """The whole page."""
    title = f"Nights from {season.since} to {season.until}"
    vfo, zone = season.setting.vfo, season.setting.zone.key
    found = season_sections(season)
    return page(
        f"{title}, VFO {vfo}",
        tag(
            "header",
            tag("h1", title),
            tag("p", f"VFO {vfo}; times in {zone}", class_="faint"),
            figures(
                [("nights looked at", str(len(season.nights))), ("bands", str(len(season.bands)))]
            ),
            remarks(season_remarks(season)),
        ),
        tag(
            "main",
            *(_picture(season, by_sun=by_sun) for by_sun in (False, True)),
            tag("div", *(section(one) for one in found if one.key in _PAIRED), class_="flow"),
            *(section(one) for one in found if one.key not in _PAIRED),
        ),
        tag("footer", f"vfod {__version__}, made {utc_text(season.setting.now)} from the journal"),
    )


def _picture(season: Season, *, by_sun: bool) -> Markup:
    chart = season_chart(season, by_sun=by_sun)
    if chart is None:
        return Markup("")
    name = "sun" if by_sun else "clock"
    drawing = draw(chart, name)
    title = "Band by hour, against the sun" if by_sun else "Band by hour, by the clock"
    return tag(
        "section",
        tag("h2", title),
        tag("figure", Markup(drawing.store + drawing.wide + drawing.narrow)),
        tag(
            "details",
            tag("summary", "The numbers behind the picture"),
            scroll(
                f"The numbers: {title}", tag("table", *_numbers(season, by_sun), class_="numbers")
            ),
        ),
        id=f"picture-{name}",
    )


def _numbers(season: Season, by_sun: bool) -> Iterator[Markup]:
    head, rows = season_numbers(season, by_sun=by_sun)
    yield tag("caption", "Percent of visits that were active; empty where nothing was visited.")
    yield tag("thead", tag("tr", *(tag("th", name, scope="col") for name in head)))
    yield tag(
        "tbody",
        *(
            tag(
                "tr",
                tag("th", band, scope="row"),
                tag("td", night, class_="short"),
                *(tag("td", cell, class_="number") for cell in cells),
            )
            for band, night, *cells in rows
        ),
    )
