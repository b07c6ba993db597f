"""Which footnote belongs under the sentence? Only what is recorded; what is not recorded is named as a gap."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence
from panel.claims.evidence_answers import ANSWERS
from panel.claims.evidence_differences import PANEL
from panel.claims.evidence_levels import BOTH
from panel.claims.evidence_votes import VOTES
from panel.claims.materials import Materials
from panel.claims.record import TestRecord, panel_days, test_record
from panel.claims.said import counted


@dataclass(frozen=True, slots=True)
class Footnote:
    """The footnote, and what should stand in it and is not recorded."""

    words: str
    gaps: tuple[str, ...]


def footnote(claim: Claim, evidence: Evidence, materials: Materials) -> Footnote:
    """Return the footnote of a claim; empty where nothing was tested."""
    if not evidence.n:
        return Footnote("", ())
    panel = _of_panel(claim, evidence, materials)
    if evidence.rests_on == ANSWERS:
        return _of_answers(claim, materials)
    if evidence.rests_on == BOTH:
        users = _of_answers(claim, materials)
        return Footnote(f"{panel.words} {users.words}", (*panel.gaps, *users.gaps))
    if evidence.rests_on == VOTES:
        return _of_votes(claim, evidence, materials)
    return panel


def _of_answers(claim: Claim, materials: Materials) -> Footnote:
    told = materials.agreed(claim.prototype, claim.question)
    record = test_record(materials.study, told.sessions)
    parts = [record.kind, *_people(told.base, record), *_duration(record), record.month]
    words = f"{_joined(parts)}; agreed or strongly agreed."
    return Footnote(words, tuple(_gaps(record)))


def _of_votes(claim: Claim, evidence: Evidence, materials: Materials) -> Footnote:
    answers = materials.study.table("answers")
    sessions = tuple(str(name) for name in answers.loc[answers["kind"] == "preference", "session"].unique())
    record = test_record(materials.study, sessions)
    parts = [record.kind, *_people(evidence.n, record), *_duration(record), record.month]
    return Footnote(f"{_joined(parts)}; both tried by each, 'no preference' offered.", tuple(_gaps(record)))


def _of_panel(claim: Claim, evidence: Evidence, materials: Materials) -> Footnote:
    study = materials.study
    month, dose = panel_days(study), str(study.facts.get("dose", ""))
    parts = ["Trained panel" if evidence.rests_on in (PANEL, BOTH) else "Timed test", counted(evidence.n, "assessor")]
    parts += [f"{each} of each"] if (each := _scores_each(claim, materials)) else []
    parts += [dose, materials.when(claim.attribute).removeprefix(", "), month]
    gaps = [words for words, there in (("when the panel scored", month), ("the dose", dose)) if not there]
    return Footnote(f"{_joined(parts)}.", tuple(f"Not recorded: {gap}." for gap in gaps))


def _scores_each(claim: Claim, materials: Materials) -> str:
    names = [name for name in (claim.prototype, claim.versus) if name]
    known = claim.attribute in materials.panel.fits and not materials.panel.why_not(claim.attribute, names)
    return materials.panel.scores_each(claim.attribute, names) if known else ""


def _people(n: int, record: TestRecord) -> list[str]:
    who = record.who or "people"
    return [f"{n} {who}{f' aged {record.ages}' if record.ages else ''}"]


def _duration(record: TestRecord) -> list[str]:
    return [counted(record.days, "day")] if record.days else []


def _gaps(record: TestRecord) -> Iterable[str]:
    wanted = (
        (record.who, "who took part (fact users, who)"),
        (record.ages, "their ages (fact users, ages)"),
        (record.days, "on which days (fact dates)"),
        (record.staff, "whether they work for the maker (fact users, staff)"),
    )
    return [f"Not recorded: {words}." for there, words in wanted if not there]


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(part for part in parts if part)
