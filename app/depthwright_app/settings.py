"""What the program remembers between runs: a frozen record in a small JSON file.

Bad values fall back one by one; an unreadable file is left where it is and replaced on the next
change.
"""

import json
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal

import platformdirs

from depthwright.units import LENGTH_UNITS, LengthUnit

Appearance = Literal["system", "light", "dark"]
MOST_RECENT = 8


@dataclass(frozen=True)
class Settings:
    """Remembered choices."""

    recent: tuple[str, ...] = ()
    appearance: Appearance = "system"
    unit: LengthUnit = "mm"
    folder: str = ""
    cards: tuple[str, ...] = ()

    def opened(self, path: Path) -> "Settings":
        """With a file put on top of the recent ones, and its folder remembered."""
        return replace(self, recent=_on_top(path, self.recent), folder=str(path.parent))

    def with_card(self, path: Path) -> "Settings":
        """With an antenna card put on top of those used lately."""
        return replace(self, cards=_on_top(path, self.cards))


def _on_top(path: Path, others: tuple[str, ...]) -> tuple[str, ...]:
    text = str(path)
    return (text, *(other for other in others if other != text))[:MOST_RECENT]


def settings_path() -> Path:
    """Where the record lies in the user's own configuration folder."""
    return Path(platformdirs.user_config_dir("depthwright", appauthor=False)) / "settings.json"


def load(path: Path) -> Settings:
    """Read the record; whatever cannot be used falls back."""
    try:
        stored = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return Settings()
    if not isinstance(stored, dict):
        return Settings()
    good = {f.name: stored[f.name] for f in fields(Settings) if _usable(f.name, stored.get(f.name))}
    for name in ("recent", "cards"):
        if name in good:
            good[name] = tuple(good[name])[:MOST_RECENT]
    return Settings(**good)


def save(path: Path, settings: Settings) -> None:
    """Write the record; a folder that cannot be written to is no reason to stop working."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(asdict(settings), indent=1), "utf-8")
    except OSError:
        return


def _usable(name: str, value: Any) -> bool:
    if name in ("recent", "cards"):
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    if name == "appearance":
        return value in ("system", "light", "dark")
    if name == "unit":
        return value in LENGTH_UNITS
    return isinstance(value, str)
