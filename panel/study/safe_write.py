"""How do files get onto the disk so that a failure leaves what was there?"""

from __future__ import annotations

import ctypes
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from panel.errors import StudyError


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """Raise StudyError if a file is there already and may not be replaced; to be asked before long work."""
    if path.exists() and not overwrite:
        raise StudyError(f"{path} is there already; choose another name or say that it may be replaced.")


def write_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write one file whole or not at all.

    Raises
    ------
    StudyError
        If the file is there already and `overwrite` is not set, or if it cannot be written.
    """
    spare = path.with_name(f".{path.name}.{secrets.token_hex(4)}.tmp")
    try:
        refuse_existing(path, overwrite=overwrite)
        _write(spare, content)
        os.replace(spare, path)
    except (OSError, ValueError) as error:
        raise StudyError(f"{path} cannot be written: {error}.") from error
    finally:
        _try_unlink(spare)


def write_new_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder beside the place they are meant for, then give it its name.

    Raises
    ------
    StudyError
        If a folder with something in it has that name, or the files cannot be written.
    """
    try:
        with _spare_folder(folder.parent, folder.name) as spare:
            new = spare / "new"
            _write_all(new, files)
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()
            os.rename(new, folder)
    except OSError as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error


def replace_files(folder: Path, files: Mapping[str, bytes], leftover: Iterable[str] = ()) -> None:
    """Replace files of a folder and remove `leftover` ones; if anything fails all are as they were before.

    Every new file is complete on the disk before the first old one is touched. Other files stay.

    Raises
    ------
    StudyError
        If the files cannot be written.
    """
    gone = [path for path in leftover if path not in files and (folder / path).exists()]
    try:
        with _spare_folder(folder, "writing") as spare:
            _write_all(spare / "new", files)
            for path in [*files, *gone]:
                if (folder / path).exists():
                    (spare / "old" / path).parent.mkdir(parents=True, exist_ok=True)
                    shutil.copy2(folder / path, spare / "old" / path)
            _exchange(folder, spare, list(files), gone)
    except OSError as error:
        raise StudyError(f"{folder} cannot be written, nothing was changed: {error}.") from error


def _exchange(folder: Path, spare: Path, paths: list[str], gone: list[str]) -> None:
    """Move the new files into place one after the other; on a failure move the old ones back."""
    touched = []
    try:
        for path in paths:
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            touched.append(path)
            os.replace(spare / "new" / path, folder / path)
        for path in gone:
            touched.append(path)
            (folder / path).unlink()
    except OSError:
        for path in touched:
            old = spare / "old" / path
            if old.exists():
                os.replace(old, folder / path)
            else:
                _try_unlink(folder / path)
        raise


@contextmanager
def _spare_folder(parent: Path, name: str) -> Iterator[Path]:
    spare = parent / f".{name}.{secrets.token_hex(4)}.tmp"
    spare.mkdir()
    try:
        yield spare
    finally:
        shutil.rmtree(spare, ignore_errors=True)


def _write_all(folder: Path, files: Mapping[str, bytes]) -> None:
    folder.mkdir(exist_ok=True)
    for path, content in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        _write(folder / path, content)


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _try_unlink(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return


# Is a place fit for a file that is written all the time, or does it lie on a network or in a synchronised folder?


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
