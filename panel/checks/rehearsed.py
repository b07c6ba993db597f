"""Was this study rehearsed? Then nothing in it is evidence."""

from __future__ import annotations

from panel.checks.finding import Finding
from panel.study.rehearsed import is_rehearsed
from panel.study.study import Study


def check_rehearsed(study: Study) -> list[Finding]:
    """Return a finding if the scores, or some of them, were drawn by a program."""
    if not is_rehearsed(study):
        return []
    return [
        Finding(
            "warning",
            "study_rehearsed",
            "the whole study",
            "This study is a rehearsal: its scores were drawn by a program.",
            "Use it to try things out. It says nothing about the prototypes, and no claim can rest on it.",
        )
    ]
