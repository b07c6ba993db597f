"""The evidence file of a study: a summary, then the parts of the checklist in order, each there or its gap named."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

import panel
from panel.answers import DECISION, Answers, NoAnswer
from panel.errors import StudyError
from panel.models.decision.decide import decisions_so_far, first_changed_decision
from panel.report.archive import archive_bytes
from panel.report.contents import part_claims, part_study
from panel.report.contents.blocks import Block, Report, Section, TextTable, fact, not_there, said, told_blocks
from panel.report.contents.case import as_annex, claim_pages, protocol, summary
from panel.report.contents.part_results import analysis, tables_of
from panel.report.contents.part_study import consumers_only, last_score
from panel.study.facts import FOR_REVIEW
from panel.study.knowledge import shared_table
from panel.study.safe_write import refuse_existing, write_file
from panel.study.study import Study
from panel.views.assessors.people import tell_people
from panel.views.consumers.liking import tell_liking
from panel.views.decision.claims import recorded_table
from panel.views.decision.decide import tell_decision
from panel.views.emollients.ladder import tell_ladder
from panel.views.planning.study import mark
from panel.views.prototypes.differences import tell_differences
from panel.views.told import Told


def evidence_report(study: Study, *, rng_seed: int = 1, made_on: str = "") -> Report:
    """Return the evidence file of a study, before it is written in any form.

    Every result is computed once. Pictures are drawn when a writer asks for them.

    Parameters
    ----------
    rng_seed
        Seed of everything that is drawn; it stands in the file.
    made_on
        The day that stands as the day of making (ISO 8601); today by default.
    """
    return report_of(Answers(study, rng_seed), made_on=made_on)


def report_of(answers: Answers, *, made_on: str = "") -> Report:
    """Return the evidence file made of answers; the same answers and day, which has to be one, give the same file."""
    study, day = answers.study, _day(made_on)
    version, sections, claims = f"Afterfeel {panel.__version__}", _sections(answers), claim_pages(answers)
    found = _key_answers(answers)
    case = summary(answers, sections, found, made_on=day, version=version, mark=mark(study))
    return Report(
        title=fact(study, "title") or "Study without a title",
        mark=mark(study),
        data_as_of=last_score(study),
        made_on=day,
        data_hash=answers.study.content_hash,
        version=version,
        summary=case,
        claims=claims,
        sections=as_annex(answers, (case,), sections),
    )


def mended_at(part: str, gap: str) -> tuple[str, str]:
    """Return what to open in the app to mend a gap of a part, empty where nothing does, and the command for it."""
    for name, (_, words) in FOR_REVIEW.items():
        if words == gap:
            return "facts", f"afterfeel set STUDY {name} VALUE"
    rows = shared_table("gap_places")
    fits = [row["part"] in ("", part) and row["says"] in gap for row in rows.to_dict("records")]
    row = rows.loc[fits].iloc[0]
    return str(row["open"]), str(row["command"])


def _day(made_on: str) -> str:
    if not made_on:
        return date.today().isoformat()
    try:
        return date.fromisoformat(made_on).isoformat()
    except ValueError:
        raise StudyError(f"{made_on!r} is no day. Give the day the file is made as YEAR-MONTH-DAY.") from None


def _sections(answers: Answers) -> tuple[Section, ...]:
    return (
        part_claims.claim_sheet(answers),
        part_claims.evidence_of_claims(answers),
        part_study.product(answers),
        part_study.safety(answers),
        protocol(answers),
        part_study.who_judged(answers),
        part_study.blinding(answers),
        part_study.ballot(answers),
        part_study.raw_data(answers),
        analysis(answers),
        part_study.references(answers),
        part_claims.limits(answers, part_study.days_told(answers.study)),
        part_claims.wording(answers),
        part_claims.sign_offs(answers),
        part_claims.expiry(answers),
        _decision(answers),
    )


_DECIDED = {
    "date": "Date",
    "chosen": "Chosen",
    "runner_up": "Next",
    "reason": "Reason",
    "not_established": "Not established",
    "who": "Who",
    "role": "Role",
    "data_hash": "SHA-256 of the data",
}


def _decision(answers: Answers) -> Section:
    """Return what was decided, by whom and when, and how the prototypes stand against the target profile."""
    recorded, found = decisions_so_far(answers.study), answers.decision
    none = said("gap", "No decision is recorded in this study.")
    blocks: list[Block] = [none] if recorded.empty else _decided(recorded)
    blocks += [said("subheading", "The prototypes against the target profile")]
    if isinstance(found, NoAnswer):
        return Section("16", "Decision record", (*blocks, not_there(found)))
    blocks += [said("caution", "People decide. What follows is what the evidence says about the choice.")]
    blocks += told_blocks(answers.tell(tell_decision, found), *tables_of(answers, DECISION))
    return Section("16", "Decision record", tuple(blocks))


def write_archive(
    study: Study, path: str | Path, *, overwrite: bool = False, rng_seed: int = 1, made_on: str = ""
) -> str:
    """Write the archive of a study, whole or not at all, and return its SHA-256.

    `made_on` stands as the day of making (ISO 8601); today by default. StudyError if the file is there already and
    `overwrite` is not set, or it cannot be written.
    """
    refuse_existing(Path(path), overwrite=overwrite)
    answers = Answers(study, rng_seed)
    content = archive_bytes(answers, report_of(answers, made_on=made_on))
    write_file(Path(path), content, overwrite=overwrite)
    return hashlib.sha256(content).hexdigest()


def _decided(recorded: pd.DataFrame) -> list[Block]:
    blocks: list[Block] = [TextTable("Decisions, in the order they were made", recorded_table(recorded, _DECIDED))]
    broken = first_changed_decision(recorded)
    if broken is not None:
        blocks.append(said("gap", f"Decision {broken + 1} was changed after it was written, or one before it is gone."))
    changed = said("gap", "The study was changed after the last decision: it was taken on other data than these.")
    return blocks if bool(recorded["same_data"].iloc[-1]) else [*blocks, changed]


def _key_answers(answers: Answers) -> list[tuple[str, str]]:
    found, lines = answers.differences, []
    if isinstance(found, NoAnswer) and not consumers_only(answers.study):
        lines.append(("What differs", found.why))
    asked: tuple[tuple[str, Any, Callable[..., Told]], ...] = (
        ("What differs", found, tell_differences),
        ("Assessors", answers.panel, tell_people),
        ("Emollients", answers.ladder, tell_ladder),
        ("Liking", answers.liking, tell_liking),
        ("Nearest to the target", answers.decision, tell_decision),
    )
    told = [(title, answers.tell(tell, own).headline) for title, own, tell in asked if not isinstance(own, NoAnswer)]
    return [*lines, *told]
