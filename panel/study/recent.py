"""Which studies were open lately? A short list in the user's own folder of settings, never inside a study."""

from __future__ import annotations

import json
import os
import sys
from contextlib import suppress
from pathlib import Path

from panel.study.safe_write import write_file

_MOST_RECENT = 8
_MOST_BYTES = 100_000


def _recent_file() -> Path:
    """Return where the list is kept: the usual place for settings of this computer."""
    if sys.platform == "win32":
        place = os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming"
    elif sys.platform == "darwin":
        place = Path.home() / "Library" / "Application Support"
    else:
        place = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(place) / "afterfeel" / "recent.json"


def recent_studies() -> tuple[Path, ...]:
    """Return the studies that were open lately and are still there, the last one first."""
    return tuple(path for path in map(Path, _listed()) if _is_there(path))


def remember_study(path: str | Path) -> None:
    """Put a study at the head of the list; where no list can be kept there is none, which hurts nobody."""
    with suppress(OSError, ValueError, RuntimeError):
        place = str(Path(path).resolve())
        listed = [place, *(other for other in _listed() if other != place)][:_MOST_RECENT]
        file = _recent_file()
        file.parent.mkdir(parents=True, exist_ok=True)
        write_file(file, json.dumps(listed, ensure_ascii=False, indent=1).encode(), overwrite=True)


def _listed() -> list[str]:
    with suppress(OSError, ValueError, RecursionError):
        file = _recent_file()
        if file.is_file() and file.stat().st_size <= _MOST_BYTES:
            content = json.loads(file.read_bytes())
            return [name for name in content if isinstance(name, str)] if isinstance(content, list) else []
    return []


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False
