"""The private environment is installed once, again when its inputs change, anew when broken."""

import json
from pathlib import Path
from types import ModuleType

import pytest


class Recorder:
    """Stands in for the commands that make and fill an environment."""

    def __init__(self, environment: ModuleType) -> None:
        self.environment = environment
        self.pip_status = 0
        self.done: list[str] = []

    def __call__(self, words: list[str]) -> int:
        if "venv" in words:
            self.done.append("make")
            python = Path(self.environment.program("python"))
            python.parent.mkdir(parents=True)
            python.touch()
        elif "pip" in words and "install" in words:
            self.done.append("install " + words[-1])
            return self.pip_status
        return 0

    def prepare(self, extra: str) -> list[str]:
        """Prepare the environment and give what was done for it."""
        self.done.clear()
        self.environment.prepare(extra)
        return list(self.done)


@pytest.fixture
def checkout(environment: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A checkout with the files that the environment depends on, in a path with a space."""
    root = tmp_path / "a checkout"
    for name in environment.INPUTS:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text("one")
    (root / "sample_data").mkdir()
    monkeypatch.setattr(environment, "ROOT", str(root))
    monkeypatch.setattr(environment, "VENV", str(root / ".venv"))
    monkeypatch.setattr(environment, "STAMP", str(root / ".venv" / "installed.json"))
    monkeypatch.setattr(environment, "UNFINISHED", str(root / ".venv" / "unfinished"))
    return root


@pytest.fixture
def recorder(environment: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch) -> Recorder:
    """The stand-in, in place."""
    recorder = Recorder(environment)
    monkeypatch.setattr(environment, "call", recorder)
    return recorder


def test_first_use_makes_and_installs_and_the_second_does_nothing(recorder: Recorder) -> None:
    assert recorder.prepare("") == ["make", "install ."]
    assert recorder.prepare("") == []


def test_development_tools_are_added_once_and_then_kept(recorder: Recorder, checkout: Path) -> None:
    recorder.prepare("")
    assert recorder.prepare("dev") == ["install .[dev]"]
    assert recorder.prepare("") == []
    (checkout / "pyproject.toml").write_text("two")
    assert recorder.prepare("") == ["install .[dev]"]


@pytest.mark.parametrize(
    "changed", ["pyproject.toml", "packaging/constraints.txt", "sample_data/new.sgy"]
)
def test_a_changed_input_is_installed_again(
    recorder: Recorder, checkout: Path, changed: str
) -> None:
    recorder.prepare("")
    (checkout / changed).write_text("two")
    assert recorder.prepare("") == ["install ."]


def test_a_half_made_environment_is_made_anew(recorder: Recorder, checkout: Path) -> None:
    recorder.prepare("")
    (checkout / ".venv" / "unfinished").touch()
    (checkout / ".venv" / "leftover").touch()
    assert recorder.prepare("") == ["make", "install ."]
    assert not (checkout / ".venv" / "leftover").exists()


def test_an_environment_with_no_python_is_made_anew(
    recorder: Recorder, environment: ModuleType
) -> None:
    recorder.prepare("")
    Path(environment.program("python")).unlink()
    assert recorder.prepare("") == ["make", "install ."]


def test_an_environment_of_a_moved_checkout_is_made_anew(
    recorder: Recorder, checkout: Path
) -> None:
    recorder.prepare("")
    stamp = checkout / ".venv" / "installed.json"
    stamp.write_text(json.dumps({**json.loads(stamp.read_text()), "root": "/elsewhere"}))
    assert recorder.prepare("") == ["make", "install ."]


def test_a_failed_installation_is_told_and_tried_again(
    recorder: Recorder, environment: ModuleType
) -> None:
    recorder.pip_status = 1
    with pytest.raises(environment.SetupError, match="Check the network connection"):
        recorder.prepare("")
    recorder.pip_status = 0
    assert recorder.prepare("") == ["install ."]


def test_a_python_without_ensurepip_is_told_what_to_install(
    recorder: Recorder, environment: ModuleType, system: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(environment.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(system, "is_root", lambda: False)
    monkeypatch.setattr(system, "on_debian", lambda: True)
    with pytest.raises(environment.SetupError, match=r"sudo apt-get install python3\.\d+-venv"):
        recorder.prepare("")
