"""The program in a real window on a display of its own, driven by mouse and keys from outside."""

import json
import os
import shutil
import subprocess
import sys
import time

import pytest

MISSING = [tool for tool in ("Xvfb", "xdotool") if shutil.which(tool) is None]
pytestmark = pytest.mark.skipif(bool(MISSING), reason=f"not installed: {', '.join(MISSING)}")

WIDTH, HEIGHT = 1440, 900
LONGEST_S = 60.0

# Says where the section's plot lies on the screen; it changes nothing in the program.
PLACES = """
import json, sys
from pathlib import Path
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from depthwright_app import command, window as starter
from depthwright_app.main_window import MainWindow

class Told(MainWindow):
    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self.teller = QTimer(self, interval=100, timeout=self.tell)
        self.teller.start()

    def tell(self):
        pane = self.pane
        places = {}
        if self.document.stage is not None and not self.background.busy():
            for click in json.loads(Path(sys.argv[1]).read_text()):
                at = pane.mapToGlobal(pane.pixels(*click))
                places["%g" % click[0]] = [at.x(), at.y()]
        bars = len(self.document.line.marks) if self.document.line else 0
        out = {"places": places, "bars": bars, "box": self.marking.box.isVisible(),
               "text": self.marking.box.field.text(), "title": self.windowTitle(),
               "active": self.isActiveWindow()}
        target = Path(sys.argv[2])
        target.with_suffix(".part").write_text(json.dumps(out))
        target.with_suffix(".part").replace(target)

starter.MainWindow = Told
sys.exit(command.main(sys.argv[3:]))
"""


def ended(process):
    """End a child, gently first."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)


def wait_for(happened, what, process):
    """Poll until something is true; the program dying or time running out is a failure."""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        assert process.poll() is None, f"the program ended while waiting for {what}"
        found = happened()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"waited {LONGEST_S:.0f} s for {what}")


@pytest.fixture
def display():
    """A display of our own; gives its name."""
    read, write = os.pipe()
    server = subprocess.Popen(
        [
            "Xvfb",
            "-displayfd",
            str(write),
            "-screen",
            "0",
            f"{WIDTH}x{HEIGHT}x24",
            "-nolisten",
            "tcp",
            "-noreset",  # else it starts anew when its last client leaves, refusing the next one
        ],
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as told:
            number = told.readline().strip()
        assert number, "Xvfb did not start"
        yield f":{number}"
    finally:
        ended(server)


@pytest.fixture
def surroundings(display, tmp_path):
    """Environment of the program: the display, and folders of its own."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in ("QT_QPA_PLATFORM", "WAYLAND_DISPLAY", "QT_SCALE_FACTOR")
    }
    return {
        **kept,
        "DISPLAY": display,
        "QT_QPA_PLATFORM": "xcb",
        "HOME": str(tmp_path / "home"),
        "XDG_CONFIG_HOME": str(tmp_path / "config"),
        "XDG_DATA_HOME": str(tmp_path / "data"),
    }


@pytest.fixture
def tool(surroundings):
    """Runs xdotool and gives what it says."""

    def run(*arguments):
        done = subprocess.run(
            ["xdotool", *map(str, arguments)],
            env=surroundings,
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
        return done.stdout.strip()

    return run


def start(surroundings, arguments, log):
    return subprocess.Popen(
        [sys.executable, *arguments], env=surroundings, stdout=log, stderr=subprocess.STDOUT
    )


def test_the_main_job_in_a_real_window(surroundings, tool, demo, tour, tmp_path):
    clicks = [
        (click["position_mm"], click["time_ns"])
        for click in tour["clicks"]
        if click["line"] == "deck-L1" and click["kind"] == "bar"
    ]
    asked, state = tmp_path / "clicks.json", tmp_path / "state.json"
    asked.write_text(json.dumps(clicks))
    log = (tmp_path / "log.txt").open("w+")
    program = start(surroundings, ["-c", PLACES, str(asked), str(state), "open", str(demo)], log)

    def now():
        return json.loads(state.read_text()) if state.exists() else {"places": {}, "bars": 0}

    try:
        wait_for(lambda: now()["places"], "the scans", program)
        window = tool("search", "--onlyvisible", "--pid", program.pid, "--name", "Depthwright")
        tool("windowfocus", "--sync", window.split()[0])
        # The first frame may still settle the layout.
        wait_for(lambda: (a := now()["places"]) and time.sleep(0.02) is None and a == now()["places"],
                 "a steady layout", program)  # fmt: skip

        def click(position):
            tool("mousemove", "--sync", *now()["places"][f"{position:g}"], "click", 1)

        for index, (position, _) in enumerate(clicks[:3], start=1):
            click(position)
            wait_for(lambda index=index: now()["bars"] == index, f"bar {index}", program)
        saved = demo.read_bytes()
        click(clicks[1][0])
        tool("type", "--delay", 20, "35")
        wait_for(lambda: now()["box"] and now()["text"] == "35", "the reading in the box", program)
        tool("key", "Return")
        wait_for(lambda: not now()["box"], "the tie", program)
        wait_for(lambda: now()["title"].startswith("*"), "the unsaved star", program)
        picture = tmp_path / "screen.png"
        shot(surroundings, picture)
        colours = colours_of(picture)
        tool("key", "ctrl+s")
        wait_for(lambda: demo.read_bytes() != saved, "the save", program)
        wait_for(lambda: not now()["title"].startswith("*"), "the star to go", program)
        tool("key", "ctrl+q")
        assert program.wait(20) == 0
    finally:
        ended(program)
        log.seek(0)
        said = log.read()
        log.close()
    assert "Traceback" not in said, said
    job = json.loads(demo.read_text("utf-8"))["job"]
    bars = [mark for mark in job["lines"][0]["marks"] if mark["kind"] == "bar"]
    assert [bar["tie"] and bar["tie"]["depth_mm"] for bar in bars] == [None, 35.0, None]
    assert len(colours) > 200, f"only {len(colours)} colours on the screen"


def shot(surroundings, target):
    """A picture of the whole screen, taken by another process."""
    code = (
        "import sys; from PySide6.QtWidgets import QApplication; app = QApplication([]); "
        "sys.exit(not app.primaryScreen().grabWindow(0).save(sys.argv[1]))"
    )
    subprocess.run(
        [sys.executable, "-c", code, str(target)], env=surroundings, check=True, timeout=60
    )


def colours_of(path):
    """Colours found on a picture, sampled at every fourth pixel."""
    from PySide6.QtGui import QImage

    image = QImage(str(path))
    assert (image.width(), image.height()) == (WIDTH, HEIGHT)
    return {
        image.pixel(across, down) for across in range(0, WIDTH, 4) for down in range(0, HEIGHT, 4)
    }


def test_the_plain_command_opens_and_closes(surroundings, tool, demo, tmp_path):
    log = (tmp_path / "log.txt").open("w+")
    program = start(surroundings, ["-m", "depthwright_app", "open", str(demo)], log)

    def titles():
        found = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--name", "Depthwright"],
            env=surroundings, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        return {tool("getwindowname", number): number for number in found.stdout.split()}

    try:
        wait_for(lambda: any("deck-L1" in title for title in titles()), "the job", program)
        tool("windowfocus", "--sync", *titles().values())
        tool("key", "ctrl+q")
        assert program.wait(20) == 0
    finally:
        ended(program)
        log.seek(0)
        said = log.read()
        log.close()
    assert "Traceback" not in said, said
