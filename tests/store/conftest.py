"""A vineyard of each kind of store, for tests that hold for all of them."""

import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from pg_server import shared_at

from trunkwatch.intake import merge_file
from trunkwatch.intake.whole_file import write_file
from trunkwatch.store import Store
from trunkwatch.store.address import is_shared


@pytest.fixture(params=["file", "shared"])
def at(request, tmp_path) -> Callable[[str], Path]:
    """Make an empty vineyard of a name; in each kind of store."""

    def made(name: str) -> Path:
        if request.param == "shared":
            return shared_at(request.getfixturevalue("shared_server"), name)
        path = tmp_path / f"{name}.gpkg"
        Store.create(path)
        return path

    return made


@pytest.fixture
def copied(at, tmp_path) -> Callable[[Path, str], Path]:
    """Make a copy of a vineyard, as people do: the file itself, or what is exported of a shared store, loaded again."""

    def made(path: Path, name: str) -> Path:
        if not is_shared(path):
            return Path(shutil.copy(path, path.with_name(f"{name}.gpkg")))
        write_file(path, tmp_path / f"{name}.gpkg")
        new = at(name)
        merge_file(new, tmp_path / f"{name}.gpkg")
        return new

    return made


@pytest.fixture(params=["memory", "file", "shared"])
def empty_store(request, tmp_path) -> Callable[[], AbstractContextManager[Store]]:
    """Open an empty store to write, of each kind."""

    def made() -> AbstractContextManager[Store]:
        if request.param == "memory":
            return Store.in_memory()
        if request.param == "shared":
            return Store.writing(shared_at(request.getfixturevalue("shared_server"), "empty"))
        path = tmp_path / f"{len(list(tmp_path.iterdir()))}.gpkg"
        Store.create(path)
        return Store.writing(path)

    return made
