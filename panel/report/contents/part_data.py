"""Part 9: the raw data and their hashes, what was corrected or set aside, and the analysis with and without it."""

from __future__ import annotations

import hashlib

from panel.plan.key import first_opening
from panel.report.contents.blocks import Block, Caution, Paragraph, Section, TextTable
from panel.report.contents.parts import not_there, or_gap, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_differences import both_ways
from panel.study.scores_used import scores_used
from panel.views.decision.evidence_tables import files_table, recorded_table
from panel.views.planning.study_tables import changed_scores_table, finding_table
from panel.views.planning.study_words import what_is_in_the_study, what_the_findings_say

_CORRECTIONS = {"when": "When", "who": "Who", "key": "Which", "old": "Before", "new": "After", "why": "Why"}


def raw_data(results: Results) -> Section:
    """Return files with their hashes, corrections, scores set aside, and findings."""
    study = results.study
    blocks: list[Block] = [
        Paragraph(what_is_in_the_study(study)),
        Paragraph(f"SHA-256 over everything an analysis can see: {results.data_hash}"),
        _files(results),
    ]
    imported = {file.name: (len(file.content), file.sha256) for file in study.raw_files}
    if imported:
        blocks.append(TextTable("Files that were imported, kept byte for byte", files_table(imported)))
    else:
        blocks.append(Paragraph("No imported files are kept: the tables of the study are themselves the raw data."))
    blocks += _changes(results)
    blocks.append(Paragraph(f"Findings about the data: {what_the_findings_say(results.findings)}"))
    if results.findings:
        blocks.append(TextTable("Findings", finding_table(results.findings)))
    return Section("9", "Raw data, corrections and exclusions", tuple(blocks))


def _files(results: Results) -> Block:
    files = results.files
    if isinstance(files, NotThere):
        return not_there(files)
    hashes = {name: (len(data), hashlib.sha256(data).hexdigest()) for name, data in files.items()}
    return TextTable("Files of the study, as they are saved and archived", files_table(hashes))


def _changes(results: Results) -> list[Block]:
    study, used = results.study, scores_used(results.study)
    corrections = study.table("corrections")
    blocks: list[Block] = []
    if corrections.empty:
        blocks.append(Paragraph("Corrections: none recorded."))
    else:
        blocks.append(TextTable("Corrections, in the order they were made", recorded_table(corrections, _CORRECTIONS)))
    if used.set_aside.empty and used.corrected.empty:
        blocks.append(Paragraph("Every score is used as it came in. A blank is no score; nothing is filled in for it."))
        return blocks
    shown = changed_scores_table(used.set_aside, used.corrected, results.names)
    blocks.append(TextTable("Scores set aside or corrected, and why", shown))
    blocks.append(or_gap(both_ways(results)))
    if not first_opening(study):
        words = "The study does not say when the key was opened, so nothing shows that these were decided before."
        blocks.append(Caution(words))
    return [*blocks, *points(["The scores that came in are never changed; both analyses are shown."])]
