"""One office for all tests of a process, with the season open in it where a test asks for that."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from strapline_demo.season import build_season
from tests.workbook_template.hosts.office import Office, running_office


@pytest.fixture(scope="session")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    with running_office(tmp_path_factory.mktemp("office")) as made:
        yield made


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "season.xlsx"
    build_season(path)
    return path


@pytest.fixture
def opened(office: Office, season: Path) -> Iterator[Office]:
    office.open(path=str(season))
    yield office
    office.close()
