"""Labs on both kinds of database."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from postgres_server import PostgresServer, running_server
from quintain.store.lab import Lab


@pytest.fixture(scope="session")
def server() -> Iterator[PostgresServer]:
    with running_server() as started:
        yield started


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """Address of an empty database; empty for the file in the lab's folder."""
    if request.param == "sqlite":
        return ""
    return request.getfixturevalue("server").new_database()


@pytest.fixture
def make_lab(url: str, tmp_path: Path) -> Iterator[Callable[[], Lab]]:
    labs: list[Lab] = []

    def make() -> Lab:
        labs.append(Lab.create(tmp_path / "lab", name="invented", invented=True, url=url))
        return labs[-1]

    yield make
    for lab in labs:
        lab.close()


@pytest.fixture
def lab(make_lab: Callable[[], Lab]) -> Lab:
    return make_lab()
