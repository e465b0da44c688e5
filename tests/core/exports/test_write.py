"""Exports arrive whole, under safe names, or not at all with a sentence."""

import errno
import os
import re
import zlib
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image

from depthwright.errors import DepthwrightError
from depthwright.exports.write import export_image, export_job, file_names
from depthwright.job import Job
from depthwright.measuring.stage import PickStage
from depthwright.results.evaluate import evaluate
from depthwright.results.tracking import pick_stage
from depthwright.results.words import CAUTIONS

Made = Callable[..., object]


def stages(made: object) -> dict[str, PickStage]:
    return {"line-1": pick_stage(made.job, made.line, made.scan)}


@pytest.fixture(scope="module")
def exported(
    scene: Made, now: datetime, extras: tuple, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, list[Path]]:
    """A folder with all of a job, and what was said to be written there."""
    made = scene(2, extras=extras)
    folder = tmp_path_factory.mktemp("written") / "new" / "exports"
    return folder, export_job(made.job, stages(made), made.results, folder, now)


@pytest.fixture(scope="module")
def page(
    scene: Made, now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], Path]:
    """Gives the page of one bar in a format."""
    made, folder = scene(1), tmp_path_factory.mktemp("pages")

    def written(suffix: str) -> Path:
        path = folder / f"a.{suffix}"
        if not path.exists():
            export_image(path, made.job, "line-1", made.scan, made.results, now)
        return path

    return written


def test_a_job_comes_out_as_images_and_tables(exported: tuple[Path, list[Path]]) -> None:
    folder, written = exported
    assert [path.name for path in written] == [
        "Line_A-marked.png",
        "Line_A-marked.svg",
        "Line_A-marked.pdf",
        "Line_A-bars.csv",
        "Line_A-thickness.csv",
        "Line_A-targets.csv",
        "Line_A-budget.csv",
    ]
    assert sorted(folder.iterdir()) == sorted(written)


def test_cautions_are_in_every_export(
    scene: Made, extras: tuple, exported: tuple[Path, list[Path]]
) -> None:
    made = scene(2, extras=extras)
    for path in exported[1]:
        said = readable(path)
        for caution in CAUTIONS:
            assert caution in said, path.name
        assert f"Permittivity {made.results.permittivity:.1f}" in said, path.name
        assert "steps aside: the other evidence says more" in said, path.name


def test_warnings_and_known_depths_set_aside_are_in_every_export(
    scene: Made, now: datetime, extras: tuple, set_aside: Made, warned: Made, tmp_path: Path
) -> None:
    made = warned(set_aside(scene(3, extras=extras), "bar-2", "read over the lap"))
    for path in export_job(made.job, stages(made), made.results, tmp_path, now):
        said = readable(path)
        assert "Warning: The known depths disagree" in said, path.name
        assert "set aside: read over the lap" in said, path.name


def readable(path: Path) -> str:
    """The words that a program can read out of an export."""
    if path.suffix == ".png":
        with Image.open(path) as image:
            return " ".join(str(value) for value in image.text.values())
    if path.suffix == ".svg":
        return " ".join(ElementTree.parse(path).getroot().itertext())
    if path.suffix == ".pdf":
        subject = re.search(rb"/Subject \((.*?)(?<!\\)\)", path.read_bytes(), re.DOTALL)
        raw = re.sub(rb"\\([()\\])", rb"\1", subject[1])
        return raw.decode("utf-16" if raw.startswith(b"\xfe\xff") else "latin-1")
    return path.read_text(encoding="utf-8")


def test_a_png_is_a_page_at_200_dots_per_inch(page: Made) -> None:
    with Image.open(page("PNG")) as image:
        assert image.size == (2338, 1653)
        assert image.info["dpi"] == pytest.approx((200, 200), abs=0.1)


def test_an_svg_draws_its_letters_itself(page: Made) -> None:
    root = ElementTree.parse(page("svg")).getroot()
    tags = {element.tag.split("}")[-1] for element in root.iter()}
    assert "image" in tags
    assert "text" not in tags


def test_a_pdf_is_one_page_with_its_fonts(page: Made) -> None:
    raw = page("pdf").read_bytes()
    assert raw.startswith(b"%PDF")
    assert raw.count(b"/Type /Page ") == 1
    assert b"/FontFile2" in raw
    assert b"DejaVuSans" in raw


@pytest.mark.parametrize("suffix", ["PNG", "svg", "pdf"])
def test_the_same_job_gives_the_same_bytes(
    scene: Made, now: datetime, page: Made, tmp_path: Path, suffix: str
) -> None:
    made, again = scene(1), tmp_path / f"again.{suffix}"
    export_image(again, made.job, "line-1", made.scan, made.results, now)
    assert zlib.crc32(page(suffix).read_bytes()) == zlib.crc32(again.read_bytes())


def test_only_the_asked_formats_are_written(scene: Made, now: datetime, tmp_path: Path) -> None:
    made = scene(1, face=False)
    written = export_job(made.job, stages(made), made.results, tmp_path, now, formats=("svg",))
    assert [path.name for path in written] == [
        "Line_A-marked.svg",
        "Line_A-bars.csv",
        "Line_A-budget.csv",
    ]


def test_a_line_whose_scan_is_away_still_gets_its_tables(
    scene: Made, now: datetime, tmp_path: Path
) -> None:
    made = scene(1)
    written = export_job(made.job, {}, made.results, tmp_path, now)
    assert [path.name for path in written] == [
        "Line_A-bars.csv",
        "Line_A-thickness.csv",
        "Line_A-budget.csv",
    ]


def test_an_empty_job_writes_nothing(now: datetime, tmp_path: Path) -> None:
    assert export_job(Job(), {}, evaluate(Job()), tmp_path, now) == []


def test_a_time_without_a_zone_is_local(scene: Made, now: datetime, tmp_path: Path) -> None:
    made = scene(1)
    naive = now.replace(tzinfo=None)
    path = export_image(tmp_path / "a.svg", made.job, "line-1", made.scan, made.results, naive)
    assert "2026-03-14" in readable(path)


# Names.


def test_names_are_safe_for_every_system() -> None:
    names = ["Line A/B", "..\\..\\etc", "a:b*c?", "", "...", "Brücke 橋", "x" * 300]
    made = file_names(names)
    assert made[:5] == ["Line_A_B", "etc", "a_b_c", "line", "line_2"]
    assert made[5] == "Brücke_橋"
    assert len(made[6]) < 100
    assert not any(set(name) & set('/\\:*?"<>| \n') for name in made)


def test_names_that_differ_in_case_alone_are_told_apart() -> None:
    assert file_names(["Wall", "wall", "WALL"]) == ["Wall", "wall_2", "WALL_3"]


# What goes wrong.


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    path = tmp_path / "a.png"
    path.write_bytes(b"as it was")
    return path


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_full_disk_leaves_what_was_there(
    scene: Made, now: datetime, kept: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    made = scene(1)
    monkeypatch.setattr(os, call, full)
    with pytest.raises(DepthwrightError, match="could not be written") as caught:
        export_image(kept, made.job, "line-1", made.scan, made.results, now)
    assert "room" in caught.value.hint
    assert kept.read_bytes() == b"as it was"
    assert list(kept.parent.iterdir()) == [kept]


def test_a_folder_below_a_file_is_said(scene: Made, now: datetime, kept: Path) -> None:
    made = scene(1)
    with pytest.raises(DepthwrightError, match="could not be made"):
        export_job(made.job, {}, made.results, kept / "folder", now)
    with pytest.raises(DepthwrightError, match="is not there"):
        export_image(kept / "b.png", made.job, "line-1", made.scan, made.results, now)


def test_a_folder_in_the_way_is_said(scene: Made, now: datetime, tmp_path: Path) -> None:
    (tmp_path / "a.png").mkdir()
    made = scene(1)
    with pytest.raises(DepthwrightError, match="is a folder"):
        export_image(tmp_path / "a.png", made.job, "line-1", made.scan, made.results, now)


@pytest.mark.parametrize("name", ["a.jpg", "a", "a.csv", ".png"])
def test_a_suffix_that_names_no_image_is_refused(
    scene: Made, now: datetime, tmp_path: Path, name: str
) -> None:
    made = scene(1)
    with pytest.raises(DepthwrightError, match="what kind of image"):
        export_image(tmp_path / name, made.job, "line-1", made.scan, made.results, now)
    assert not list(tmp_path.iterdir())
