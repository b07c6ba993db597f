"""One thing worth knowing about a study before believing it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields

import pandas as pd

SEVERITIES = ("stop", "warning", "note")


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """A problem or peculiarity of the user's data.

    Parameters
    ----------
    severity
        `stop` (no analysis before this is settled), `warning` (the results may mislead) or `note` (good to know).
    kind
        Short name of the rule that found it, such as `score_outside_scale`.
    where
        Place in the study, such as `scores, row 812: A02, session 2, P4, AF_GREASE`.
    message
        What is wrong, with the value in question.
    advice
        What to do about it.
    """

    severity: str
    kind: str
    where: str
    message: str
    advice: str

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity must be one of {SEVERITIES}, not {self.severity!r}")


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Return the findings as a frame (severity, kind, where, message, advice), the gravest first."""
    ordered = sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))
    columns = [column.name for column in fields(Finding)]
    return pd.DataFrame([astuple(finding) for finding in ordered], columns=columns, dtype="str")
