"""Paths and the bootstrap's own modules, for the tests of packaging."""

import importlib
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def root() -> Path:
    """The repository's root folder."""
    return Path(__file__).resolve().parents[2]


@pytest.fixture
def bootstrap(root: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The bootstrap, imported as a module from its own folder."""
    monkeypatch.syspath_prepend(root / "packaging")
    return importlib.import_module("bootstrap")


@pytest.fixture
def environment(bootstrap: ModuleType) -> ModuleType:
    """The bootstrap's keeper of the private environment."""
    return importlib.import_module("private_environment")


@pytest.fixture
def system(bootstrap: ModuleType) -> ModuleType:
    """The bootstrap's view of the operating system."""
    return importlib.import_module("system_packages")
