"""May this study be trusted? All checks together."""

from __future__ import annotations

from panel.checks.batches import check_batches
from panel.checks.finding import SEVERITIES, Finding
from panel.checks.formulas import check_formulas
from panel.checks.planned_differences import check_planned_differences
from panel.checks.raw_files import check_raw_files
from panel.checks.rehearsed import check_rehearsed
from panel.checks.scores import check_scores
from panel.checks.sound_study import sound_study
from panel.checks.structure import check_structure
from panel.study.study import Study


def check_study(study: Study) -> tuple[Finding, ...]:
    """Return everything worth knowing before believing the study, the gravest first.

    Within one severity the order is rehearsal, structure, formulas, batches, scores,
    planned differences. The same study gives the same findings
    in the same order. Nothing is repaired, and no content of the tables makes it raise.
    """
    sound = sound_study(study)
    findings = [
        *check_rehearsed(study),
        *check_structure(study, sound),
        *check_raw_files(study),
        *check_formulas(sound),
        *check_batches(sound),
        *check_scores(sound),
        *check_planned_differences(sound),
    ]
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))
