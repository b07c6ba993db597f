"""Are the files a study was imported from still what they were?"""

from __future__ import annotations

from panel.checks.finding import Finding
from panel.study.raw_table import changed_raw_files
from panel.study.study import Study


def check_raw_files(study: Study) -> list[Finding]:
    """Return a finding for each imported file that is missing or no longer has its recorded SHA-256."""
    return [
        Finding(
            "warning",
            "raw_file_changed",
            f"raw files, {name}",
            f"{name} is missing, or is not the file that was imported: its SHA-256 is another one.",
            "Put the file back as it was. The scores of the study are unchanged, but they can no longer be followed "
            "back to it.",
        )
        for name in changed_raw_files(study.raw_files)
    ]
