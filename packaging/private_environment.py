"""The private environment ``.venv`` in the repository root: made, mended, and left alone when current.

Used by bootstrap.py alone, and like it in syntax that every Python 3 can read.
"""

import hashlib
import importlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys

import system_packages

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(ROOT, ".venv")
STAMP = os.path.join(VENV, "installed.json")
# Present only while pip is at work: an environment that still holds it was left half-made.
UNFINISHED = os.path.join(VENV, "unfinished")
CONSTRAINTS = os.path.join("packaging", "constraints.txt")
INPUTS = ("pyproject.toml", CONSTRAINTS, os.path.join("core", "depthwright", "__init__.py"))
# Exits 0 in an environment of this Python version (first argument) that finds every named module.
PROBE = """
import importlib.util, sys
found = all(importlib.util.find_spec(name) for name in sys.argv[2:])
sys.exit(not (found and "%d.%d" % sys.version_info[:2] == sys.argv[1]))
"""


class SetupError(Exception):
    """Ends the run with a message for the user."""


def program(name):
    # type: (str) -> str
    """Give the path of a program in the environment."""
    if os.name == "nt":
        return os.path.join(VENV, "Scripts", name + ".exe")
    return os.path.join(VENV, "bin", name)


def site_packages():
    # type: () -> str
    """Give the folder that the environment's packages lie in."""
    if os.name == "nt":
        return os.path.join(VENV, "Lib", "site-packages")
    return os.path.join(VENV, "lib", "python%d.%d" % sys.version_info[:2], "site-packages")


def call(words, extra=None):
    # type: (list[str], dict[str, str] | None) -> int
    """Run a command in the repository root and give its exit status; only .venv's packages count.

    Linear algebra gets one thread: its matrices are small, and threads make them several times slower.
    """
    sys.stdout.flush()
    environment = dict(os.environ, PYTHONNOUSERSITE="1", **(extra or {}))
    environment.setdefault("OPENBLAS_NUM_THREADS", "1")
    environment.pop("PYTHONPATH", None)
    environment.pop("PYTHONHOME", None)
    return subprocess.call(words, cwd=ROOT, env=environment)


def prepare(extra):
    # type: (str) -> None
    """Bring the environment up to date with the project and one of its extras ("" for none)."""
    stamp = read_stamp()
    usable = is_usable(stamp)
    current = stamp.get("inputs") == fingerprint() and extra in ("", stamp.get("extra"))
    if usable and current:
        return
    if not usable:
        make()
        stamp = {}
    install(extra or stamp.get("extra", ""))


def read_stamp():
    # type: () -> dict[str, str]
    """Give what was last installed; empty when nothing was, or when the note cannot be read."""
    try:
        with open(STAMP) as file:
            stamp = json.load(file)
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def fingerprint():
    # type: () -> str
    """Give a digest of everything whose change calls for a new installation."""
    digest = hashlib.sha256(sys.version.encode())
    for name in INPUTS:
        with open(os.path.join(ROOT, name), "rb") as file:
            digest.update(file.read())
    for folder, folders, names in os.walk(os.path.join(ROOT, "sample_data")):
        folders.sort()
        for name in sorted(names):
            path = os.path.join(folder, name)
            line = "%s %d\n" % (os.path.relpath(path, ROOT), os.path.getsize(path))
            digest.update(line.encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def is_usable(stamp):
    # type: (dict[str, str]) -> bool
    """Say whether the environment is whole, of this Python version, and made for this folder."""
    if os.path.exists(UNFINISHED) or not os.path.exists(program("python")):
        return False
    if stamp.get("root", ROOT) != ROOT:
        return False
    modules = ["pip"] + (["depthwright", "depthwright_app", "numpy", "PySide6"] if stamp else [])
    try:
        return call([program("python"), "-c", PROBE, "%d.%d" % sys.version_info[:2]] + modules) == 0
    except OSError:
        return False


def make():
    # type: () -> None
    """Make an empty environment, in place of what is there."""
    require_ensurepip()
    if os.path.lexists(VENV):
        print("The environment .venv is not usable; making it anew.")
        shutil.rmtree(VENV)
    else:
        print("Making the environment .venv.")
    # An environment made from inside an environment takes its base, which outlives a rebuild.
    python = getattr(sys, "_base_executable", sys.executable)
    if call([python, "-m", "venv", VENV]):
        raise SetupError("The environment .venv could not be made (Python's message is above).")


def require_ensurepip():
    # type: () -> None
    """See to it that this Python can make environments: Debian ships that part separately."""
    if importlib.util.find_spec("ensurepip"):
        return
    packages = ["python%d.%d-venv" % sys.version_info[:2]]
    if system_packages.install(packages, "Python environments"):
        importlib.invalidate_caches()
        if importlib.util.find_spec("ensurepip"):
            return
    raise SetupError(
        "This Python cannot make environments: its ensurepip part (Debian: python3-venv) is "
        "missing. Install it with: " + system_packages.install_command(packages)
    )


def install(extra):
    # type: (str) -> None
    """Install the project, editable, with the pinned versions, and note what was installed."""
    print("Installing Depthwright and its packages in .venv (some minutes the first time).")
    with open(UNFINISHED, "w"):
        pass
    words = [program("python"), "-m", "pip", "install", "--disable-pip-version-check"]
    words += [] if sys.stdout.isatty() else ["--quiet"]
    words += ["-c", CONSTRAINTS, "-e", ".[%s]" % extra if extra else "."]
    failed = call(words)
    os.remove(UNFINISHED)
    if failed:
        raise SetupError(
            "The packages could not be installed (pip's message is above). Check the network "
            "connection, then run the same command again."
        )
    with open(STAMP, "w") as file:
        json.dump({"root": ROOT, "inputs": fingerprint(), "extra": extra}, file)
