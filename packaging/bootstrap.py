#!/usr/bin/env python3
"""Run, test or measure Depthwright straight from a checkout: only Python needs to be there.

Standard library only, in syntax that every Python 3 can read: an old one gets a sentence, not a
SyntaxError. For the same reason types stand in comments and text is put together with ``%``.
"""

import os
import platform
import shutil
import subprocess
import sys

import private_environment as environment
import system_packages as system

USAGE = """usage: python3 packaging/bootstrap.py COMMAND

  run            make the environment .venv, then open the demo job
  test [ARG...]  make it with the development tools, then run every check, the
                 tests on all processors; arguments are handed to pytest instead
  bench          run the benchmarks in packaging/benchmarks
"""
# A file's tests stay in one process: they share what is dear to make. Each process makes its own copy of
# what the whole run shares, so that many processes do not pay.
IN_PARALLEL = ["-n", "auto", "--maxprocesses", "8", "--dist", "loadfile"]
OLDEST_PYTHON = (3, 11)
NEWER_MINORS = (13, 12, 11)
# The pinned PySide6 wheels are tagged manylinux_2_34_x86_64 and manylinux_2_39_aarch64.
OLDEST_GLIBC = {"x86_64": (2, 34), "aarch64": (2, 39)}


def main(arguments):
    # type: (list[str]) -> int
    """Carry out one command and give the exit status; what stops it is told in a sentence."""
    problem = too_old(arguments)
    if problem:
        sys.stderr.write(problem + "\n")
        return 2
    try:
        return carry_out(arguments[0] if arguments else "--help", arguments[1:])
    except environment.SetupError as error:
        message = str(error)
    except OSError as error:
        message = "The environment could not be used: %s" % error
    except KeyboardInterrupt:
        return 130
    sys.stdout.flush()
    sys.stderr.write(message + "\n")
    return 1


def carry_out(command, rest):
    # type: (str, list[str]) -> int
    """Choose the command."""
    if command in ("-h", "--help"):
        print(USAGE)
        return 0
    if command == "test":
        return test(rest)
    if command == "run" and not rest:
        return run()
    if command == "bench" and not rest:
        return bench()
    sys.stderr.write("Not a command: %s\n\n%s" % (" ".join([command] + rest), USAGE))
    return 2


def too_old(arguments):
    # type: (list[str]) -> str
    """Give the sentence that says what is too old here; empty when nothing is."""
    if sys.version_info[:2] < OLDEST_PYTHON:
        return python_problem(platform.python_version(), newer_python(), arguments)
    if system.on_linux():
        return glibc_problem(glibc_version(), platform.machine())
    return ""


def python_problem(version, newer, arguments):
    # type: (str, str, list[str]) -> str
    """Say that Python is too old, and which command to use when a newer one is there."""
    problem = "Depthwright needs Python %d.%d or newer; this is Python %s." % (
        OLDEST_PYTHON + (version,)
    )
    if newer:
        return problem + " Run: " + " ".join([newer, "packaging/bootstrap.py"] + arguments)
    return problem + " Install a newer Python, then run the same command with it."


def newer_python():
    # type: () -> str
    """Give the name of a new enough Python on the path that answers; empty when there is none."""
    for minor in NEWER_MINORS:
        name = "python3.%d" % minor
        question = "import sys; sys.exit(sys.version_info[:2] != (3, %d))" % minor
        # The name alone proves nothing: version managers keep stand-ins for Pythons not in use.
        if shutil.which(name) and not subprocess.call(
            [name, "-c", question], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ):
            return name
    return ""


def glibc_version():
    # type: () -> tuple[int, ...]
    """Give the version of the GNU C library; empty when the C library is another."""
    try:
        words = (os.confstr("CS_GNU_LIBC_VERSION") or "").split()
    except (OSError, ValueError):
        return ()
    return tuple(int(part) for part in words[1].split(".")[:2]) if len(words) == 2 else ()


def glibc_problem(version, machine):
    # type: (tuple[int, ...], str) -> str
    """Say that the C library cannot load the Qt wheels; empty when it can."""
    oldest = OLDEST_GLIBC.get(machine, (2, 34))
    if version >= oldest:
        return ""
    here = "this system has %d.%d" % version if version else "this system's is of another kind"
    return "Depthwright needs the GNU C library %d.%d or newer; %s. Use a newer Linux release." % (
        oldest + (here,)
    )


def run():
    # type: () -> int
    """Open the demo job; without a display the program does the job with no window."""
    environment.prepare("")
    if system.has_display():
        require_window_libraries()
    return environment.call([environment.program("python"), "-m", "depthwright_app", "demo"])


def require_window_libraries():
    # type: () -> None
    """Install what a window lacks, or say what to install and stop: Qt itself would only abort."""

    def missing():
        # type: () -> list[str]
        return system.missing_for(system.window_plugin(), environment.site_packages())

    lacking = missing() + system.missing_font()
    if not lacking:
        return
    if not system.install(lacking, "the window"):
        print("A window needs system packages that are missing: %s" % " ".join(lacking))
        print("Install them with: %s" % system.install_command(lacking))
    if missing():
        raise environment.SetupError(
            "The window cannot open without them. Run this command again once they are there."
        )


def test(pytest_arguments):
    # type: (list[str]) -> int
    """Run every check, whatever the one before said; the exit status tells if all passed."""
    environment.prepare("dev")
    offer_real_window()
    python = environment.program("python")
    steps = (
        ("ruff check", [python, "-m", "ruff", "check", "."]),
        ("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        ("mypy", [python, "-m", "mypy"]),
        ("lint-imports", [environment.program("lint-imports")]),
        ("pytest", [python, "-m", "pytest"] + (pytest_arguments or IN_PARALLEL)),
    )
    platform_name = os.environ.get("QT_QPA_PLATFORM", "offscreen")
    failed = []
    for name, words in steps:
        print("\n== %s" % name)
        if environment.call(words, {"QT_QPA_PLATFORM": platform_name}):
            failed.append(name)
    print("\nFailed: %s" % ", ".join(failed) if failed else "\nEvery check passed.")
    return 1 if failed else 0


def offer_real_window():
    # type: () -> None
    """Install what a real window on a virtual display needs, or say what goes untested."""

    def missing():
        # type: () -> list[str]
        libraries = system.missing_for("xcb", environment.site_packages())
        programs = system.missing_programs(["Xvfb", "xdotool"])
        return libraries + programs + system.missing_font()

    lacking = missing()
    if lacking and system.install(lacking, "the test of a real window"):
        lacking = missing()
    if not lacking:
        return
    print("The test of a real window will be skipped; it needs: %s" % " ".join(lacking))
    print("Install them with: %s" % system.install_command(lacking))
    offscreen = system.missing_for("offscreen", environment.site_packages())
    if offscreen:
        print("Every test that loads Qt will fail without: %s" % " ".join(offscreen))


def bench():
    # type: () -> int
    """Run every benchmark, one after the other."""
    folder = os.path.join(environment.ROOT, "packaging", "benchmarks")
    names = sorted(os.listdir(folder)) if os.path.isdir(folder) else []
    scripts = [name for name in names if name.startswith("bench_") and name.endswith(".py")]
    if not scripts:
        print("There are no benchmarks in packaging/benchmarks yet.")
        return 0
    environment.prepare("")
    failed = 0
    for name in scripts:
        print("\n== %s" % name)
        failed += environment.call([environment.program("python"), os.path.join(folder, name)]) != 0
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
