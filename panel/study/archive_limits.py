"""May this zip archive (a zipped study, a workbook) be opened? Checked before anything in it is unpacked."""

from __future__ import annotations

import copy
import io
import lzma
import struct
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from pathlib import PurePosixPath

from panel.errors import StudyError

_MAX_MEMBERS = 2_000
MAX_UNPACKED = 200_000_000  # bytes; ten times the largest file that may be imported

_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    OSError,
    EOFError,
    RuntimeError,  # zipfile raises it for an encrypted member
    NotImplementedError,  # and this for a way of packing it does not know
    ValueError,
    IndexError,
    OverflowError,
)
_PIECE = 1 << 18  # bytes unpacked at a time
_WAYS_OF_PACKING = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # those that Python can unpack in pieces
_ENTRY = b"PK\x01\x02"  # begins the entry of each file in the list at the end of an archive
_ENCRYPTED = 0x1
_LINK, _KIND = 0o120000, 0o170000


def stays_inside(name: str) -> bool:
    """Return True if a path out of a file stays below the folder it is meant for, on any operating system."""
    if not name or "\\" in name or ":" in name or any(ord(sign) < 32 for sign in name):
        return False
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts


def open_archive(content: bytes, name: str, max_unpacked: int = MAX_UNPACKED) -> zipfile.ZipFile:
    """Open a zip archive held in memory, having looked at what it claims to hold.

    Parameters
    ----------
    content
        The bytes of the archive.
    name
        Its name, for messages.
    max_unpacked
        Most bytes that all its files together may have.

    Raises
    ------
    StudyError
        If it is no zip archive, is encrypted, is packed in an unusual way, holds too much, or a name in it leads
        out of its folder.
    """
    if (entries := content.count(_ENTRY)) > 10 * _MAX_MEMBERS:  # before they are listed, for the list takes memory
        raise StudyError(f"{name} holds {entries} files; at most {_MAX_MEMBERS} are read.")
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = archive.infolist()
    except _BROKEN as error:
        raise StudyError(f"{name} is not a whole zip archive or workbook; save it again and retry.") from error
    if len(members) > _MAX_MEMBERS:
        raise StudyError(f"{name} holds {len(members)} files; at most {_MAX_MEMBERS} are read.")
    unpacked = sum(member.file_size for member in members)
    if unpacked > max_unpacked:
        raise StudyError(f"{name} would unpack to {unpacked} bytes; at most {max_unpacked} are read.")
    for member in members:
        if not stays_inside(member.filename) or (member.external_attr >> 16) & _KIND == _LINK:
            raise StudyError(f"{name} holds {member.filename!r}, which leads out of it; nothing was read.")
        if member.flag_bits & _ENCRYPTED:
            raise StudyError(f"{name} is protected by a password; save it without one.")
        if member.compress_type not in _WAYS_OF_PACKING:
            raise StudyError(f"{name} holds {member.filename!r} packed in an unusual way; pack it as an ordinary zip.")
    repeated = [member for member, times in Counter(archive.namelist()).items() if times > 1]
    if repeated:
        raise StudyError(f"{name} holds {repeated[0]!r} more than once; pack it again.")
    return archive


def read_member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    """Return one file of an archive, exactly as many bytes as it declares; StudyError as for `member_pieces`."""
    return b"".join(member_pieces(archive, member, name))


def member_pieces(archive: zipfile.ZipFile, member: str, name: str) -> Iterator[bytes]:
    """Yield one file of an archive in pieces of at most 256 kB, so that no more is in memory than was asked for.

    Raises
    ------
    StudyError
        If the file is damaged or is not as long as the archive says; never more than one piece too late.
    """
    try:
        declared = archive.getinfo(member)
        # One byte more is asked for than is declared, else a file that goes on would look as if it ended there.
        asked = copy.copy(declared)
        asked.file_size += 1
        length = 0
        with archive.open(asked) as stream:
            while piece := stream.read(_PIECE):
                length += len(piece)
                if length > declared.file_size:
                    break
                yield piece
        if length == declared.file_size:
            return
    except _BROKEN as error:
        raise StudyError(f"{member!r} in {name} is damaged; pack or save the file again.") from error
    raise StudyError(f"{member!r} in {name} is damaged: it is not as long as it says; pack or save the file again.")
