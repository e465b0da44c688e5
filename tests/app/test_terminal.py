"""What is printed on a terminal or into a pipe: no sign is lost, whatever the encoding."""

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from depthwright_app.terminal import PLAIN_SIGNS, write_every_sign

SAMPLES = Path(__file__).parents[2] / "sample_data"


def printed(words, encoding):
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, newline="")
    write_every_sign([None, io.StringIO(), stream])
    stream.write(words)
    stream.flush()
    return raw.getvalue().decode(encoding, "surrogatepass")


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        ("ascii", '24 +- 2 mm, -1 us: "deck..."'),
        ("latin-1", '24 ± 2 mm, -1 µs: "deck..."'),
        ("cp1252", "24 ± 2 mm, -1 µs: “deck…”"),
        ("cp437", '24 ± 2 mm, -1 µs: "deck..."'),
        ("cp500", '24 ± 2 mm, -1 µs: "deck..."'),
        ("utf-8", "24 ± 2\u202fmm, −1 µs: “deck…”"),
        ("utf-16", "24 ± 2\u202fmm, −1 µs: “deck…”"),
    ],
)
def test_a_sign_that_the_terminal_lacks_is_written_in_plain_letters(encoding, shown):
    assert printed("24 ± 2\u202fmm, −1 µs: “deck…”", encoding) == shown


def test_a_sign_of_somebody_elses_is_written_by_its_number():
    assert printed("Brücke 桥 \udcff±", "ascii") == r"Br\xfccke \u6865 \udcff+-"
    assert printed("\udcff±", "utf-8") == r"\udcff±"


def test_plain_letters_are_plain():
    assert "".join(PLAIN_SIGNS.values()).isascii()


ASCII = {
    "LC_ALL": "C",
    "PYTHONUTF8": "0",
    "PYTHONCOERCECLOCALE": "0",
    "PYTHONIOENCODING": "ascii",
}


def test_a_line_is_marked_on_an_ascii_terminal(tmp_path):
    command = "import sys; from depthwright_app.command import main; sys.exit(main())"
    scan = tmp_path / "Brücke.sgy"
    scan.write_bytes((SAMPLES / "deck-L1.sgy").read_bytes())
    asked = ["mark", str(scan), "none.sgy", "--out", str(tmp_path / "out"), "--no-proposals"]
    done = subprocess.run(
        [sys.executable, "-c", command, *asked, "--workers", "1"],
        env={**os.environ, **ASCII},
        capture_output=True,
        cwd=tmp_path,
        timeout=120,
        check=False,
    )
    assert done.returncode == 2, done.stderr
    said = done.stdout.decode("ascii")
    assert "permittivity 7.0 +- 3.0, provisional" in said
    assert said.startswith(r"Br\xfccke.sgy: no bars")
    assert b"Traceback" not in done.stderr
    assert b"none.sgy: " in done.stderr
