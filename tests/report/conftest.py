"""The diary of a night; the configuration of the command's own tests serves here too."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import config as config
from tests.report.diary import Diary


@pytest.fixture
def diary(tmp_path: Path) -> Iterator[Diary]:
    made = Diary(tmp_path / "journal.sqlite")
    yield made
    made.close()
