"""The wheel holds every committed package file and the sample data, and nothing else."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path, PurePosixPath

import pytest

SHARED = ".data/data/share/depthwright/"


@pytest.fixture(scope="module")
def committed(root: Path) -> list[PurePosixPath]:
    """The files of the packages and the sample data that git knows and that are there."""
    if not shutil.which("git") or not (root / ".git").exists():
        pytest.skip("the comparison needs a git checkout")
    listing = subprocess.run(
        ["git", "ls-files", "-z", "core", "app", "sample_data"],
        cwd=root,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    return [PurePosixPath(name) for name in listing.split("\0") if name and (root / name).exists()]


@pytest.fixture(scope="module")
def wheel_names(
    root: Path, committed: list[PurePosixPath], tmp_path_factory: pytest.TempPathFactory
) -> set[str]:
    """The names in a wheel built from the committed files alone."""
    source = tmp_path_factory.mktemp("source")
    # The copy keeps what others are still writing in the tree out of the comparison.
    for name in [*committed, *map(PurePosixPath, ("pyproject.toml", "README.md", "LICENSE"))]:
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(root / name, source / name)
    shutil.copy(root / ".gitignore", source)
    (source / "sample_data").mkdir(exist_ok=True)
    out = tmp_path_factory.mktemp("wheel")
    build = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, source],
        capture_output=True,
        text=True,
    )
    assert build.returncode == 0, build.stdout + build.stderr
    with zipfile.ZipFile(next(out.glob("*.whl"))) as wheel:
        return {name for name in wheel.namelist() if not name.endswith("/")}


def test_every_package_file_is_in_the_wheel_and_nothing_else(
    committed: list[PurePosixPath], wheel_names: set[str]
) -> None:
    expected = {
        PurePosixPath(*name.parts[1:]).as_posix()
        for name in committed
        if name.parts[0] in ("core", "app")
    }
    assert "depthwright/scan.py" in expected
    packed = {name for name in wheel_names if ".dist-info/" not in name and SHARED not in name}
    assert packed == expected


def test_the_sample_data_lies_in_the_data_folder(
    committed: list[PurePosixPath], wheel_names: set[str]
) -> None:
    expected = {name.as_posix() for name in committed if name.parts[0] == "sample_data"}
    assert "sample_data/demo.dwjob" in expected
    packed = {name.split(SHARED)[1] for name in wheel_names if SHARED in name}
    assert packed == expected


def test_the_licence_and_the_command_come_along(wheel_names: set[str]) -> None:
    information = {name.split(".dist-info/")[1] for name in wheel_names if ".dist-info/" in name}
    assert information >= {"METADATA", "entry_points.txt", "licenses/LICENSE"}
