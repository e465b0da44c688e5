"""The command line: no Qt for what needs no window; one line on stderr and status 2 when it cannot."""

import itertools
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from depthwright import __version__
from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import load_job
from depthwright_app import command
from depthwright_app.arguments import Parser
from depthwright_app.demo import copy_demo
from depthwright_app.session import evaluate_with_scans

DISPLAYS = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")

# Runs the command and names on stderr what it imported of Qt.
WITNESS = """
import sys
from depthwright_app.command import main
status = main(sys.argv[1:])
loaded = sorted({name.split(".")[0] for name in sys.modules} & {"PySide6", "pyqtgraph", "qtawesome"})
print("Qt:", *loaded, file=sys.stderr)
sys.exit(status)
"""


@pytest.fixture
def run(tmp_path):
    """Runs the command in a process without a display; gives it with what it wrote."""

    def call(*arguments):
        kept = {name: value for name, value in os.environ.items() if name not in DISPLAYS}
        return subprocess.run(
            [sys.executable, "-c", WITNESS, *map(str, arguments)],
            env={**kept, "HOME": str(tmp_path / "home"), "OMP_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    return call


def without_qt(done):
    lines = done.stderr.splitlines()
    assert lines[-1] == "Qt:", done.stderr
    return lines[:-1]


def test_inspect_says_what_the_file_says(run, demo):
    done = run("inspect", demo.parent / "deck-L1.sgy")
    assert done.returncode == 0
    assert without_qt(done) == []
    assert "241" in done.stdout
    assert "384" in done.stdout
    assert "  16 in bytes 3217 as ps: window 6.144 ns, pulse 1." in done.stdout


def test_mark_needs_no_window(run, demo, tmp_path):
    done = run("mark", demo.parent / "deck-L1.sgy", "--out", tmp_path / "out", "--no-proposals")
    assert done.returncode == 0, done.stderr
    assert without_qt(done) == []
    assert (tmp_path / "out" / "deck-L1.json").is_file()


def test_export_writes_images_and_tables(run, demo, tmp_path):
    out, stored = tmp_path / "out", json.loads(demo.read_text("utf-8"))
    del stored["job"]["lines"][1]
    demo.write_text(json.dumps(stored), "utf-8")
    done = run("export", demo, "--out", out)
    assert done.returncode == 0, done.stderr
    assert without_qt(done) == []
    written = done.stdout.split()
    assert written
    assert sorted(written) == sorted(str(path) for path in out.iterdir())


def test_demo_does_the_main_job_without_a_window(run, tmp_path, tour):
    folder = tmp_path / "tour"
    done = run("demo", "--off-screen", "--folder", folder)
    assert done.returncode == 0, done.stderr
    assert without_qt(done) == []
    assert "invented" in done.stdout
    kinds = ("image: ", "table: ", "file: ", "job: ")
    said = [line.strip().split(": ", 1) for line in done.stdout.splitlines()]
    written = {
        Path(path) for kind, path in (s for s in said if len(s) == 2) if f"{kind}: " in kinds
    }
    assert written == {folder / "demo-marked.dwjob", *(folder / "exports").iterdir()}
    for line, part in itertools.product(
        ("deck-L1", "deck-L2"), ("marked.png", "bars.csv", "thickness.csv")
    ):
        assert folder / "exports" / f"{line}-{part}" in written
    loaded = load_job(folder / "demo-marked.dwjob")
    assert loaded.results is not None
    job = loaded.job
    ties = [
        (line.name, mark.number, mark.tie.depth_mm)
        for line in job.lines
        for mark in line.marks
        if getattr(mark, "tie", None)
    ]
    assert ties == [(tour["tie"]["line"], tour["tie"]["number"], tour["tie"]["depth_mm"])]
    assert (folder / "exports" / "deck-L1-marked.png").stat().st_size > 50_000
    assert json.loads((folder / "demo.dwjob").read_text())["job"]["lines"][0]["marks"] == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("inspect", "{}/none.sgy"), "none.sgy"),
        (("inspect", "{}/words.sgy"), "words.sgy"),
        (("export", "{}/none.dwjob", "--out", "{}/out"), "none.dwjob"),
        (("export", "{}/words.sgy", "--out", "{}/out"), "words.sgy"),
        (("demo", "--off-screen", "--folder", "{}/words.sgy/x"), "words.sgy"),
        (("open", "{}/words.sgy"), "There is no display"),
        ((), "There is no display"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_status_2(run, tmp_path, arguments, words):
    (tmp_path / "words.sgy").write_text("These are words. " * 400)
    done = run(*(argument.format(tmp_path) for argument in arguments))
    assert done.returncode == 2
    assert done.stdout == ""
    (line,) = without_qt(done)
    assert line.startswith("depthwright: ")
    assert words in line


def test_export_of_a_job_without_its_scans_says_which(run, demo, tmp_path):
    for scan in demo.parent.glob("*.sgy"):
        scan.unlink()
    done = run("export", demo, "--out", tmp_path / "out")
    assert done.returncode == 2
    lines = without_qt(done)
    assert len(lines) == 2
    assert all(name in line for name, line in zip(("deck-L1", "deck-L2"), lines, strict=True))


def test_the_version_is_the_packages(capsys):
    with pytest.raises(SystemExit) as ended:
        command.main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"depthwright {__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            "nonsense",
            "“nonsense” is no command of depthwright. The commands are open, demo, inspect, export and mark.",
        ),
        (
            "export job.dwjob",
            "Nothing is given for --out. depthwright export --help shows how it is written.",
        ),
        (
            "inspect",
            "Nothing is given for FILE. depthwright inspect --help shows how it is written.",
        ),
        (
            "inspect a.sgy b.sgy",
            "“b.sgy” cannot be understood here. depthwright inspect --help shows what can be.",
        ),
        (
            "mark",
            "Nothing is given for FILE and --out. depthwright mark --help shows how it is written.",
        ),
        (
            "mark a.sgy --out",
            "Nothing is given for --out. Write it behind --out; depthwright mark --help shows how.",
        ),
        (
            "mark a.sgy --out here --depth=5mm --fast",
            "“--depth=5mm” and “--fast” cannot be understood here. depthwright mark --help shows what can "
            "be.",
        ),
        (
            "mark a.sgy --out here --no-proposals=yes",
            "--no-proposals takes nothing, and “yes” stands behind it. Leave that out.",
        ),
        (
            "mark a.sgy --out here --antenna-s 5mm --antenna 5mm",
            "“--antenna” may mean more than one option. Write out which of --antenna-separation, "
            "--antenna-height and --antenna-card is meant.",
        ),
        (
            "--folder",
            "“--folder” cannot be understood here. depthwright --help shows what can be.",
        ),
    ],
)
def test_a_wrong_command_line_is_refused_in_one_sentence_and_what_to_do(capsys, arguments, said):
    assert command.main(arguments.split()) == 2
    assert capsys.readouterr() == ("", f"depthwright: {said}\n")


def test_what_the_parser_says_otherwise_ends_in_a_sentence_too():
    with pytest.raises(DepthwrightError, match=r"Something new\. depthwright --help shows"):
        Parser(prog="depthwright").error("something new")


@pytest.mark.parametrize("name", ["open", "demo", "inspect", "export", "mark"])
def test_every_command_explains_itself(capsys, name):
    with pytest.raises(SystemExit) as ended:
        command.main([name, "--help"])
    assert ended.value.code == 0
    assert f"usage: depthwright {name}" in capsys.readouterr().out


def test_a_file_to_open_that_is_not_there_is_told_before_the_window(capsys, tmp_path):
    assert command.main(["open", str(tmp_path / "none.sgy")]) == 2
    assert "none.sgy is not there" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("variable", "expected"), [("DISPLAY", True), ("WAYLAND_DISPLAY", True), ("LINES", False)]
)
@pytest.mark.skipif(sys.platform in ("darwin", "win32"), reason="always a display there")
def test_a_display_is_known_by_its_variables(monkeypatch, variable, expected):
    for name in DISPLAYS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(variable, ":0")
    assert command.has_display() is expected


def test_a_copy_of_the_demo_that_was_worked_on_is_kept(tmp_path):
    first = copy_demo(tmp_path / "demo")
    first.write_text("worked on")
    assert copy_demo(tmp_path / "demo") == first
    assert first.read_text() == "worked on"


def test_a_copy_with_other_scans_stays_and_a_new_one_goes_beside_it(tmp_path):
    first = copy_demo(tmp_path / "demo")
    (first.parent / "deck-L1.sgy").write_bytes(b"of another version")
    second = copy_demo(tmp_path / "demo")
    assert second.parent != first.parent
    assert (first.parent / "deck-L1.sgy").read_bytes() == b"of another version"
    assert not evaluate_with_scans(load_job(second).job).missing


@pytest.mark.parametrize(("given", "expected"), [(None, "1"), ("3", "3")])
def test_small_solves_use_one_thread_unless_the_user_says_otherwise(given, expected):
    """Numpy reads these once, when it is imported: so they stand before that."""
    script = (
        "import os, sys\n"
        "from depthwright_app import command\n"
        "assert 'numpy' not in sys.modules\n"
        "try:\n"
        "    command.main(['--version'])\n"
        "except SystemExit:\n"
        "    pass\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'], os.environ['OMP_NUM_THREADS'])\n"
    )
    env = {
        k: v for k, v in os.environ.items() if k not in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
    }
    if given is not None:
        env["OPENBLAS_NUM_THREADS"] = given
    done = subprocess.run(
        [sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True
    )
    assert done.stdout.split()[-2:] == [expected, "1"]
