"""The bootstrap starts on any Python 3, and says in one line what is too old or missing."""

import ast
import importlib.metadata
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

SCRIPTS = ("bootstrap.py", "private_environment.py", "system_packages.py")


@pytest.mark.parametrize("name", SCRIPTS)
def test_uses_only_the_oldest_grammar(root: Path, name: str) -> None:
    # feature_version refuses most later syntax; what it lets through is looked for below.
    tree = ast.parse((root / "packaging" / name).read_text("ascii"), feature_version=(3, 4))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            assert node.returns is None
            assert all(argument.annotation is None for argument in arguments)
        if isinstance(node, ast.Call):  # f(*a, *b), f(**a, **b): 3.5
            assert sum(isinstance(argument, ast.Starred) for argument in node.args) <= 1
            assert sum(keyword.arg is None for keyword in node.keywords) <= 1
        if isinstance(node, ast.List | ast.Tuple | ast.Set) and isinstance(node.ctx, ast.Load):
            assert not any(isinstance(element, ast.Starred) for element in node.elts)  # [*a]: 3.5
        if isinstance(node, ast.Dict):  # {**a}: 3.5
            assert None not in node.keys


@pytest.mark.parametrize("name", SCRIPTS)
def test_needs_only_the_standard_library(root: Path, name: str) -> None:
    own = {script.removesuffix(".py") for script in SCRIPTS}
    tree = ast.parse((root / "packaging" / name).read_text("ascii"))
    for node in ast.walk(tree):
        assert not isinstance(node, ast.ImportFrom)
        if isinstance(node, ast.Import):
            for alias in node.names:
                assert alias.name.split(".")[0] in own | set(sys.stdlib_module_names)


def test_old_python_is_told_with_the_command_to_use(bootstrap: ModuleType) -> None:
    said = bootstrap.python_problem("3.8.18", "python3.12", ["test", "-x"])
    assert said == (
        "Depthwright needs Python 3.11 or newer; this is Python 3.8.18. "
        "Run: python3.12 packaging/bootstrap.py test -x"
    )


def test_old_python_with_no_newer_one_is_told_in_one_line(bootstrap: ModuleType) -> None:
    said = bootstrap.python_problem("3.6.15", "", ["run"])
    assert said.startswith("Depthwright needs Python 3.11 or newer; this is Python 3.6.15. Install")
    assert "\n" not in said


def test_old_python_stops_with_status_2_before_anything_is_made(
    bootstrap: ModuleType,
    environment: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(bootstrap.sys, "version_info", (3, 10, 13, "final", 0))
    monkeypatch.setattr(bootstrap.platform, "python_version", lambda: "3.10.13")
    monkeypatch.setattr(environment, "prepare", lambda extra: pytest.fail("went on"))
    assert bootstrap.main(["run"]) == 2
    assert "this is Python 3.10.13" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("version", "machine", "said"),
    [
        ((2, 34), "x86_64", ""),
        ((2, 36), "x86_64", ""),
        ((2, 31), "x86_64", "2.34 or newer; this system has 2.31"),
        ((2, 36), "aarch64", "2.39 or newer; this system has 2.36"),
        ((), "x86_64", "2.34 or newer; this system's is of another kind"),
    ],
)
def test_old_c_library_is_told(
    bootstrap: ModuleType, version: tuple[int, ...], machine: str, said: str
) -> None:
    problem = bootstrap.glibc_problem(version, machine)
    assert said in problem
    assert bool(problem) == bool(said)


def test_the_c_library_asked_for_is_the_one_in_the_installed_wheel_s_tag(
    bootstrap: ModuleType,
) -> None:
    wheel = importlib.metadata.distribution("PySide6_Essentials").read_text("WHEEL") or ""
    tag = re.search(r"manylinux_(\d+)_(\d+)_(\w+)", wheel)
    if tag is None:
        pytest.skip("the wheel is not one for Linux")
    assert bootstrap.OLDEST_GLIBC[tag[3]] == (int(tag[1]), int(tag[2]))


def test_no_argument_and_help_print_the_three_commands(
    bootstrap: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in ([], ["--help"]):
        assert bootstrap.main(arguments) == 0
        shown = capsys.readouterr().out
        for command in ("run", "test", "bench"):
            assert re.search(rf"^  {command}\b", shown, re.MULTILINE)


def test_unknown_command_stops_with_status_2(
    bootstrap: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    assert bootstrap.main(["rnu"]) == 2
    assert "Not a command: rnu" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "handed_on"),
    [
        ([], ["-n", "auto", "--maxprocesses", "8", "--dist", "loadfile"]),
        (["tests/core", "-k", "ruler"], ["tests/core", "-k", "ruler"]),
        (["--pdb"], ["--pdb"]),
    ],
)
def test_the_whole_suite_runs_in_parallel_and_a_chosen_part_as_the_arguments_say(
    bootstrap: ModuleType,
    environment: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    handed_on: list[str],
) -> None:
    called: list[list[str]] = []
    monkeypatch.setattr(environment, "prepare", lambda extra: None)
    monkeypatch.setattr(environment, "call", lambda words, extra: called.append(words) or 0)
    monkeypatch.setattr(bootstrap, "offer_real_window", lambda: None)
    assert bootstrap.main(["test", *arguments]) == 0
    assert [words for words in called if "pytest" in words] == [
        [environment.program("python"), "-m", "pytest", *handed_on]
    ]


def test_missing_libraries_are_named_by_their_debian_package(system: ModuleType) -> None:
    listing = (
        "\tlinux-vdso.so.1 (0x00007ffe)\n"
        "\tlibxcb-cursor.so.0 => not found\n"
        "\tlibGL.so.1 => /lib/x86_64-linux-gnu/libGL.so.1 (0x00007f)\n"
        "\tlibEGL.so.1 => not found\n"
        "\tlibEGL.so.1 => not found\n"
        "\tlibodd.so.3 => not found\n"
    )
    lacking = system.packages_of(system.unresolved(listing))
    assert lacking == ["libegl1", "libodd.so.3", "libxcb-cursor0"]


def test_only_root_on_debian_installs(
    system: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    calls: list[list[str]] = []
    monkeypatch.setattr(system.subprocess, "call", lambda words, **_: calls.append(words) or 0)
    monkeypatch.setattr(system, "on_debian", lambda: True)
    monkeypatch.setattr(system, "is_root", lambda: False)
    assert not system.install(["libegl1"], "the window")
    assert calls == []
    assert system.install_command(["libegl1"]) == "sudo apt-get install libegl1"
    monkeypatch.setattr(system, "is_root", lambda: True)
    assert system.install(["libegl1"], "the window")
    assert "libegl1" in capsys.readouterr().out
    assert ["update" in words for words in calls] == [True, False]
    assert calls[1][-1] == "libegl1"


def test_missing_window_libraries_are_asked_for_only_where_there_is_a_display(
    bootstrap: ModuleType,
    environment: ModuleType,
    system: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    opened: list[list[str]] = []
    monkeypatch.setattr(environment, "prepare", lambda extra: None)
    monkeypatch.setattr(environment, "call", lambda words: opened.append(words) or 0)
    monkeypatch.setattr(system, "missing_for", lambda plugin, folder: ["libxcb-cursor0"])
    monkeypatch.setattr(system, "is_root", lambda: False)
    monkeypatch.setattr(system, "has_display", lambda: False)
    assert bootstrap.main(["run"]) == 0
    assert opened[0][1:] == ["-m", "depthwright_app", "demo"]
    monkeypatch.setattr(system, "has_display", lambda: True)
    assert bootstrap.main(["run"]) == 1
    assert len(opened) == 1
    assert "apt-get install libxcb-cursor0" in capsys.readouterr().out


def test_a_font_is_asked_for_only_where_there_is_none(
    system: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(system, "on_linux", lambda: True)
    monkeypatch.setattr(system, "FONT_FOLDERS", (str(tmp_path / "fonts"),))
    assert system.missing_font() == ["fonts-dejavu-core"]
    (tmp_path / "fonts" / "some").mkdir(parents=True)
    (tmp_path / "fonts" / "some" / "Sans.TTF").touch()
    assert system.missing_font() == []
