"""``depthwright mark``: one report for each line, whatever becomes of the others."""

import json
import os
import re
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

from depthwright.files.jobfile import load_job
from depthwright.files.readers import open_file
from depthwright_app import mark_command, mark_work
from depthwright_app.command import main
from depthwright_app.mark_pool import run

SAMPLES = Path(__file__).parents[2] / "sample_data"
MARKED = r"1 bar, cover 35 mm \(± \d\), no back face, permittivity 8\.\d ± \d\.\d"
TIE = "bar@260mm=35mm+-1mm"


@pytest.fixture
def scans(tmp_path, monkeypatch):
    """A folder with two lines, of one name each in its folder; it is the present one."""
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        shutil.copy(SAMPLES / "deck-L1.sgy", tmp_path / folder / "L1.sgy")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def in_this_process(monkeypatch):
    """Several files are done here too, one by one."""
    monkeypatch.setattr("depthwright_app.mark_pool.warm_up", lambda: None)

    def here(tasks, workers, do, died):
        return ((index, do(task)) for index, task in reversed(list(enumerate(tasks))))

    monkeypatch.setattr(mark_command, "run", here)


def mark(*arguments):
    return main(["mark", *map(str, arguments), "--no-proposals"])


def report(path):
    return json.loads(Path(path).read_text("utf-8"))


def test_one_line_becomes_one_report(scans, capsys):
    assert mark("a/L1.sgy", "--out", "out", "--tie", TIE) == 0
    said, problems = capsys.readouterr()
    first, *rest = said.splitlines()
    assert re.fullmatch(rf"a/L1\.sgy: {MARKED}", first)
    assert "safe to drill" in rest[-1]
    assert problems == ""
    assert [path.name for path in Path("out").rglob("*.*")] == ["L1.json"]
    written = report("out/a/L1.json")
    assert written["line"]["file"] == "a/L1.sgy"
    assert written["bars"][0]["cover_mm"] == pytest.approx(35.0, abs=1.0)
    assert written["bars"][0]["position_mm"] == pytest.approx(260.0, abs=6.0)


def test_one_and_two_processes_write_the_same_bytes_and_survive_a_bad_file(scans, capsys):
    (scans / "a" / "bad.sgy").write_text("These are words. " * 400)
    files = ("a/L1.sgy", "a/bad.sgy", "b/L1.sgy")
    written = []
    for workers in ("1", "2"):
        out = scans / f"out{workers}"
        assert mark(*files, "--out", out, "--workers", workers, "--tie", f"b/L1:{TIE}") == 2
        said, problems = capsys.readouterr()
        assert said.splitlines()[1] == "a/bad.sgy: not marked"
        assert re.fullmatch(rf"b/L1\.sgy: {MARKED}", said.splitlines()[2])
        first, second = problems.splitlines()
        assert first == "1 of 3 lines could not be marked:"
        assert second.startswith("  a/bad.sgy: bad.sgy is not a SEG-Y file")
        reports = {path.relative_to(out): path.read_bytes() for path in out.rglob("*.json")}
        written.append((said, reports))
    assert written[0] == written[1]
    assert set(reports) == {Path("a/L1.json"), Path("b/L1.json")}


def test_a_task_that_ends_its_process_is_told_and_the_others_are_done():
    tasks = ["1 + 1", "__import__('os')._exit(3)", "2 + 2", "3 + 3"]
    done = dict(run(tasks, 2, eval, "died"))
    assert done == {0: 2, 1: "died", 2: 4, 3: 6}


@pytest.mark.usefixtures("in_this_process")
def test_lines_are_told_in_the_order_given_and_failures_once_more_at_the_end(scans, capsys):
    Path("zeros.npy").touch()
    np.save("zeros.npy", np.zeros((40, 200), np.float32))
    np.save("silent.npy", np.full((40, 200), np.nan))
    files = ("none.sgy", "zeros.npy", "a", "silent.npy", "b/L1.sgy")
    spacing = ("--trace-spacing", "5mm", "--sample-interval", "16ps")
    assert mark(*files, "--out", "out", *spacing) == 2
    said, problems = capsys.readouterr()
    assert [line.split(":")[0] for line in said.splitlines()[:5]] == list(files)
    first, *rest = problems.splitlines()
    assert first == "4 of 5 lines could not be marked:"
    for line, words in zip(
        rest, ("does not exist", "nothing but zeros", "It is a folder", "zeros"), strict=True
    ):
        assert words in line
    assert Path("out/b/L1.json").is_file()


def test_a_file_that_leaves_something_open_asks_for_the_option(scans, capsys):
    np.save("plain.npy", open_file("a/L1.sgy").block(0, 60))
    assert mark("plain.npy", "--out", "out") == 2
    problems = capsys.readouterr().err
    assert "--trace-spacing, as in 5mm" in problems
    assert "--sample-interval, as in 20ps." in problems
    assert mark("plain.npy", "--out=out", "--trace-spacing=5mm", "--sample-interval=16ps") == 0
    assert report("out/plain.json")["line"]["length_mm"] == 295.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--trace-spacing", "5"), "--trace-spacing: “5” cannot be the trace spacing"),
        (("--tie", "L2:bar@1mm=2mm"), "names “L2”, and no file given has that name"),
        (("--job", "deck.json"), "has not the ending of a job"),
        (("--job", "none/deck.dwjob"), "for the job is not there"),
        (("--job", "old.dwjob"), "old.dwjob is there already and is not written over"),
        (("--out", "old.dwjob"), "since a file is in its way"),
        (("--out", "old.dwjob/x"), "since a file is in its way"),
    ],
)
def test_what_cannot_be_asked_is_one_line_before_anything_is_done(scans, capsys, arguments, words):
    Path("old.dwjob").write_text("mine")
    assert mark("a/L1.sgy", "--out", "out", *arguments) == 2
    said, problems = capsys.readouterr()
    assert said == ""
    assert len(problems.splitlines()) == 1
    assert problems.startswith("depthwright: ")
    assert words in problems
    assert not list(scans.rglob("*.json"))
    assert Path("old.dwjob").read_text() == "mine"


def test_a_folder_that_may_not_be_written_to_is_told(scans, capsys, monkeypatch):
    monkeypatch.setattr(mark_command, "may_write", lambda folder: folder.name != "shut")
    assert mark("a/L1.sgy", "--out", "shut") == 2
    assert "Nothing can be written in shut" in capsys.readouterr().err


def test_a_fault_that_nobody_expects_is_a_sentence(scans, capsys, monkeypatch):
    def fails(scan, request):
        raise ZeroDivisionError("by zero\nand more")

    monkeypatch.setattr(mark_work, "mark_line", fails)
    assert mark("a/L1.sgy", "--out", "out") == 2
    said = capsys.readouterr().err.splitlines()[1]
    assert "An unexpected fault stopped it (ZeroDivisionError: by zero)." in said


@pytest.mark.usefixtures("in_this_process")
def test_good_lines_go_into_one_job_that_is_the_same_each_time(scans, capsys):
    files = ("a/L1.sgy", "none.sgy", "b/L1.sgy")
    for name in ("one", "two"):
        assert mark(*files, "--out", "out", "--job", f"{name}.dwjob", "--tie", f"a/L1:{TIE}") == 2
        assert f"job: {name}.dwjob" in capsys.readouterr().out
    loaded = load_job(scans / "one.dwjob")
    assert [line.name for line in loaded.job.lines] == ["L1", "L1 (2)"]
    assert [len(line.marks) for line in loaded.job.lines] == [1, 0]
    assert Path(loaded.job.lines[1].scan.path) == scans / "b" / "L1.sgy"
    assert loaded.results is not None
    one, two = (Path(f"{name}.dwjob").read_text("utf-8") for name in ("one", "two"))
    assert one.replace('"name": "one"', '"name": "two"', 1) == two


@pytest.mark.usefixtures("in_this_process")
def test_a_job_of_too_many_lines_holds_marks_alone_and_says_so(scans, capsys, monkeypatch):
    monkeypatch.setattr(mark_command, "_MOST_EVALUATED", 1)
    assert mark("a/L1.sgy", "b/L1.sgy", "--out", "out", "--job", "deck.dwjob") == 0
    said, problems = capsys.readouterr()
    assert problems == ""
    assert "job: deck.dwjob\ndeck.dwjob holds the marks of 2 lines and no numbers" in said
    assert "Open it to have them" in said
    assert load_job(scans / "deck.dwjob").results is None


def test_a_scan_that_goes_while_others_are_marked_costs_the_job_and_not_the_reports(
    scans, capsys, monkeypatch
):
    write = mark_work.write_report

    def gone_then(path, report):
        write(path, report)
        os.remove("a/L1.sgy")

    monkeypatch.setattr(mark_work, "write_report", gone_then)
    assert mark("a/L1.sgy", "--out", "out", "--job", "deck.dwjob") == 2
    problems = capsys.readouterr().err
    assert "The job was not kept. " in problems
    assert "No line is marked" not in problems
    assert Path("out/a/L1.json").is_file()


def test_without_a_good_line_there_is_no_job(scans, capsys):
    assert mark("none.sgy", "--out", "out", "--job", "deck.dwjob") == 2
    assert "The job was not kept. No line is marked." in capsys.readouterr().err
    assert not Path("deck.dwjob").exists()


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
def test_a_name_with_a_line_break_stays_on_its_line(scans, capsys):
    shutil.copy("a/L1.sgy", "up\nand down.sgy")
    assert mark("up\nand down.sgy", "--out", "out") == 0
    assert capsys.readouterr().out.startswith(r"up\nand down.sgy: ")
    assert report("out/up\nand down.json")["line"]["file"] == "up\nand down.sgy"


@pytest.mark.usefixtures("in_this_process")
def test_in_a_terminal_a_bar_says_how_far_it_is(scans, capsys, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert mark("a/L1.sgy", "b/L1.sgy", "--out", "out") == 0
    assert "[###############...............] 1 of 2" in capsys.readouterr().err


def test_what_puts_the_numbers_in_doubt_stands_beside_them(scans, capsys):
    assert mark("a/L1.sgy", "--out", "out") == 0
    assert capsys.readouterr().out.splitlines()[0].endswith("permittivity 7.0 ± 3.0, provisional")
    apart = ("--tie", "bar@260mm=35mm+-1mm", "--tie", "bar@765mm=35mm+-1mm")
    assert mark("a/L1.sgy", "--out", "out", *apart) == 0
    assert "The known depths disagree: bar 1 is" in capsys.readouterr().out.splitlines()[0]
    told = " ".join(report("out/a/L1.json")["messages"])
    assert "or leave out the one that is wrong." in told


def test_an_earlier_report_of_a_line_that_fails_now_is_told(scans, capsys):
    assert mark("a/L1.sgy", "--out", "out") == 0
    assert mark("a/L1.sgy", "--out", "out", "--tie", "bar@260mm=3500mm") == 2
    problems = capsys.readouterr().err
    assert f"{Path('out/a/L1.json')} is of an earlier run" in problems
