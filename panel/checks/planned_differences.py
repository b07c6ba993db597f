"""Can the differences that the study says were planned be read?"""

from __future__ import annotations

from panel.checks.finding import Finding
from panel.study.planned_differences import PLANNED_DIFFERENCES, stated_differences
from panel.study.study import Study


def check_planned_differences(study: Study) -> list[Finding]:
    """Return one finding for each planned difference that cannot be read."""
    return [
        Finding("warning", "planned_difference_not_read", f"datapackage.json, {PLANNED_DIFFERENCES}", what, advice)
        for what, advice in stated_differences(study).problems
    ]
