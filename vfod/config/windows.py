"""Windows and watches of the form → those of the plan, and what does not fit together in them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from vfod.config import forms, parts
from vfod.config.complaints import Fault, Where, meant
from vfod.config.model import VfoConfig
from vfod.config.reader import Document
from vfod.config.shape import Shaped
from vfod.config.sweep_checks import outside
from vfod.errors import VfodError
from vfod.plan.dates import Span
from vfod.plan.moments import Lasting, Moment, SunTime, night_with, words
from vfod.plan.roster import roster_of
from vfod.plan.sweep import Sweep
from vfod.plan.windows import WEEKDAYS, Guest, Window
from vfod.radio.bands import Band
from vfod.radio.sun import DAY, Site


@dataclass(frozen=True, kw_only=True, slots=True)
class Around:
    """What windows are checked against; `written` are all sweeps of the file, sound or not.

    `zone` is None where the file's own is not sound.
    """

    document: Document
    zone: ZoneInfo | None
    site: Site | None
    sweeps: Mapping[str, Sweep]
    written: Sequence[str]
    sweeps_aside: bool
    vfos: Mapping[str, VfoConfig]
    bands: tuple[Band, ...]


def windows_of(shaped: Shaped, around: Around) -> tuple[list[Window], list[Fault]]:
    """The windows of the form, those that are sound, and what is wrong with the others."""
    items = shaped.form.windows
    chosen = {form.name for form in items if form.name}
    taken: dict[str, int] = {}
    found: list[Window] = []
    faults: list[Fault] = []
    for place, form in zip(shaped.places["windows"], items, strict=True):
        where: Where = ("windows", place)
        name = form.name or parts.free_name(form.sweep, chosen | set(taken))
        mistakes = []
        if name in taken:
            text = f"already the name of window #{taken[name] + 1}; choose another"
            mistakes.append(Fault((*where, "name"), text))
        taken.setdefault(name, place)
        mistakes += _sweep_faults(where, form, around)
        mistakes += _time_faults(where, form, around)
        mistakes += _guest_faults(where, form, around)
        faults += mistakes
        if not mistakes and around.zone is not None:
            found.append(_window(name, form, around.zone, around.site))
            faults += _sharing_faults(where, found[-1], around)
    return found, faults


def _window(name: str, form: forms.WindowForm, zone: ZoneInfo, site: Site | None) -> Window:
    end = form.end if form.lasting is None else Lasting(form.lasting)
    assert end is not None
    return Window(
        name=name,
        sweep=form.sweep,
        start=form.start,
        end=end,
        zone=zone,
        site=site,
        weekdays=frozenset(WEEKDAYS.index(day) for day in form.days),
        dates=tuple(form.dates or ()),
        left_out=tuple(form.left_out),
        season=form.season,
        priority=form.priority,
        guests=tuple(Guest(sweep=g.sweep, every=g.every, share=g.share) for g in form.guests),
    )


def _sweep_faults(where: Where, form: forms.WindowForm, around: Around) -> list[Fault]:
    found = []
    for place, name in (
        ((*where, "sweep"), form.sweep),
        *(((*where, "with", i, "sweep"), guest.sweep) for i, guest in enumerate(form.guests)),
    ):
        if name not in around.written and not around.sweeps_aside:
            text = f"there is no sweep {name!r}; {meant(name, around.written)}"
            found.append(Fault(place, text))
    return found


def _time_faults(where: Where, form: forms.WindowForm, around: Around) -> list[Fault]:
    found = []
    if form.lasting is not None and form.end is not None:
        text = "until says already when it closes; remove one of the two"
        found.append(Fault((*where, "for"), text, key=True))
    elif form.lasting is None and form.end is None:
        found.append(Fault((*where, "until"), "missing; write until: 06:00 or for: 2h"))
    found += _too_long(where, form.lasting)
    for key, moment in (("from", form.start), ("until", form.end)):
        if isinstance(moment, SunTime) and around.site is None:
            text = f"{moment.event} is not known without a place"
            remedy = "write latitude and longitude below place"
            found.append(Fault((*where, key), f"{text}; {remedy}"))
    if form.end is not None and (why := never(form.start, form.end)):
        found.append(Fault((*where, "until"), why))
    if not form.days:
        text = f"no day is left; write some of {', '.join(WEEKDAYS)}, or remove the key"
        found.append(Fault((*where, "days"), text))
    if form.dates == []:
        text = "no date is left; write some like 2026-06-01/2026-08-31, or remove the key"
        found.append(Fault((*where, "dates"), text))
    return found


def _too_long(where: Where, seconds: float | None) -> list[Fault]:
    if seconds is None or seconds <= DAY:
        return []
    return [Fault((*where, "for"), "longer than a day; write 24h or less")]


def never(start: Moment, end: Moment) -> str | None:
    """Why a window between two moments would not open in any night, and what to do."""
    if isinstance(start, SunTime) and isinstance(end, SunTime):
        up = start.event.is_rising
        if end.event.is_rising is not up:
            return None
        # The later of two events of an evening is the lower one; of a morning, the higher one.
        later = end.event.elevation - start.event.elevation
        if (later > 0) is up and later != 0:
            return None
        if end.offset > start.offset:
            return None
        same = "the same event" if later == 0 else f"{start.event}, which comes later"
        return f"{words(end)} is not after {words(start)}, by {same}; write a later time"
    if start == end:
        return "the window closes as it opens; write another time"
    return None


def _guest_faults(where: Where, form: forms.WindowForm, around: Around) -> list[Fault]:
    found = []
    seen = {form.sweep}
    own = around.sweeps.get(form.sweep)
    for index, guest in enumerate(form.guests):
        place = (*where, "with", index)
        if (guest.every is None) is (guest.share is None):
            text = "needs one of every and share; write every: 2m or share: 30%"
            found.append(Fault(place, text, key=True))
        if guest.sweep in seen:
            text = f"{guest.sweep} is in this window already; name each sweep once"
            found.append(Fault((*place, "sweep"), text))
        seen.add(guest.sweep)
        other = around.sweeps.get(guest.sweep)
        if own is not None and other is not None and own.vfo != other.vfo:
            text = f"{guest.sweep} is for VFO {other.vfo}, {own.name} for {own.vfo}"
            found.append(Fault((*place, "sweep"), f"{text}; give it a window of its own"))
    total = sum(guest.share or 0.0 for guest in form.guests)
    if total >= 1:
        text = f"the shares come to {total * 100:g} %, which leaves {form.sweep} nothing"
        found.append(Fault((*where, "with"), f"{text}; let them come to less than 100 %", key=True))
    return found


def _sharing_faults(where: Where, window: Window, around: Around) -> list[Fault]:
    """Whether the sweeps of a window can be laid over the receiver together."""
    names = (window.sweep, *(guest.sweep for guest in window.guests))
    if not window.guests or any(name not in around.sweeps for name in names):
        return []
    receiver = around.vfos[around.sweeps[window.sweep].vfo].receiver
    try:
        roster_of(window, around.sweeps, receiver, around.bands)
    except VfodError:
        text = f"nothing of {window.sweep} is left beside them"
        remedy = "a revisit time takes its channels out of it; give them a share, or fewer of them"
        return [Fault((*where, "with"), f"{text}; {remedy}", key=True)]
    return []


# --- watches -------------------------------------------------------------------------------------


def watches_of(
    shaped: Shaped, around: Around, taken: Sequence[str], vfos: Sequence[VfoConfig | None]
) -> tuple[list[tuple[Sweep, Window]], list[Fault]]:
    """The watches of the form, each as a sweep of one channel and a window in one night.

    `taken` are names of sweeps and windows; `vfos` go with the watches of the form.
    """
    items = shaped.form.watches
    used = set(taken) | {form.name for form in items if form.name}
    found: list[tuple[Sweep, Window]] = []
    faults: list[Fault] = []
    named: set[str] = set()
    for place, form, vfo in zip(shaped.places["watches"], items, vfos, strict=True):
        where: Where = ("watches", place)
        name = form.name or parts.free_name(f"watch-{form.frequency // 1000}", used)
        mistakes = _too_long(where, form.lasting)
        if form.name and (form.name in taken or form.name in named):
            text = "already the name of a sweep, a window or a watch; choose another"
            mistakes.append(Fault((*where, "name"), text))
        used.add(name)
        named.add(name)
        if vfo is not None:
            place_of = (*where, "frequency")
            mistakes += outside(place_of, form.frequency, vfo.receiver, around.document)
        faults += mistakes
        if not mistakes and vfo is not None and around.zone is not None:
            found.append(_watch(name, form, vfo.name, around.zone))
    return found, faults


def _watch(name: str, form: forms.WatchForm, vfo: str, zone: ZoneInfo) -> tuple[Sweep, Window]:
    day, moment = form.at
    night = night_with(day, moment, zone)
    # Nothing to hold for: it stays on its channel anyway.
    sweep = Sweep(name=name, vfo=vfo, channels=(form.frequency,), hold=None)
    window = Window(
        name=name,
        sweep=name,
        start=moment,
        end=Lasting(form.lasting),
        zone=zone,
        dates=(Span(night, night),),
        priority=form.priority,
    )
    return sweep, window
