"""What is shipped for a metrics server and a dashboard: rules that hold, queries that find data."""

import asyncio
import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.real_parts import Prometheus, Server, real_part
from tests.system.household import Household, until

SHIPPED = Path("configs/metrics")
RULES = SHIPPED / "vfod-rules.yml"
BOARD = json.loads((SHIPPED / "vfod-dashboard.json").read_text())

#: The dashboard server puts these in; the test's metrics server scrapes twice a second.
VARIABLES = {"$__rate_interval": "5s", "$instance": ".*", "$vfo": ".*"}


def now() -> float:
    return asyncio.get_running_loop().time()


def queries() -> Iterator[str]:
    for panel in BOARD["panels"]:
        for target in panel["targets"]:
            yield target["expr"]


def rules() -> Iterator[dict[str, Any]]:
    for group in yaml.safe_load(RULES.read_text())["groups"]:
        yield from group["rules"]


def test_rules_hold(tmp_path: Path) -> None:
    """promtool finds them sound, and what they say of made-up series is what it should be."""
    promtool = real_part("promtool")
    for file in (RULES, Path("tests/outputs/rules_test.yml")):
        shutil.copy(file, tmp_path)
    for words in (["check", "rules", RULES.name], ["test", "rules", "rules_test.yml"]):
        done = subprocess.run(
            [promtool, *words], cwd=tmp_path, capture_output=True, text=True, check=False
        )
        assert 0 == done.returncode, done.stdout + done.stderr


def test_every_rule_has_a_case() -> None:
    """A rule without a test would be noticed here."""
    cases = Path("tests/outputs/rules_test.yml").read_text()
    for rule in rules():
        assert str(rule.get("alert") or rule["record"]) in cases


def test_scrape_job_is_sound(tmp_path: Path) -> None:
    """promtool takes it, with the rules that it names beside it."""
    shutil.copy(RULES, tmp_path)
    shutil.copy(SHIPPED / "scrape.yml", tmp_path)
    done = subprocess.run(
        [real_part("promtool"), "check", "config", "scrape.yml"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert 0 == done.returncode, done.stdout + done.stderr


def test_the_board_can_be_provisioned() -> None:
    """No id of its own, its source a variable (a placeholder for one is never filled in)."""
    assert BOARD["id"] is None
    text = json.dumps(BOARD)
    assert "__inputs" not in text
    assert "${DS_" not in text
    names = {variable["name"]: variable["type"] for variable in BOARD["templating"]["list"]}
    assert "datasource" == names["datasource"]
    ids = [panel["id"] for panel in BOARD["panels"]]
    assert len(ids) == len(set(ids))
    for panel in BOARD["panels"]:
        assert "${datasource}" == panel["datasource"]["uid"]
        assert panel["description"]


@pytest.mark.real_time
async def test_every_query_finds_data(
    tmp_path: Path, mosquitto: Server, prometheus: Callable[..., Prometheus]
) -> None:
    """A real metrics server scrapes a real daemon that sweeps: the target is up, no panel empty."""
    it = Household(tmp_path, mosquitto)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 1, now)
        server = await asyncio.to_thread(prometheus, f"127.0.0.1:{it.web}")
        await until(lambda: server.query('up{job="vfod"} == 1'), now)
        recorded = [rule["expr"] for rule in rules() if "record" in rule]
        for query in [*queries(), *recorded]:
            for variable, value in VARIABLES.items():
                query = query.replace(variable, value)
            await until(partial(server.query, query), now)
    finally:
        it.close()
