"""What the tests of the catalogue share: a server, where one can be had, and new databases on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.catalogue.studio import NoServer, Studio, running


@pytest.fixture(scope="session")
def studio() -> Iterator[Studio]:
    """A server for the whole run."""
    try:
        with running() as found:
            yield found
    except NoServer as reason:
        pytest.skip(f"no PostgreSQL server: {reason}")


@pytest.fixture
def address(studio: Studio, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of a new, empty database; copies of photographs and what is set aside go to folders of the test."""
    away: Path = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("XDG_CACHE_HOME", str(away / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(away / "data"))
    return studio.fresh()
