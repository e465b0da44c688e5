"""Saves until it is killed, and looks at what is left on the disk: run by test_kill.py and bench_kill.py.

``killed_saves.py FOLDER timed SEED ROUNDS`` kills each round's process from outside at a moment drawn
from the seed. ``killed_saves.py FOLDER points`` kills it just before and just after every call of the
system that a save and a recovery file make. The last line printed is a JSON object that says what was found.
"""

import json
import os
import random
import shutil
import signal
import sys
import time
import traceback
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from depthwright.edits import add_bar, add_line
from depthwright.errors import DepthwrightError
from depthwright.files.jobfile import load_job, save_job
from depthwright.files.recovery import find_recoveries, write_recovery
from depthwright.job import Antenna, DirectPick, Job, Line, ScanRef
from depthwright.measuring.picking import Pick

NOW = datetime(2026, 3, 14, 9, 26, tzinfo=UTC)
SAVES = 100
LONGEST_S = 0.15
CALLS = ("fsync", "replace", "link", "unlink", "open")


def start() -> Job:
    """A job of one line without marks."""
    scan = ScanRef(path="", size_bytes=0, sha256="", traces=9, samples=9, dt_ns=0.1)
    line = Line(
        id="line-1",
        name="Wall",
        scan=scan,
        zone="zone-1",
        antenna="antenna-1",
        direct=DirectPick(time_ns=1.0),
    )
    return add_line(Job(), line, Antenna(id="antenna-1", centre_frequency_ghz=2.0))


def work(folder: Path, told: int, numbers: range) -> None:
    """Add marks up to each number, keep that, save it, and tell of each step once it is done."""
    job, stamp = start(), None
    if (folder / "deck.dwjob").exists():
        opened = load_job(folder / "deck.dwjob")
        job, stamp = opened.job, opened.stamp
    for number in numbers:
        job, _ = add_bar(job, "line-1", Pick(10.0 * number, 1.0, 2.0))
        write_recovery(folder / "kept", "one", job, folder / "deck.dwjob", stamp or "", NOW)
        os.write(told, b"e%d\n" % number)
        stamp = save_job(folder / "deck.dwjob", job, None, NOW, expected=stamp)
        os.write(told, b"s%d\n" % number)


def marks_on_disk(folder: Path) -> tuple[int, int]:
    """Marks in the job file and in the recovery file; 0 where there is none."""
    saved = 0
    if (folder / "deck.dwjob").exists():
        saved = len(load_job(folder / "deck.dwjob").job.lines[0].marks)
    left = find_recoveries(folder / "kept")
    if left.findings:
        raise DepthwrightError(" ".join(left.findings))
    return saved, max((len(each.job.lines[0].marks) for each in left.found), default=0)


def names(folder: Path) -> list[str]:
    """All files, by their names in the folder."""
    return sorted(str(each.relative_to(folder)) for each in folder.rglob("*") if each.is_file())


def look(folder: Path, told: str) -> tuple[list[str], int, bool]:
    """What is wrong after a kill, the last edit told, and whether the kill left a temporary file."""
    steps = told.split()
    edited = max((int(step[1:]) for step in steps if step[0] == "e"), default=0)
    saved = max((int(step[1:]) for step in steps if step[0] == "s"), default=0)
    left_over = any(name.endswith(".part") for name in names(folder))
    faults = []
    try:
        on_disk, kept = marks_on_disk(folder)
        if on_disk < saved:
            faults.append(f"save {saved} was told, {on_disk} marks are in the job file")
        if max(on_disk, kept) < edited:
            faults.append(f"edit {edited} was told, {max(on_disk, kept)} marks are on the disk")
        backup = folder / "deck.dwjob.bak"
        if backup.exists():
            load_job(backup)
        save_job(folder / "deck.dwjob", start(), None, NOW)
        write_recovery(folder / "kept", "one", start(), None, "", NOW)
        wanted = {"deck.dwjob", "deck.dwjob.bak", str(Path("kept") / "one.dwrecovery")}
        if rubbish := set(names(folder)) - wanted:
            faults.append(f"left after the next save: {sorted(rubbish)}")
    except DepthwrightError as problem:
        faults.append(str(problem))
    return faults, edited, left_over


def forked(
    folder: Path, numbers: range, prepare=lambda: None, wait_s: float | None = None
) -> tuple[str, bool]:
    """Let a child work until it is killed or done; what it told, and whether it was killed."""
    listen, tell = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            prepare()
            work(folder, tell, numbers)
            os._exit(0)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
    os.close(tell)
    if wait_s is not None:
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(listen) as told:
        said = told.read()
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status) and os.waitstatus_to_exitcode(status):
        raise SystemExit("the saving process failed by itself")
    return said, os.WIFSIGNALED(status)


def kill_at(point: int, after: bool):
    """Makes a process kill itself at one of the calls it makes of the system."""
    count = 0

    def counted(call):
        def wrapped(*args, **kwargs):
            nonlocal count
            count += 1
            if count == point and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            here = count == point
            try:
                return call(*args, **kwargs)
            finally:
                if here:
                    os.kill(os.getpid(), signal.SIGKILL)

        return wrapped

    for name in CALLS:
        setattr(os, name, counted(getattr(os, name)))


def timed(top: Path, seed: int, rounds: int):
    """Rounds that are ended from outside."""
    draw = random.Random(seed)
    for _ in range(rounds):
        top.mkdir()
        yield forked(top, range(1, SAVES + 1), wait_s=draw.uniform(0.0, LONGEST_S))
        shutil.rmtree(top)


def points(top: Path):
    """Rounds that end at one call after the other of a third edit and save, until one gets through."""
    before = top.with_name("before")
    before.mkdir()
    forked(before, range(1, 3))
    for after in (False, True):
        point, killed = 0, True
        while killed:
            point += 1
            shutil.copytree(before, top)
            said, killed = forked(top, range(3, 4), partial(kill_at, point, after))
            yield said, killed
            shutil.rmtree(top)


def main() -> None:
    folder, how, *rest = sys.argv[1:]
    top = Path(folder) / "round"
    rounds = points(top) if how == "points" else timed(top, *map(int, rest))
    found = {"rounds": 0, "killed": 0, "edits": 0, "left_over": 0, "faults": []}
    for said, killed in rounds:
        faults, edited, left_over = look(top, said)
        found["rounds"] += 1
        found["killed"] += killed
        found["edits"] += edited
        found["left_over"] += left_over
        found["faults"] += [f"round {found['rounds']}: {fault}" for fault in faults]
    sys.stdout.write(json.dumps(found) + "\n")


if __name__ == "__main__":
    main()
