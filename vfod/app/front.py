"""The one function behind every door: a query is answered from the snapshot, a change by a desk."""

import dataclasses
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any, Protocol

from vfod import requests as r
from vfod.clock import Clock
from vfod.errors import RefusedError, RequestError
from vfod.events import Door
from vfod.plan.agenda import Entry, coming
from vfod.plan.sunlines import suns
from vfod.plan.windows import Window
from vfod.radio.bands import Band
from vfod.state import State, show

DAY = 86400.0
#: Days of an agenda with a line for the sun of each night.
_SUN_DAYS = 7


class Carries(Protocol):
    """What takes changes for one VFO."""

    async def submit(self, asked: r.Asked) -> dict[str, Any]:
        """Carry out a change or raise a VfodError."""
        ...


class Front:
    """Answers requests.

    `windows` go by VFO, in the order of the configuration; `sweeps` say for which VFO each is.
    """

    def __init__(
        self,
        snapshot: Callable[[], State],
        clock: Clock,
        desks: Mapping[str, Carries],
        windows: Mapping[str, Sequence[Window]],
        bands: Sequence[Band],
        sweeps: Mapping[str, str],
        reload: Callable[[r.Asked], Awaitable[dict[str, Any]]] | None = None,
    ) -> None:
        self._snapshot = snapshot
        self._clock = clock
        self._desks = desks
        self._reload = reload
        self.take(windows, bands, sweeps)

    def take(
        self,
        windows: Mapping[str, Sequence[Window]],
        bands: Sequence[Band],
        sweeps: Mapping[str, str],
    ) -> None:
        """Answer by a new configuration from now on."""
        self._sweeps = sweeps
        self._windows = windows
        self._bands = tuple(bands)
        self._desks = {name: self._desks[name] for name in windows}

    async def submit(self, asked: r.Asked) -> dict[str, Any]:
        """The answer as JSON knows it; raises a VfodError for a refusal."""
        match asked.request:
            case r.ShowStatus():
                state = self._snapshot()
                if asked.vfo is not None:
                    name = self._vfo(asked.vfo)
                    state = dataclasses.replace(state, vfos={name: state.vfos[name]})
                return show.to_plain(state)
            case r.ShowAgenda(days=days):
                return self._agenda(days, asked.vfo)
            case r.ListBands():
                return self._list_bands()
            case r.ListSweeps():
                return self._list_sweeps()
            case r.Watch():
                raise RefusedError(
                    "this door cannot watch", remedy="use the control socket or MQTT"
                )
            case r.Reload():
                if self._reload is None or asked.origin.door is Door.MQTT:
                    raise RefusedError(
                        "the configuration is not reloaded from here", remedy="use `vfod reload`"
                    )
                return await self._reload(asked)
            case r.StartSweep(sweep=sweep) if asked.vfo is None:
                # A sweep is for one VFO; who names the sweep has named the VFO.
                return await self._desks[self._vfo(self._sweeps.get(sweep))].submit(asked)
        return await self._desks[self._vfo(asked.vfo)].submit(asked)

    def _vfo(self, name: str | None) -> str:
        if name is None:
            return next(iter(self._desks))
        if name not in self._desks:
            raise RequestError(
                f"there is no VFO {name!r}", remedy=f"known: {', '.join(self._desks)}"
            )
        return name

    def _agenda(self, days: int, vfo: str | None) -> dict[str, Any]:
        if not 1 <= days <= 400:
            raise RequestError("an agenda covers 1 to 400 days")
        names = [self._vfo(vfo)] if vfo else list(self._desks)
        return agenda_of({name: self._windows[name] for name in names}, days, self._clock.wall())

    def _list_bands(self) -> dict[str, Any]:
        return {
            "bands": [
                {"name": b.name, "low": b.low, "high": b.high, "service": str(b.service)}
                for b in self._bands
            ],
            "text": "\n".join(str(band) for band in self._bands),
        }

    def _list_sweeps(self) -> dict[str, Any]:
        return {
            "sweeps": [{"name": name, "vfo": vfo} for name, vfo in self._sweeps.items()],
            "text": "\n".join(f"{name}, for {vfo}" for name, vfo in self._sweeps.items()),
        }


def agenda_of(windows: Mapping[str, Sequence[Window]], days: int, now: float) -> dict[str, Any]:
    """The agenda of some VFOs as JSON knows it, with `text` for people."""
    until = now + days * DAY
    found = [(name, entry) for name in windows for entry in coming(windows[name], now, until)]
    found.sort(key=lambda item: item[1].opens)
    many = len(windows) > 1
    lines = [f"{name}: {entry}" if many else str(entry) for name, entry in found]
    lines = lines or [f"no window opens in the next {days} days"]
    sun = suns([window for some in windows.values() for window in some], now, until)
    # A line a night; of more than a week the windows themselves tell what the sun does to them.
    lines += [str(night) for night in sun] if days <= _SUN_DAYS else []
    return {
        "windows": [{"vfo": name, **entry_to_plain(entry)} for name, entry in found],
        "sun": [
            {"night": one.night.isoformat(), **{str(event): when for event, when in one.events}}
            for one in sun
        ],
        "text": "\n".join(lines),
    }


def entry_to_plain(entry: Entry) -> dict[str, Any]:
    """A line of the agenda as JSON knows it; times in Unix seconds."""
    return {
        "window": entry.window,
        "sweep": entry.sweep,
        "night": entry.night.isoformat(),
        "opens": entry.opens,
        "closes": entry.closes,
        "runs": entry.runs,
        "reasons": list(entry.reasons),
        "after": entry.after,
        "text": str(entry),
    }
