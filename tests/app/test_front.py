"""The one function behind every door: queries from the snapshot, changes by a desk."""

from typing import Any

import pytest

from tests.run.shack import NOON
from vfod import requests as r
from vfod.app.front import Front
from vfod.errors import RefusedError, RequestError
from vfod.events import Door, Origin
from vfod.radio.bands import bands_for
from vfod.sim.jump import SimClock
from vfod.state import initial

SHELL = Origin(door=Door.SHELL, who="listener")


class Desk:
    """Keeps what it was asked."""

    def __init__(self) -> None:
        self.asked: list[r.Asked] = []

    async def submit(self, asked: r.Asked) -> dict[str, Any]:
        self.asked.append(asked)
        return {"text": "done"}


def front() -> tuple[Front, dict[str, Desk]]:
    desks = {"left": Desk(), "right": Desk()}
    windows: dict[str, list[Any]] = {"left": [], "right": []}
    state = initial(list(desks))
    return Front(
        lambda: state, SimClock(NOON), desks, windows, bands_for(1), {"two": "right"}
    ), desks


def asked(request: r.Request, vfo: str | None = None) -> r.Asked:
    return r.Asked(request=request, origin=SHELL, vfo=vfo)


async def test_the_first_vfo_is_meant_where_none_is_named() -> None:
    """A household with one VFO never names it."""
    it, desks = front()
    await it.submit(asked(r.Tune(frequency=7_300_000)))
    await it.submit(asked(r.Tune(frequency=7_305_000), "right"))
    assert [1, 1] == [len(desk.asked) for desk in desks.values()]


async def test_a_sweep_goes_to_its_own_vfo() -> None:
    """Who names the sweep need not name the VFO; an unknown sweep is the first one's to refuse."""
    it, desks = front()
    await it.submit(asked(r.StartSweep(sweep="two")))
    assert [0, 1] == [len(desk.asked) for desk in desks.values()]
    await it.submit(asked(r.StartSweep(sweep="three")))
    assert [1, 1] == [len(desk.asked) for desk in desks.values()]


async def test_an_unknown_vfo_is_refused_by_name() -> None:
    """And the known ones are told."""
    it, _ = front()
    for request in (r.Tune(frequency=7_300_000), r.ShowStatus(), r.ShowAgenda()):
        with pytest.raises(RequestError, match="known: left, right"):
            await it.submit(asked(request, "middle"))


async def test_status_of_one_or_of_all() -> None:
    """`--vfo` narrows it."""
    it, _ = front()
    assert ["left", "right"] == list((await it.submit(asked(r.ShowStatus())))["vfos"])
    assert ["right"] == list((await it.submit(asked(r.ShowStatus(), "right")))["vfos"])


async def test_an_empty_agenda_says_so() -> None:
    """No window is an answer, not an error; a silly span is one."""
    it, _ = front()
    assert "no window opens in the next 7 days" == (await it.submit(asked(r.ShowAgenda())))["text"]
    with pytest.raises(RequestError, match="1 to 400 days"):
        await it.submit(asked(r.ShowAgenda(days=0)))


async def test_bands_are_listed_with_their_edges() -> None:
    """The 31 m band of docs/standards.md section 2: 9400 to 9900 kHz."""
    it, _ = front()
    bands = {b["name"]: b for b in (await it.submit(asked(r.ListBands())))["bands"]}
    assert (9_400_000, 9_900_000) == (bands["31m"]["low"], bands["31m"]["high"])


async def test_a_door_that_cannot_watch_says_so() -> None:
    """Watching belongs to doors that stream."""
    it, _ = front()
    with pytest.raises(RefusedError, match="cannot watch"):
        await it.submit(asked(r.Watch()))
