"""Whether page and exports of a night say what the store has: counted anew, one by one."""

import csv
import datetime as dt
import json
from html.parser import HTMLParser
from pathlib import Path
from zoneinfo import ZoneInfo

from vfod.__main__ import main
from vfod.store import Observation, Reader


class Tables(HTMLParser):
    """The tables of a page by the id of their section; the numbers' one is under `picture`."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self._section = ""
        self._cell: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "section":
            self._section = dict(attrs).get("id") or ""
        elif tag == "details" and self._section == "channels":
            self._section = "quiet"
        elif tag == "tr":
            self.tables.setdefault(self._section, []).append([])
        elif tag in ("td", "th"):
            self._cell = []

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th") and self._cell is not None:
            self.tables[self._section][-1].append("".join(self._cell))
            self._cell = None


def check(journal: Path, config: Path, night: dt.date, folder: Path) -> None:
    """Hold them against each other; the first that disagrees fails the test."""
    common = ["--journal", str(journal), "--config", str(config)]
    page, rows, objects = (folder / name for name in ("n.html", "n.csv", "n.jsonl"))
    assert 0 == main(["night", night.isoformat(), "--html", str(page), *common])
    for form, target in (("csv", rows), ("jsonl", objects)):
        words = ["journal", "export", "observations", "--as", form, "--to", str(target)]
        assert 0 == main([*words, *common])
    with Reader(journal) as reader:
        seen = list(reader.observations())
    _exports(seen, rows.read_text(), objects.read_text())
    tables = Tables()
    tables.feed(page.read_text())
    _channels(seen, tables.tables)
    _numbers(seen, tables.tables["picture"])
    # The one window of the night; a visit that ends just as it closes is no longer in it.
    ((*_, last, visits, _),) = tables.tables["windows"][1:]  # the sweep stands last
    with Reader(journal) as reader:
        (opened,) = reader.events(kinds=("window-opened",))
    inside = [one for one in seen if opened.data["opens"] <= one.time < opened.data["closes"]]
    assert len(inside) == int(visits) > len(seen) - 2
    assert f"{dt.datetime.fromtimestamp(inside[-1].time, ZoneInfo('Europe/Berlin')):%H:%M}" == last


def _exports(seen: list[Observation], text: str, lines: str) -> None:
    rows = list(csv.DictReader(text.splitlines(), strict=True))
    objects = [json.loads(line) for line in lines.splitlines()]
    assert len(seen) == len(rows) == len(objects)
    for one, row, read in zip(seen, rows, objects, strict=True):
        told = one.observed
        assert one.time == read["time"]
        assert abs(dt.datetime.fromisoformat(row["time"]).timestamp() - one.time) < 0.001
        assert told.dial == round(float(row["khz"]) * 1000) == read["dial"]
        assert (told.level, told.floor) == (read["level"], read["floor"])
        assert ("" if told.level is None else f"{told.level}") == row["level"]
        assert {True: "yes", False: "no", None: ""}[told.active] == row["active"]


def _channels(seen: list[Observation], tables: dict[str, list[list[str]]]) -> None:
    """Visits, active visits and strongest level of every channel."""
    expected: dict[str, tuple[int, int, str]] = {}
    for dial in {one.observed.dial for one in seen}:
        mine = [one.observed for one in seen if one.observed.dial == dial]
        levels = [one.level for one in mine if one.level is not None]
        best = f"{max(levels):.1f}".replace("-", "\N{MINUS SIGN}") if levels else ""
        expected[f"{dial / 1000:g}"] = (len(mine), sum(one.active is True for one in mine), best)
    told: dict[str, tuple[int, int, str]] = {}
    for key in ("channels", "quiet"):
        # By their names, because a column that is empty throughout is left out.
        head = tables[key][0]
        for row in tables[key][1:]:
            cell = dict(zip(head, row, strict=True))
            told[cell["kHz"]] = (int(cell["visits"]), int(cell["active"]), cell["up to dBm"])
    assert expected == told


def _numbers(seen: list[Observation], table: list[list[str]]) -> None:
    """By channel and hour the strongest level, empty where nothing was visited."""
    head, *rows = table
    first = min(one.time for one in seen) // 3600
    levels: dict[tuple[str, float], float] = {}
    for one in seen:
        key = f"{one.observed.dial / 1000:g}", one.time // 3600 - first
        if one.observed.level is not None:
            levels[key] = max(one.observed.level, levels.get(key, -999.0))
    shown = {
        (khz, float(hour)): cell for khz, *cells in rows for hour, cell in enumerate(cells) if cell
    }
    assert len(head) > 10
    assert shown == {
        key: f"{level:.0f}".replace("-", "\N{MINUS SIGN}") for key, level in levels.items()
    }
