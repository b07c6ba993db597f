"""Files packed into one zip, the same bytes whenever and wherever it is done."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

# The time of writing would make two archives of one study differ; this is the earliest time a zip can hold.
_WRITTEN_AT = (1980, 1, 1, 0, 0, 0)
_READABLE_BY_ALL = 0o644 << 16
_UNIX = 3  # zipfile writes the system it runs on


def zip_of_files(files: Mapping[str, bytes]) -> bytes:
    """Return a zip of files, path to content, in the order given."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files.items():
            member = zipfile.ZipInfo(path, _WRITTEN_AT)
            member.compress_type, member.external_attr = zipfile.ZIP_DEFLATED, _READABLE_BY_ALL
            member.create_system = _UNIX
            archive.writestr(member, data)
    return content.getvalue()
