"""What no import rule can see: string imports, pinned versions, and how Qt treats Python."""

import re
import subprocess
import sys
from pathlib import Path

from PySide6.QtCore import QCoreApplication
from pytestqt.qtbot import QtBot

IMPORT_ALL_OF_CORE = """
import importlib, pkgutil, sys
import depthwright
for module in pkgutil.walk_packages(depthwright.__path__, "depthwright."):
    importlib.import_module(module.name)
names = sorted(name for name in sys.modules if name.startswith("depthwright."))
foreign = {"PySide6", "shiboken6", "pyqtgraph", "qtawesome", "depthwright_app"} & set(sys.modules)
print(len(names), *sorted(foreign))
"""


def test_importing_all_of_core_loads_no_qt_and_no_app(root: Path) -> None:
    shown = subprocess.run(
        [sys.executable, "-c", IMPORT_ALL_OF_CORE], check=True, capture_output=True, text=True
    ).stdout.split()
    files = list((root / "core" / "depthwright").rglob("*.py"))
    assert int(shown[0]) == len(files) - 1  # every module but the package itself
    assert shown[1:] == []


def pins(root: Path) -> dict[str, str]:
    """The pinned versions by name, from the lines that are not comments."""
    lines = (root / "packaging" / "constraints.txt").read_text("ascii").splitlines()
    return dict(line.split("==") for line in lines if not line.startswith("#"))


def test_constraints_are_exact_pins_and_name_no_place(root: Path) -> None:
    for name, version in pins(root).items():
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]*", name)
        assert re.fullmatch(r"[0-9][0-9a-z.+!]*", version)


def test_pyside_is_pinned_below_the_version_that_loses_references(root: Path) -> None:
    major, minor = pins(root)["PySide6_Essentials"].split(".")[:2]
    assert (6, 8) <= (int(major), int(minor)) < (6, 12)


def test_processing_events_loses_no_reference_to_none(qtbot: QtBot) -> None:
    # Measured with PySide6 6.12.0 on Python 3.10 and 3.11: each processEvents() drops one reference
    # to None, and the interpreter aborts after a few thousand turns. From Python 3.12 None is
    # immortal and its count stands still. The margin is for what else comes and goes.
    before = sys.getrefcount(None)
    for _ in range(200):
        QCoreApplication.processEvents()
    assert sys.getrefcount(None) > before - 20
