"""The facts of a night in words: who was heard, in sections, the same for terminal and page."""

from collections.abc import Iterator

from vfod.report import hours, looked
from vfod.report.facts import Expected, Night
from vfod.report.heard import LEAST_IN_SPELL
from vfod.report.setting import clock_text
from vfod.report.wording import Row, Section, kilohertz, level, share
from vfod.survey.occupancy import Unsaid


def sections(night: Night) -> list[Section]:
    """All sections, in the order in which a listener asks."""
    return [
        *_stations(night),
        *_best(night),
        _bands(night),
        *_notes(night),
        looked.windows(night),
        *looked.gaps(night),
        looked.pace(night),
        looked.moves(night),
        *looked.channels(night),
        *hours.sections(night),
    ]


def _stations(night: Night) -> Iterator[Section]:
    found = night.stations
    if found is None:
        yield Section(
            key="expected",
            title="Expected and heard",
            says=(
                "No list of stations is named; `stations: stations.csv` in the configuration "
                "names one, and this report then begins with who was heard and who was not.",
            ),
        )
        return
    head = ("name", ">kHz", "expected", ">active", f">{night.unit}")
    yield Section(
        key="expected",
        title="Expected and heard",
        says=() if found.heard else ("Nobody of the list was heard.",),
        head=head if found.heard else (),
        rows=tuple(_expected(night, one) for one in found.heard),
        brief=12,
    )
    yield Section(
        key="missed",
        title="Expected and not heard",
        says=()
        if found.not_heard
        else ("Everybody who was looked for was heard.",)
        if found.heard
        else ("Nobody was looked for.",),
        head=head[:-1] if found.not_heard else (),
        rows=tuple(_expected(night, one)[:-1] for one in found.not_heard),
    )
    yield Section(
        key="unknown",
        title="Unknown",
        says=()
        if found.unknown
        else ("Nothing was heard that the list does not explain.",)
        if night.judged
        else ("Nothing was looked at.",),
        head=(">kHz", "heard", ">active visits") if found.unknown else (),
        rows=tuple(
            (
                kilohertz(one.dial),
                f"{_clock(night, one.first)}\u2013{_clock(night, one.last)}",
                str(one.active),
            )
            for one in found.unknown
        ),
    )
    if found.not_looked:
        yield Section(
            key="not-looked",
            title="Expected while nobody looked",
            says=("Of these nothing can be said.",),
            head=head[:3],
            rows=tuple(_expected(night, one)[:3] for one in found.not_looked),
            brief=4,
        )


def _expected(night: Night, one: Expected) -> Row:
    begins, ends = max(one.begins, night.picture[0]), min(one.ends, night.picture[1])
    zone = night.setting.zone
    return (
        one.name,
        kilohertz(one.frequency),
        f"{clock_text(begins, zone)}\u2013{clock_text(ends, zone)}",
        f"{one.active} of {one.judged}",
        level(one.strongest),
    )


def _best(night: Night) -> Iterator[Section]:
    none = "Nothing lasted for two visits in a row." if night.judged else "Nothing can be said."
    yield Section(
        key="strongest",
        title="The strongest",
        says=() if night.strongest else (none,),
        head=(">kHz", "band", f">{night.unit}", "at", "name") if night.strongest else (),
        rows=tuple(
            (
                kilohertz(c.sums.dial),
                c.sums.band or "",
                level(c.sums.strongest),
                ""
                if c.sums.strongest_at is None
                else clock_text(c.sums.strongest_at, night.setting.zone),
                ", ".join(c.names),
            )
            for c in night.strongest
        ),
        brief=5,
    )
    yield _new(night)
    yield _steady(night)


def _steady(night: Night) -> Section:
    title = "The steady"
    if not night.steady:
        none = "Of no channel it is sure that it never paused for long."
        return Section(key="steady", title=title, says=(none,))
    says = [
        "Surely there at least 95 % of the time, and none of the receiver's own signals; active "
        "and all visits, the median level, and what nine of ten visits were over."
    ]
    for one in night.skipping:
        says.append(f"Sweep {one.sweep} leaves them out with `{one.line}`.")
    if not night.skipping:
        says.append("`skip` of a sweep leaves them out; no sweep of the configuration visits them.")
    return Section(
        key="steady",
        title=title,
        says=tuple(says),
        head=(">kHz", ">of the time", ">visits", f">{night.unit}", ">most over", "name"),
        rows=tuple(
            (
                kilohertz(one.evidence.dial),
                share(one.evidence.share),
                f"{one.evidence.active}/{one.evidence.visits}",
                level(one.evidence.level),
                level(one.evidence.lowest),
                ", ".join(one.names),
            )
            for one in night.steady
        ),
        brief=5,
    )


def _new(night: Night) -> Section:
    title = "The new"
    if night.fresh is None:
        return Section(key="new", title=title, says=("No earlier night to compare with.",))
    looked = f"{night.earlier} earlier night{'' if night.earlier == 1 else 's'}"
    if not night.fresh:
        return Section(key="new", title=title, says=(f"Nothing that {looked} had not.",))
    return Section(
        key="new",
        title=title,
        says=(f"Never active on {looked} of the last two weeks, though it was visited.",),
        head=(">kHz", "band", f">up to {night.unit}", "first", "last", "name"),
        rows=tuple(
            (
                kilohertz(c.sums.dial),
                c.sums.band or "",
                level(c.sums.strongest),
                _clock(night, c.sums.first_active),
                _clock(night, c.sums.last_active),
                ", ".join(c.names),
            )
            for c in night.fresh
        ),
    )


def _bands(night: Night) -> Section:
    rows: list[Row] = []
    for one in sorted(night.open_bands, key=lambda one: (one.spell.band, one.spell.begins)):
        begins, ends = _clock(night, one.spell.begins), _clock(night, one.spell.ends)
        again = bool(rows) and rows[-1][0] == one.spell.band
        busy = night.band_occupancy.get(one.spell.band)
        rows.append(
            (
                one.spell.band,
                f"before {begins}" if one.from_the_start else begins,
                f"after {ends}" if one.to_the_end else ends,
                "" if again or busy is None else share(busy.tonight),
                "" if again or busy is None else share(busy.long_run),
                str(one.spell.active),
            )
        )
    silent = [b for b in night.looked_bands if b not in {o.spell.band for o in night.open_bands}]
    says = (
        [
            f"Never open while it was visited, which takes {LEAST_IN_SPELL} active visits near each"
            f" other: {', '.join(silent)}."
        ]
        if silent
        else []
    )
    if not night.looked_bands:
        says = ["No band was looked at."]
    elif rows:
        says.append("Occupied: of all channels and all the watched time, 95 % confidence.")
        says += _unsaid(night, list(dict.fromkeys(row[0] for row in rows)))
    return Section(
        key="bands",
        title="When bands opened and closed",
        says=tuple(says),
        head=("band", "opened", "closed", ">occupied", ">all such nights", ">active")
        if rows
        else (),
        rows=tuple(rows),
        brief=12,
    )


def _unsaid(night: Night, bands: list[str]) -> Iterator[str]:
    """Why nothing is said of all such nights, the bands of one reason together."""
    reasons: dict[str, list[str]] = {}
    for band in bands:
        busy = night.band_occupancy.get(band)
        if busy is not None and isinstance(busy.long_run, Unsaid):
            reasons.setdefault(busy.long_run.reason, []).append(band)
    for reason, some in reasons.items():
        yield f"All such nights cannot be said of {', '.join(some)}: {reason}."


def _notes(night: Night) -> Iterator[Section]:
    if not night.notes:
        return
    yield Section(
        key="notes",
        title="Notes",
        head=("at", ">kHz", ">level", "SINPO", "heard", "note"),
        rows=tuple(
            (
                clock_text(note.at, night.setting.zone),
                "" if note.dial is None else kilohertz(note.dial),
                "" if note.level is None else f"{level(note.level)} {note.unit}",
                note.sinpo or "",
                note.heard or "",
                note.text,
            )
            for note in night.notes
        ),
    )


def _clock(night: Night, when: float | None) -> str:
    return "" if when is None else clock_text(when, night.setting.zone)
