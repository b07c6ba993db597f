"""Is a place fit for a file that is written all the time, or does it lie on a network or in a synchronised folder?"""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

_SYNCHRONISED = (
    "onedrive",
    "dropbox",
    "google drive",
    "googledrive",
    "my drive",
    "mobile documents",
    "cloudstorage",
    "icloud",
    "nextcloud",
    "owncloud",
    "pcloud",
    "sharepoint",
)
_NETWORK_SYSTEMS = (
    "nfs",
    "nfs4",
    "cifs",
    "smb",
    "smb2",
    "smb3",
    "smbfs",
    "afpfs",
    "fuse.sshfs",
    "9p",
    "webdav",
    "davfs",
)
_REMOTE_DRIVE = 4  # Windows: what GetDriveType says of a network drive
_ADVICE = (
    "Files that are written by several programs get damaged there. Keep the ballots on a disk of this computer: set "
    "AFTERFEEL_DATABASE_URL to sqlite:///path/ballots.sqlite, or use PostgreSQL."
)


def place_warning(path: str | Path) -> str:
    """Return a sentence if a file at this path lies on a network or in a synchronised folder, else an empty text."""
    path = Path(path).absolute()
    for part in path.parts:
        if any(part.casefold().startswith(name) for name in _SYNCHRONISED):
            return f"{path} lies in the folder {part}, which is copied to other computers. {_ADVICE}"
    if str(path).startswith(("\\\\", "//")) or _on_network_drive(path) or _on_network_mount(path):
        return f"{path} lies on another computer. {_ADVICE}"
    return ""


def _on_network_drive(path: Path) -> bool:
    windows = getattr(ctypes, "windll", None)
    return windows is not None and windows.kernel32.GetDriveTypeW(f"{path.drive}\\") == _REMOTE_DRIVE


def _on_network_mount(path: Path, mounts: Path = Path("/proc/mounts")) -> bool:
    """Return True if the mount that holds the path is of a network kind, where the system lists its mounts."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return False
    kinds = {}
    for line in lines:
        _, place, kind, *_ = [*line.split(" "), "", "", ""]
        kinds[place.replace("\\040", " ")] = kind
    real = Path(os.path.realpath(path))
    holding = next((kinds[str(folder)] for folder in (real, *real.parents) if str(folder) in kinds), "")
    return holding in _NETWORK_SYSTEMS
