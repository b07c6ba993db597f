"""How do files get onto the disk so that a failure, a kill or a second writer leaves them whole?

A write of several files is one write: the new files lie complete in a hidden folder; then one file that names them is
put beside them, and from then on the write counts; then they are moved to their places. Whoever opens the folder next
finishes what was interrupted, or reads the new files from where they lie.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import re
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from panel.errors import StudyError

OWN = ".afterfeel"
"""Hidden folder in a study: who writes just now, and what a write has not yet put in its place."""

_WAIT = 30.0  # seconds a writer waits for another one
_PATIENCE = 30.0  # seconds a reader tries to see one moment
_READERS = 3.0  # seconds a writer waits for somebody who has a file open
_PAUSE = 0.005
_LOCK, _WAITING, _SPARE = "lock", "waiting.json", "waiting.json.new"
_TICKET = "ticket."
_OWNER, _GROUP, _ANYBODY = 0o600, 0o660, 0o666  # who may read a file; on Windows its folder decides that
_OPEN_ELSEWHERE = (5, 32, 33)  # ERROR_ACCESS_DENIED, _SHARING_VIOLATION, _LOCK_VIOLATION (learn.microsoft.com)
_OLD_LEFTOVERS = ".writing.*.tmp"  # what earlier versions left behind when they were killed


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A write that counts and may not be in its places yet: where its files lie, which they are, which go away."""

    new: str
    files: tuple[str, ...]
    gone: tuple[str, ...]


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """Raise StudyError if a file is there already and may not be replaced; to be asked before long work."""
    if path.exists() and not overwrite:
        raise StudyError(f"{path} is there already; choose another name or say that it may be replaced.")


def write_file(path: Path, content: bytes, *, overwrite: bool = False, private: bool = False) -> None:
    """Write one file whole or not at all; a `private` one may be read by its owner only.

    Raises
    ------
    StudyError
        If the file is there already and `overwrite` is not set, or if it cannot be written.
    """
    spare = path.with_name(f".{path.name}.{secrets.token_hex(4)}.tmp")
    try:
        refuse_existing(path, overwrite=overwrite)
        _write(spare, content, _OWNER if private else _ANYBODY)
        os.replace(spare, path)
    except (OSError, ValueError) as error:
        raise StudyError(f"{path} cannot be written: {error}.") from error
    finally:
        with suppress(OSError):
            spare.unlink(missing_ok=True)


def place_inside(folder: Path, path: str) -> Path:
    """Return the place of a file of a folder; StudyError if a link leads out of it."""
    place = folder / path
    if not place.resolve().is_relative_to(folder.resolve()):
        raise StudyError(f"{place} is a link that leads out of the study; nothing was read or written.")
    return place


@contextmanager
def one_writer(folder: Path, wait: float = _WAIT) -> Iterator[None]:
    """Keep every other writer, in this process or another, out of a folder; finish first what was interrupted.

    The operating system gives the lock back when its process ends, however that happens.

    Raises
    ------
    StudyError
        If another program holds the folder for longer than `wait` seconds, or nothing can be written into it.
    """
    held = _locked(folder, wait)
    try:
        _finish(folder)
        yield
    finally:
        _unlock(folder, held)


def finish_interrupted(folder: Path) -> None:
    """Finish a write that was interrupted, if nobody is writing and the folder can be written into."""
    if (folder / OWN).exists() or any(folder.glob(_OLD_LEFTOVERS)):
        with suppress(StudyError), one_writer(folder, wait=0.0):
            pass


def replace_files(folder: Path, files: Mapping[str, bytes], gone: Iterable[str] = ()) -> None:
    """Replace files of a folder and remove the `gone` ones, all or none; the caller is its `one_writer`.

    Every new file is complete on the disk before the first old one is touched. Other files stay.

    Raises
    ------
    StudyError
        If the files cannot be written; the text says what is in the folder then.
    """
    gone = [path for path in gone if path not in files and (folder / path).exists()]
    try:
        before = {path: _content(place_inside(folder, path)) for path in [*files, *gone]}
        waiting = _commit(folder, files, gone)
    except OSError as error:
        _clear(folder)
        raise StudyError(f"{folder} cannot be written, nothing was changed: {_why(error)}.") from error
    try:
        _move(folder, waiting)
    except OSError as error:
        _put_back(folder, before)
        _clear(folder)
        raise StudyError(f"{folder} cannot be written, nothing was changed: {_why(error)}.") from error


def files_at_one_moment(
    folder: Path, first: str, others: Callable[[bytes], Iterable[str]], most_bytes: int
) -> dict[str, bytes | None]:
    """Return files by their path as they were at one moment, never some from before a write and some from after it.

    The content of the file `first` tells the paths of the `others`; None where there is no file. One larger than
    `most_bytes` is refused.
    """
    finish_interrupted(folder)
    until = time.monotonic() + _PATIENCE
    while time.monotonic() < until:
        waiting = _waiting(folder)
        stamps: dict[Path, tuple[int, ...]] = {}
        try:
            content = _read_stamped(folder, first, waiting, most_bytes, stamps)
            files = {first: content}
            for path in others(content) if content is not None else ():
                files[path] = _read_stamped(folder, path, waiting, most_bytes, stamps)
            # no write is half way now, and no file has changed since it was read: this is what the folder holds now
            if _waiting(folder) == waiting and all(_stamp(place) == stamp for place, stamp in stamps.items()):
                return files
        except FileNotFoundError:  # moved to its place between looking and reading
            pass
        time.sleep(_PAUSE)
    raise StudyError(f"{folder} is being written all the time and cannot be read; try again in a moment.")


def _read_stamped(
    folder: Path, path: str, waiting: _Waiting | None, most_bytes: int, stamps: dict[Path, tuple[int, ...]]
) -> bytes | None:
    """Return the content of a file, from where an unfinished write left it; note what it was like when it was read."""
    place = place_inside(folder, path)
    if waiting is not None and path in waiting.gone:
        return None
    if waiting is not None and path in waiting.files:
        staged = place_inside(folder, f"{OWN}/{waiting.new}/{path}")
        place = staged if staged.exists() else place
    stamps[place] = _stamp(place)
    if not stamps[place]:
        return None
    if not place.is_file():
        if not place.exists():
            raise FileNotFoundError(place)
        raise StudyError(f"{place} is not a file; nothing was read.")
    if place.stat().st_size > most_bytes:
        raise StudyError(f"{place} is larger than {most_bytes} bytes; split the study.")
    return place.read_bytes()


def _stamp(place: Path) -> tuple[int, ...]:
    """Return what changes when a file is replaced; empty if there is no file."""
    try:
        fact = place.stat()
    except (FileNotFoundError, NotADirectoryError):
        return ()
    return fact.st_ino, fact.st_mtime_ns, fact.st_size


def _locked(folder: Path, wait: float) -> int:
    """Return the open lock of a folder once it is ours; those who wait are served in the order in which they came."""
    place = place_inside(folder, f"{OWN}/{_LOCK}")
    until = time.monotonic() + wait
    with ExitStack() as queue:
        ticket = ""
        while True:
            held = None
            try:
                place.parent.mkdir(exist_ok=True)
                ahead = _ahead(place.parent, ticket)
                if not ahead:
                    held = os.open(place, os.O_RDWR | os.O_CREAT, 0o666)
                    if _lock_now(held) and os.path.samestat(os.fstat(held), place.stat()):
                        return held
                if wait and not ticket:
                    ticket = queue.enter_context(_ticket(place.parent))
            except FileNotFoundError as error:  # whoever wrote before has just cleared up
                if not folder.is_dir():
                    raise StudyError(f"There is no folder {folder}.") from error
            except OSError as error:
                if not _may_pass(error, place) or time.monotonic() >= until:
                    if held is not None:
                        os.close(held)
                    raise StudyError(f"{folder} cannot be written, nothing was changed: {_why(error)}.") from error
            if held is not None:
                os.close(held)
            if time.monotonic() >= until:
                raise StudyError(f"{folder} is being written by another program; try again in a moment.")
            time.sleep(_PAUSE)


@contextmanager
def _ticket(own: Path) -> Iterator[str]:
    """Stand in the queue of those who wait for a folder: a file whose name says since when, held open meanwhile."""
    place = own / f"{_TICKET}{time.time_ns():020d}.{secrets.token_hex(4)}"
    held = os.open(place, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        _lock_now(held)
        yield place.name
    finally:
        _drop(place, held)


def _ahead(own: Path, ticket: str) -> bool:
    """Return True if somebody who is still there has waited for longer; those who died are taken out of the queue."""
    for place in sorted(own.glob(f"{_TICKET}*")):
        if ticket and place.name >= ticket:
            return False
        try:
            held = os.open(place, os.O_RDWR)
        except OSError:  # its turn has come, or its time is over
            continue
        if not _lock_now(held):
            os.close(held)
            return True
        _drop(place, held)
    return False


if sys.platform == "win32":
    import msvcrt

    def _lock_now(held: int) -> bool:
        try:
            msvcrt.locking(held, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno not in (errno.EACCES, errno.EDEADLK):
                raise
            return False
        return True

else:
    import fcntl

    def _lock_now(held: int) -> bool:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


def _unlock(folder: Path, held: int) -> None:
    """Give the lock back and leave nothing behind."""
    _drop(folder / OWN / _LOCK, held)
    with suppress(OSError):
        (folder / OWN).rmdir()


def _drop(place: Path, held: int) -> None:
    """Remove a file that was held locked; on Windows one that is open cannot be removed."""
    try:
        if sys.platform != "win32":
            with suppress(OSError):
                place.unlink()
    finally:
        os.close(held)
    if sys.platform == "win32":
        with suppress(OSError):
            place.unlink()


def _finish(folder: Path) -> None:
    """Put a write that counts in its places, and clear away what one that does not count left behind."""
    try:
        waiting = _waiting(folder)
        if waiting is not None:
            _move(folder, waiting)
    except OSError as error:
        raise StudyError(f"An interrupted write into {folder} cannot be finished: {error}.") from error
    _clear(folder)


def _clear(folder: Path) -> None:
    """Remove what a write left that does not count: first the file that would make it count."""
    _remove(folder / OWN / _WAITING)
    left = [place for place in (folder / OWN).iterdir() if place.name != _LOCK and place.name[:7] != _TICKET]
    for place in [*left, *folder.glob(_OLD_LEFTOVERS)]:
        _remove(place)


def _remove(place: Path) -> None:
    with suppress(OSError):
        if place.is_dir() and not place.is_symlink():
            shutil.rmtree(place)
        else:
            place.unlink(missing_ok=True)


def _waiting(folder: Path) -> _Waiting | None:
    """Return the write that counts and may not be in its places yet, if there is one."""
    place = place_inside(folder, f"{OWN}/{_WAITING}")
    try:
        said: Any = json.loads(place.read_bytes())
        waiting = _Waiting(str(said["new"]), tuple(map(str, said["files"])), tuple(map(str, said["gone"])))
    except FileNotFoundError:
        return None
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise StudyError(f"{place} is damaged; delete the folder {place.parent} and look at the study.") from error
    for path in (*waiting.files, *waiting.gone):
        place_inside(folder, path)
        place_inside(folder / OWN, f"{waiting.new}/{path}")
    return waiting


def _commit(folder: Path, files: Mapping[str, bytes], gone: Iterable[str]) -> _Waiting:
    """Write new files beside the old ones, then the file that names them; with that the write counts."""
    own = folder / OWN
    waiting = _Waiting(f"new.{secrets.token_hex(4)}", tuple(files), tuple(gone))
    new = own / waiting.new
    new.mkdir()
    mode = _mode_in(folder)
    for path, content in files.items():
        _folders(new, path, mode)
        _write(new / path, content, mode)
    for place in {(new / path).parent for path in files} | {new}:
        _sync(place)
    with suppress(FileNotFoundError):
        (own / _SPARE).unlink()
    _write(own / _SPARE, json.dumps(asdict(waiting)).encode(), mode)
    os.replace(own / _SPARE, own / _WAITING)
    _sync(own)
    return waiting


def _move(folder: Path, waiting: _Waiting) -> None:
    """Put the files of a write in their places; those that are there already are left alone."""
    new = folder / OWN / waiting.new
    for path in waiting.files:
        if (new / path).exists():
            _folders(folder, path, _mode_in(folder))
            _replace(new / path, folder / path)
    for path in waiting.gone:
        (folder / path).unlink(missing_ok=True)
    for place in {(folder / path).parent for path in (*waiting.files, *waiting.gone)}:
        _sync(place)
    (folder / OWN / _WAITING).unlink()
    shutil.rmtree(new, ignore_errors=True)


def _replace(new: Path, place: Path) -> None:
    """Move a file over another one; on Windows somebody who just reads that one is waited for."""
    until = time.monotonic() + _READERS
    while True:
        try:
            os.replace(new, place)
        except OSError as error:
            if not _may_pass(error, place) or time.monotonic() >= until:
                raise
            time.sleep(_PAUSE)
        else:
            return


def _why(error: OSError) -> str:
    """Return why a file could not be written; Windows says of an open file only that access is denied."""
    if getattr(error, "winerror", None) in _OPEN_ELSEWHERE:
        name = Path(str(error.filename2 or error.filename)).name
        return f"{name} is open in another program, such as a spreadsheet; close it there, then try again"
    return str(error)


def _may_pass(error: OSError, place: Path) -> bool:
    """Return True where a folder was cleared between looking and making, or a file on Windows is open elsewhere."""
    cleared = isinstance(error, FileExistsError) and not place.parent.is_file()
    return cleared or (sys.platform == "win32" and isinstance(error, PermissionError))


def _put_back(folder: Path, before: Mapping[str, bytes | None]) -> None:
    """Make the files what they were before a write that could not be put in its places; again as one write."""
    try:
        changed = {path: old for path, old in before.items() if _content(folder / path) != old}
        old = {path: content for path, content in changed.items() if content is not None}
        _move(folder, _commit(folder, old, [path for path in changed if path not in old]))
    except OSError as error:
        raise StudyError(
            f"The change is written, but not every file of {folder} could be put in its place: {error}. Close the "
            "programs that have one of them open, then open the study again."
        ) from error


def _content(place: Path) -> bytes | None:
    return place.read_bytes() if place.exists() else None


def make_folder(folder: Path) -> None:
    """Make the folder of a study, with the folders above it, if it is not there; only its owner may look into it."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.mkdir(_searched(_mode_in(folder.parent)), exist_ok=True)


def _searched(mode: int) -> int:
    """Return the mode of a folder into which those may look who may read a file of a mode."""
    return mode | (mode & 0o440) >> 2


def _mode_in(folder: Path) -> int:
    """Return who may read what is written into a study: it tells of people's skin, so its owner only.

    A folder with the set-group-id bit is one that its owner means to share with a group.
    """
    return _GROUP if folder.stat().st_mode & stat.S_ISGID else _OWNER


def _folders(folder: Path, path: str, mode: int) -> None:
    """Make the folders between a folder and a file in it; only who may read the file may look into them."""
    for place in reversed((folder / path).parents[: len(Path(path).parts) - 1]):
        place.mkdir(_searched(mode), exist_ok=True)


def _write(path: Path, content: bytes, mode: int) -> None:
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder: Path) -> None:
    """Have the names in a folder on the disk too, where the system lets a folder be opened."""
    if sys.platform == "win32" or not folder.is_dir():
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some file systems know no such thing
            raise
    finally:
        os.close(opened)


# Is a place fit for a file that is written all the time, or does it lie on a network or in a synchronised folder?


_SYNCHRONISED = re.compile(
    "onedrive|dropbox|google ?drive|my drive|mobile documents|cloudstorage|icloud|nextcloud|owncloud|pcloud|sharepoint"
)
_NETWORK_SYSTEMS = re.compile(r"nfs4?|cifs|smb(?:[23]|fs)?|afpfs|fuse\.sshfs|9p|webdav|davfs")
_REMOTE_DRIVE = 4  # Windows: what GetDriveType says of a network drive
_ADVICE = (
    "Files that are written by several programs get damaged there. Keep the ballots on a disk of this computer: set "
    "AFTERFEEL_DATABASE_URL to sqlite:///path/ballots.sqlite, or use PostgreSQL."
)


def place_warning(path: str | Path) -> str:
    """Return a sentence if a file at this path lies on a network or in a synchronised folder, else an empty text."""
    path = Path(path).absolute()
    for part in path.parts:
        if _SYNCHRONISED.match(part.casefold()):
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
    return _NETWORK_SYSTEMS.fullmatch(holding) is not None


# What is a file? By the ending of its name alone: what a computer has been told of endings differs.


def media_type(file_name: str) -> str:
    """Return the media type (IANA) of a file by its ending; that of any bytes where it is none of ours."""
    office = "application/vnd.openxmlformats-officedocument."
    kinds = {
        **{".csv": "text/csv", ".html": "text/html", ".txt": "text/plain"},
        **{".json": "application/json", ".pdf": "application/pdf", ".zip": "application/zip"},
        **{".svg": "image/svg+xml", ".png": "image/png"},
        **{".docx": f"{office}wordprocessingml.document", ".xlsx": f"{office}spreadsheetml.sheet"},
    }
    return kinds.get(PurePosixPath(file_name).suffix.lower(), "application/octet-stream")
