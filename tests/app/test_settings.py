"""What is remembered between runs: whole when it is good, one by one when it is not."""

import json
from dataclasses import asdict, fields
from pathlib import Path

import pytest

from depthwright_app import settings
from depthwright_app.settings import MOST_RECENT, Settings

GOOD = Settings(recent=("/a.dwjob", "/b.sgy"), appearance="dark", unit="in", folder="/somewhere")


def test_what_was_saved_is_loaded(tmp_path):
    path = tmp_path / "deep" / "settings.json"
    settings.save(path, GOOD)
    assert settings.load(path) == GOOD


@pytest.mark.parametrize(
    ("name", "bad"),
    [
        ("recent", "one"),
        ("recent", [1, 2]),
        ("recent", None),
        ("appearance", "pink"),
        ("appearance", 3),
        ("appearance", ["dark"]),
        ("unit", "furlong"),
        ("unit", None),
        ("unit", {"mm": 1}),
        ("folder", 7),
        ("folder", None),
    ],
)
def test_a_bad_value_falls_back_alone(tmp_path, name, bad):
    path = tmp_path / "settings.json"
    path.write_text(json.dumps({**asdict(GOOD), name: bad}))
    loaded = settings.load(path)
    assert getattr(loaded, name) == getattr(Settings(), name)
    for other in fields(Settings):
        if other.name != name:
            assert getattr(loaded, other.name) == getattr(GOOD, other.name)


@pytest.mark.parametrize("text", ["", "{", "[]", "7", "null", '"words"', "\ufffd"])
def test_an_unreadable_record_gives_the_defaults_and_stays(tmp_path, text):
    path = tmp_path / "settings.json"
    path.write_text(text)
    assert settings.load(path) == Settings()
    assert path.read_text() == text


def test_a_record_of_other_bytes_gives_the_defaults(tmp_path):
    path = tmp_path / "settings.json"
    path.write_bytes(b"\xff\xfe\x00\x01")
    assert settings.load(path) == Settings()


def test_a_missing_record_gives_the_defaults(tmp_path):
    assert settings.load(tmp_path / "none.json") == Settings()


def test_values_of_another_version_are_left_out(tmp_path):
    path = tmp_path / "settings.json"
    path.write_text(json.dumps({**asdict(GOOD), "later": True}))
    assert settings.load(path) == GOOD


def test_a_record_that_cannot_be_written_stops_nobody(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    settings.save(blocked / "settings.json", GOOD)
    assert blocked.read_text() == ""


def test_the_file_opened_last_stands_first_and_once():
    opened = Settings()
    for number in range(MOST_RECENT + 3):
        opened = opened.opened(Path(f"/jobs/{number}.dwjob"))
    opened = opened.opened(Path("/others/5.sgy")).opened(Path(f"/jobs/{MOST_RECENT}.dwjob"))
    assert opened.recent[:2] == (f"/jobs/{MOST_RECENT}.dwjob", "/others/5.sgy")
    assert len(opened.recent) == MOST_RECENT
    assert len(set(opened.recent)) == MOST_RECENT
    assert opened.folder == "/jobs"


def test_the_record_lies_in_the_users_own_folder(tmp_path):
    assert tmp_path in settings.settings_path().parents


def test_a_window_remembers_its_choices(hand, demo, tmp_path):
    hand.trigger("appearance")
    stored = settings.load(tmp_path / "settings.json")
    assert stored.appearance == "light"
    assert stored.recent == (str(demo),)
    hand.window.recent.aboutToShow.emit()
    assert [entry.text() for entry in hand.window.recent.actions()] == [str(demo)]
