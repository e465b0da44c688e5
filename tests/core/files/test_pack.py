"""A job is handed over whole: packed into one zip, and opened from it, also where the zip means harm."""

import errno
import json
import os
import stat
import struct
import zipfile
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from depthwright.errors import DepthwrightError
from depthwright.files import unpack
from depthwright.files.jobfile import load_job, save_job
from depthwright.files.pack import pack_job
from depthwright.files.scans import open_scan
from depthwright.files.segy import read_segy, write_segy
from depthwright.files.unpack import open_pack
from depthwright.job import Job, ScanRef
from depthwright.results.evaluate import evaluate
from depthwright.results.words import CAUTIONS, INTERVALS

NOW = datetime(2026, 3, 14, 9, 26, 53, tzinfo=UTC)

Made = Callable[[str], Job]


def scan_at(path: Path, seed: int = 1, traces: int = 30) -> ScanRef:
    path.parent.mkdir(parents=True, exist_ok=True)
    samples = np.random.default_rng(seed).normal(size=(traces, 64)).astype(np.float32)
    write_segy(path, samples, 0.02, np.arange(traces) * 5.0)
    scan = read_segy(path)
    return ScanRef(
        path=str(path),
        size_bytes=scan.size_bytes,
        sha256=scan.sha256,
        traces=scan.traces,
        samples=scan.samples,
        dt_ns=scan.dt_ns,
    )


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """Where the scans lie."""
    return tmp_path / "site"


@pytest.fixture
def deck(site: Path, make_job: Made) -> Job:
    """A job of three lines; the scans of two have one name in two folders, and two lines share one."""
    first = scan_at(site / "monday" / "wall 1.sgy", 1)
    second = scan_at(site / "tuesday" / "wall 1.sgy", 2)
    (line,) = make_job("").lines
    lines = (
        line.model_copy(update={"scan": first}),
        line.model_copy(update={"id": "line-2", "name": "B", "scan": second, "marks": ()}),
        line.model_copy(update={"id": "line-3", "name": "C", "scan": first, "marks": ()}),
    )
    return make_job("").model_copy(update={"lines": lines})


@pytest.fixture
def target(tmp_path: Path) -> Path:
    """The pack."""
    return tmp_path / "out" / "deck 3.zip"


@pytest.fixture
def packed(deck: Job, target: Path) -> Path:
    """The pack, made."""
    target.parent.mkdir()
    assert pack_job(target, deck, evaluate(deck), NOW).missing == ()
    return target


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Where packs are opened."""
    (tmp_path / "home").mkdir()
    return tmp_path / "home"


def names(folder: Path) -> list[str]:
    return sorted(each.relative_to(folder).as_posix() for each in folder.rglob("*"))


# Making one.


def test_it_holds_the_job_every_scan_once_and_a_word_on_itself(packed: Path) -> None:
    with zipfile.ZipFile(packed) as pack:
        assert pack.testzip() is None
        assert pack.namelist() == [
            "READ-ME.txt",
            "deck_3.dwjob",
            "scans/wall_1.sgy",
            "scans/wall_1_2.sgy",
        ]
        job = json.loads(pack.read("deck_3.dwjob"))
    assert [line["scan"]["path"] for line in job["job"]["lines"]] == [
        "scans/wall_1.sgy",
        "scans/wall_1_2.sgy",
        "scans/wall_1.sgy",
    ]
    assert [each.name for each in packed.parent.iterdir()] == ["deck 3.zip"]


def test_the_scans_are_byte_for_byte_what_they_were(packed: Path, site: Path) -> None:
    with zipfile.ZipFile(packed) as pack:
        assert pack.read("scans/wall_1_2.sgy") == (site / "tuesday" / "wall 1.sgy").read_bytes()


def test_the_word_on_itself_says_what_it_is_and_prints_the_cautions(packed: Path) -> None:
    with zipfile.ZipFile(packed) as pack:
        said = " ".join(pack.read("READ-ME.txt").decode("utf-8").split())
    assert "Packed on 2026-03-14 at 09:26 +0000 by Depthwright" in said
    assert "deck_3.dwjob the job:" in said
    assert "scans/ the scans as recorded" in said
    assert INTERVALS in said
    assert "Not in this pack" not in said
    assert all(caution in said for caution in CAUTIONS)


def test_what_was_exported_goes_along_under_distinct_names(
    deck: Job, target: Path, tmp_path: Path
) -> None:
    target.parent.mkdir()
    for name in ("a", "b"):
        (tmp_path / name).write_bytes(name.encode())
    extras = {"bars.csv": tmp_path / "a", "Bars.csv": tmp_path / "b", "gone.csv": tmp_path / "c"}
    done = pack_job(target, deck, None, NOW, extras)
    assert done.missing == ("c was not there to be packed.",)
    with zipfile.ZipFile(target) as pack:
        assert pack.read("exports/bars.csv") == b"a"
        assert pack.read("exports/Bars_2.csv") == b"b"
        assert b"exports/  images and tables" in pack.read("READ-ME.txt")


def test_a_missing_scan_is_told_and_the_rest_is_packed(
    deck: Job, target: Path, site: Path, home: Path
) -> None:
    target.parent.mkdir()
    scan = site / "tuesday" / "wall 1.sgy"
    raw = scan.read_bytes()
    scan.unlink()
    (said,) = pack_job(target, deck, None, NOW).missing
    assert said.startswith("The scan of line “B” is not in the pack. The scan wall 1.sgy is not at")
    assert said.endswith("Its place in the pack is scans/wall_1_2.sgy.")
    with zipfile.ZipFile(target) as pack:
        assert "scans/wall_1_2.sgy" not in pack.namelist()
        assert said in " ".join(pack.read("READ-ME.txt").decode("utf-8").split())
    opened = open_pack(target, home)
    (opened.parent / "scans" / "wall_1_2.sgy").write_bytes(raw)
    assert open_scan(load_job(opened).job.lines[1].scan).traces == 30


@pytest.mark.parametrize("change", ["longer", "one byte"])
def test_a_changed_scan_stays_out(deck: Job, target: Path, site: Path, change: str) -> None:
    target.parent.mkdir()
    scan = site / "tuesday" / "wall 1.sgy"
    raw = bytearray(scan.read_bytes())
    raw[-2] ^= 1
    scan.write_bytes(raw + b"x" if change == "longer" else raw)
    (said,) = pack_job(target, deck, None, NOW).missing
    assert "is not the scan that was added to the job" in said
    with zipfile.ZipFile(target) as pack:
        assert "scans/wall_1_2.sgy" not in pack.namelist()


def test_a_scan_that_changes_while_it_is_packed_leaves_no_pack(
    deck: Job, target: Path, site: Path
) -> None:
    target.parent.mkdir()
    target.write_bytes(b"the former one")

    def disturb(done: float) -> None:
        if done > 0.3:
            (site / "monday" / "wall 1.sgy").write_bytes(bytes(deck.lines[0].scan.size_bytes))

    with pytest.raises(DepthwrightError, match="changed while it was packed"):
        pack_job(target, deck, None, NOW, report=disturb)
    assert target.read_bytes() == b"the former one"
    assert names(target.parent) == ["deck 3.zip"]


def test_a_hash_that_was_not_known_is_known_in_the_pack(
    deck: Job, target: Path, home: Path
) -> None:
    target.parent.mkdir()
    line = deck.lines[0]
    unknown = line.model_copy(update={"scan": line.scan.model_copy(update={"sha256": ""})})
    pack_job(target, deck.model_copy(update={"lines": (unknown,)}), None, NOW)
    assert load_job(open_pack(target, home)).job.lines[0].scan.sha256 == line.scan.sha256


def test_a_pipe_in_the_place_of_a_scan_makes_nobody_wait(
    deck: Job, target: Path, site: Path
) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    target.parent.mkdir()
    (site / "tuesday" / "wall 1.sgy").unlink()
    os.mkfifo(site / "tuesday" / "wall 1.sgy")
    assert "no plain file" in pack_job(target, deck, None, NOW).missing[0]


class CancelledError(Exception):
    """The user has had enough."""


def cancel_at(share: float) -> Callable[[float], None]:
    def report(done: float) -> None:
        if done >= share:
            raise CancelledError

    return report


@pytest.mark.parametrize("share", [0.0, 0.4, 0.7, 1.0])
def test_cancelled_it_leaves_the_former_pack_and_nothing_else(
    deck: Job, target: Path, share: float
) -> None:
    target.parent.mkdir()
    target.write_bytes(b"the former one")
    with pytest.raises(CancelledError):
        pack_job(target, deck, None, NOW, report=cancel_at(share))
    assert target.read_bytes() == b"the former one"
    assert names(target.parent) == ["deck 3.zip"]


def test_how_far_it_is_only_grows(deck: Job, target: Path) -> None:
    target.parent.mkdir()
    told: list[float] = []
    pack_job(target, deck, None, NOW, report=told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert told[0] < 0.5


@pytest.mark.parametrize(
    ("name", "there"),
    [("con.sgy", "_con.sgy"), ("..sgy", "sgy"), ("a*?b.sgy", "a_b.sgy"), ("日本.sgy", "日本.sgy"),
     ("x" * 200 + ".sgy", "x" * 96 + ".sgy")],
)  # fmt: skip
def test_names_in_the_pack_suit_every_system(
    make_job: Made, site: Path, target: Path, home: Path, name: str, there: str
) -> None:
    target.parent.mkdir()
    (line,) = make_job("").lines
    line = line.model_copy(update={"scan": scan_at(site / name)})
    pack_job(target, make_job("").model_copy(update={"lines": (line,)}), None, NOW)
    assert (open_pack(target, home).parent / "scans" / there).is_file()


# Opening one.


def test_the_job_comes_back_with_its_scans(packed: Path, home: Path, deck: Job) -> None:
    opened = open_pack(packed, home)
    assert opened == home / "deck 3" / "deck_3.dwjob"
    assert names(home) == [
        "deck 3",
        "deck 3/READ-ME.txt",
        "deck 3/deck_3.dwjob",
        "deck 3/scans",
        "deck 3/scans/wall_1.sgy",
        "deck 3/scans/wall_1_2.sgy",
    ]
    loaded = load_job(opened)
    assert loaded.findings == ()
    for there, line in zip(deck.lines, loaded.job.lines, strict=True):
        assert open_scan(line.scan).sha256 == there.scan.sha256
        assert line.marks == there.marks


def test_it_never_overwrites(packed: Path, home: Path) -> None:
    (home / "deck 3").mkdir()
    (home / "deck 3" / "mine").write_bytes(b"mine")
    assert open_pack(packed, home).parent == home / "deck 3-2"
    assert open_pack(packed, home).parent == home / "deck 3-3"
    assert names(home / "deck 3") == ["mine"]


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_cancelled_opening_leaves_nothing(packed: Path, home: Path, share: float) -> None:
    with pytest.raises(CancelledError):
        open_pack(packed, home, cancel_at(share))
    assert names(home) == []


def test_what_a_killed_opening_left_is_cleared_away(packed: Path, home: Path) -> None:
    left = home / f".deck 3.{'0' * 32}.part"
    (left / "scans").mkdir(parents=True)
    open_pack(packed, home)
    assert not left.exists()


# What is refused. Nothing is left behind, and nothing is written outside.


def refused(pack: Path, home: Path, why: str) -> None:
    with pytest.raises(DepthwrightError) as caught:
        open_pack(pack, home)
    assert why in caught.value.message
    assert caught.value.message.endswith(".")
    assert caught.value.hint.endswith(".")
    assert names(home) == []


@pytest.fixture
def job_text(tmp_path: Path, make_job: Made) -> bytes:
    """A job file that names no scan."""
    save_job(tmp_path / "a.dwjob", make_job(""), None, NOW)
    return (tmp_path / "a.dwjob").read_bytes()


Zipped = Callable[..., Path]


@pytest.fixture
def zipped(tmp_path: Path, job_text: bytes) -> Zipped:
    """Makes a zip of a job and some other entries."""

    def make(*entries: tuple[str | zipfile.ZipInfo, bytes], jobs: int = 1) -> Path:
        path = tmp_path / "bad.zip"
        with zipfile.ZipFile(path, "w") as pack:
            for number in range(jobs):
                pack.writestr(f"deck{number or ''}.dwjob", job_text)
            for name, data in entries:
                pack.writestr(name, data)
        return path

    return make


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("../evil", "climbs out"),
        ("scans/../../evil", "climbs out"),
        ("..", "climbs out"),
        ("/etc/evil", "absolute path"),
        ("//server/evil", "drive or a backslash"),
        ("C:/evil", "drive or a backslash"),
        ("c:evil", "drive or a backslash"),
        (r"scans\evil", "drive or a backslash"),
        (r"..\evil", "drive or a backslash"),
        ("file:stream", "drive or a backslash"),
        ("scans//a", "no name"),
        ("./a", "no name"),
        ("scans/a. ", "no name"),
        ("a/NUL.txt", "name of a device"),
        ("line\nbreak", "character that no name has"),
        ("x" * 300, "too long"),
        ("a/" * 600, "too long"),
    ],
)
def test_a_name_that_leads_elsewhere(zipped: Zipped, home: Path, name: str, why: str) -> None:
    refused(zipped((name, b"evil")), home, why)
    assert not (home.parent / "evil").exists()


def test_a_name_with_a_nul_in_it(zipped: Zipped, home: Path) -> None:
    pack = zipped(("scans/aXb.sgy", b""))
    pack.write_bytes(pack.read_bytes().replace(b"scans/aXb.sgy", b"scans/a\0b.sgy"))
    refused(pack, home, "character that no name has")


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO, stat.S_IFSOCK])
def test_a_link_or_a_device(zipped: Zipped, home: Path, kind: int) -> None:
    info = zipfile.ZipInfo("scans/wall.sgy")
    info.external_attr = (kind | 0o777) << 16
    refused(zipped((info, b"/etc/passwd")), home, "is a link or a device")


def test_an_encrypted_file(zipped: Zipped, home: Path) -> None:
    pack = zipped(("secret", b"x"))
    raw = bytearray(pack.read_bytes())
    for sign, at in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        raw[raw.rindex(sign) + at] |= 1
    pack.write_bytes(raw)
    refused(pack, home, "is encrypted")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_method_that_packs_never_use(zipped: Zipped, home: Path, method: int) -> None:
    info = zipfile.ZipInfo("scans/a")
    info.compress_type = method
    refused(zipped((info, b"x" * 999)), home, "packed in a way that is not read")


@pytest.mark.parametrize(
    ("first", "second"), [("a", "A"), ("scans/ß", "scans/SS"), ("é", "e\N{COMBINING ACUTE ACCENT}")]
)
def test_two_files_that_some_disk_takes_for_one(
    zipped: Zipped, home: Path, first: str, second: str
) -> None:
    refused(zipped((first, b"1"), (second, b"2")), home, "two files of one name")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_two_files_of_one_name(zipped: Zipped, home: Path) -> None:
    refused(zipped(("a", b"1"), ("a", b"2")), home, "two files of one name")


def test_a_file_that_is_a_folder_too(zipped: Zipped, home: Path) -> None:
    refused(zipped(("a", b"1"), ("a/b", b"2")), home, "a file that is a folder too")


def test_too_many_files(zipped: Zipped, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unpack, "MOST_ENTRIES", 20)
    refused(zipped(*((f"{n}", b"") for n in range(20))), home, "more than 20 files")


@pytest.mark.parametrize("large", [False, True])
def test_a_list_of_contents_of_gigabytes_is_not_read(
    zipped: Zipped, home: Path, large: bool
) -> None:
    raw = bytearray(zipped().read_bytes())
    last = raw.rindex(b"PK\5\6")
    if large:
        record = struct.pack("<4sQHHLLQQQQ", b"PK\6\6", 44, 45, 45, 0, 0, 9, 9, 2**40, 0)
        locator = struct.pack("<4sLQL", b"PK\6\7", 0, last, 1)
        raw[last:last] = record + locator
        last += len(record) + len(locator)
    struct.pack_into("<L", raw, last + 12, 2**32 - 1)
    (home.parent / "bad.zip").write_bytes(raw)
    refused(home.parent / "bad.zip", home, "more than 10,000 files")


@pytest.mark.parametrize("jobs", [0, 2])
def test_no_job_or_several(zipped: Zipped, home: Path, jobs: int) -> None:
    refused(zipped(jobs=jobs), home, "no job" if jobs == 0 else "2 jobs")


def test_a_zip_of_nothing_but_zeros_is_not_unpacked(
    zipped: Zipped, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpack, "SMALL_BYTES", 2**20)
    refused(zeros(zipped), home, "more than 200 times its size")


def test_what_shrinks_a_thousandfold_is_opened_where_it_is_small(
    zipped: Zipped, home: Path
) -> None:
    opened = open_pack(zeros(zipped), home)
    assert (opened.parent / "scans" / "wall.sgy").stat().st_size == 8 * 2**20


def test_a_scan_of_nothing_but_zeros_is_packed_as_it_is(
    make_job: Made, site: Path, target: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target.parent.mkdir()
    site.mkdir()
    write_segy(site / "dead.sgy", np.zeros((9000, 64), np.float32), 0.02, np.arange(9000) * 5.0)
    found = read_segy(site / "dead.sgy")
    (line,) = make_job("").lines
    scan = line.scan.model_copy(
        update={"path": found.source, "size_bytes": found.size_bytes, "sha256": found.sha256}
    )
    lines = (line.model_copy(update={"scan": scan}),)
    pack_job(target, make_job("").model_copy(update={"lines": lines}), None, NOW)
    monkeypatch.setattr(unpack, "SMALL_BYTES", 0)
    assert open_pack(target, home).exists()


def zeros(zipped: Zipped) -> Path:
    info = zipfile.ZipInfo("scans/wall.sgy")
    info.compress_type = zipfile.ZIP_DEFLATED
    return zipped((info, bytes(8 * 2**20)))


def test_a_zip_that_denies_its_size_is_damaged(zipped: Zipped, home: Path) -> None:
    pack = zeros(zipped)
    raw = bytearray(pack.read_bytes())
    for sign, at in ((b"PK\3\4", 22), (b"PK\1\2", 24)):
        struct.pack_into("<L", raw, raw.rindex(sign) + at, 10)
    pack.write_bytes(raw)
    refused(pack, home, "damaged")


def test_bytes_are_counted_as_they_come_out_whatever_the_zip_claims(
    zipped: Zipped, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpack, "SMALL_BYTES", 2**20)
    monkeypatch.setattr(unpack, "_check_bytes", real_bytes_only(unpack._check_bytes))
    refused(zeros(zipped), home, "more than 200 times its size")


def real_bytes_only(check: Callable[..., None]) -> Callable[..., None]:
    """The check without its first call, which looks at what the zip claims."""
    calls: list[int] = []

    def checked(name: str, count: int, *limits: int) -> None:
        calls.append(count)
        if len(calls) > 1:
            check(name, count, *limits)

    return checked


def test_more_than_the_disk_has_room_for(
    packed: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        unpack.shutil, "disk_usage", lambda _: type("", (), {"free": unpack.SPARE_BYTES + 999})
    )
    refused(packed, home, "does not fit on the disk")


def test_a_changed_byte(packed: Path, home: Path) -> None:
    raw = bytearray(packed.read_bytes())
    raw[raw.index(b"scans/wall_1.sgy") + 4000] ^= 1
    packed.write_bytes(raw)
    refused(packed, home, "is damaged or was not copied whole")


def test_every_cut(packed: Path, home: Path) -> None:
    raw = packed.read_bytes()
    for length in range(0, len(raw), len(raw) // 40):
        packed.write_bytes(raw[:length])
        refused(packed, home, "is damaged or was not" if length > 3 else "is not a pack")


def test_changed_bytes_of_its_list_never_do_harm(packed: Path, home: Path) -> None:
    raw = packed.read_bytes()
    start = raw.index(b"PK\1\2")
    draw = np.random.default_rng(3)
    opened = 0
    for _ in range(80):
        changed = bytearray(raw)
        for _ in range(draw.integers(1, 4)):
            changed[draw.integers(start, len(raw))] = draw.integers(0, 256)
        packed.write_bytes(changed)
        with suppress(DepthwrightError):
            open_pack(packed, home)
            opened += 1
    assert len(list(home.iterdir())) == opened
    assert names(home.parent / "out") == ["deck 3.zip"]


def test_what_is_no_zip(home: Path) -> None:
    bad = home.parent / "bad.zip"
    bad.write_bytes(b"x" * 100_000)
    refused(bad, home, "is not a pack")
    refused(home.parent / "gone.zip", home, "could not be read")
    refused(home, home, "is not a file")
    if hasattr(os, "mkfifo"):
        os.mkfifo(home.parent / "pipe.zip")
        refused(home.parent / "pipe.zip", home, "is not a file")


@pytest.mark.parametrize(
    "scan", ["/etc/passwd", "../outside.sgy", r"C:\wall.sgy", r"\\server\share\wall.sgy", r"a\b"]
)
def test_a_job_in_a_pack_that_names_scans_outside(
    zipped: Zipped, home: Path, job_text: bytes, scan: str
) -> None:
    data = json.loads(job_text)
    data["job"]["lines"][0]["scan"]["path"] = scan
    pack = zipped(("wall.dwjob", json.dumps(data).encode()), jobs=0)
    refused(pack, home, "names a scan by a path that is not followed")


def test_a_damaged_job_in_a_pack(zipped: Zipped, home: Path) -> None:
    refused(zipped(("wall.dwjob", b"{"), jobs=0), home, "wall.dwjob")


def test_a_folder_that_is_not_there(packed: Path, home: Path) -> None:
    with pytest.raises(DepthwrightError, match="is not there"):
        open_pack(packed, home / "nowhere")
    assert names(home) == []


def test_a_report_that_fails_for_its_own_reasons_is_no_damage(packed: Path, home: Path) -> None:
    def fail(_: float) -> None:
        raise RuntimeError("of the caller")

    with pytest.raises(RuntimeError, match="of the caller"):
        open_pack(packed, home, fail)
    assert names(home) == []


def test_a_full_disk_while_unpacking_leaves_nothing(
    packed: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    true_open = Path.open

    def full(self: Path, mode: str = "r", *args: object) -> object:
        file = true_open(self, mode, *args)
        if mode == "xb" and self.suffix == ".sgy":
            file.close()
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return file

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(DepthwrightError, match="could not be written") as caught:
        open_pack(packed, home)
    assert "room" in caught.value.hint
    assert names(home) == []
