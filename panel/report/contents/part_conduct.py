"""Parts 5, 7 and 8: the protocol and what was done otherwise, blinding and orders, the ballot as it was shown."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pandas as pd

from panel.checks.dates import WIDEST_OFFSET, read_dates
from panel.checks.moments_recorded import first_score
from panel.plan.balance import serving_balance
from panel.plan.key import OPENING_COLUMNS, first_changed_opening, first_opening, plan_fits_seal, sealed_key
from panel.plan.protocol import read_protocol
from panel.report.contents.blocks import Block, Gap, Numbers, Paragraph, Section, TextTable
from panel.report.contents.days import days_told
from panel.report.contents.numbers import numbers
from panel.report.contents.parts import or_gap, points, stated
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.study.locked_sessions import locked_sessions
from panel.study.study import Study
from panel.views.decision.evidence_tables import ballot_table, questions_table, recorded_table
from panel.views.planning.safety_tables import protocol_table
from panel.views.planning.serving_tables import balance_table, key_table

_NO_DAYS = "The study does not say on which days it was run."
_NOT_OPENED = "The study does not say when the key was opened."
_OPENINGS = {"when": "When", "who": "Who", "what": "What was seen", "why": "Why", "locked": "Data locked"}


def protocol(results: Results) -> Section:
    """Return the protocol, the rules recorded beforehand, and the deviations."""
    study, card = results.study, read_protocol(results.study)
    blocks: list[Block] = [
        stated(
            study, "protocol_dated", "Date of the protocol", "No date says that the protocol was fixed before the test."
        )
    ]
    days = days_told(study)
    blocks.append(Paragraph(f"Days of the test: {days}") if days else Gap(_NO_DAYS))
    blocks.append(TextTable("How every sample was applied", protocol_table(card)))
    blocks += points(card.notes)
    blocks += _rules(study)
    if card.deviations.empty:
        blocks.append(Paragraph("Deviations from the protocol: none recorded."))
    else:
        words = {"when": "When", "session": "Session", "assessor": "Assessor", "what": "What was done otherwise"}
        blocks.append(TextTable("Deviations from the protocol", recorded_table(card.deviations, words)))
    notes = study.facts.get("notes")
    if isinstance(notes, list) and notes:
        blocks += [Paragraph("Notes kept during the study:"), *points(str(note) for note in notes)]
    return Section("5", "Protocol and deviations", tuple(blocks))


def _rules(study: Study) -> list[Block]:
    stated_rules = study.facts.get("rules")
    rules = [rule for rule in stated_rules if isinstance(rule, dict)] if isinstance(stated_rules, list) else []
    if not rules:
        return [Gap("No rule for leaving out a score or a person was recorded before the key was opened.")]
    words = {"words": "Rule", "recorded_on": "Recorded on", "by": "By"}
    frame = pd.DataFrame([{name: str(rule.get(name) or "") for name in words} for rule in rules], columns=list(words))
    return [TextTable("Rules recorded beforehand", recorded_table(frame, words))]


def blinding(results: Results) -> Section:
    """Return codes, orders and their balance, and who opened the key when."""
    study = results.study
    servings = study.table("servings")
    blocks: list[Block] = []
    if servings.empty:
        blocks.append(Gap("The study holds no serving plan: codes, orders and balance cannot be shown."))
    else:
        blocks += [or_gap(balance(results, "trained")), or_gap(balance(results, "consumer"))]
        coded = servings.loc[servings["code"] != ""]
        trained = coded.loc[~coded["assessor"].isin(_consumers(study))]
        if trained.empty:
            blocks.append(Gap("The servings of the trained panel carry no codes."))
        else:
            blocks.append(TextTable("The key: codes of the trained panel", key_table(trained)))
    opened = first_opening(study)
    blocks.append(Paragraph(f"Key first opened: {_when(opened)}") if opened else Gap(_NOT_OPENED))
    blocks += _locked(study)
    blocks += _openings(study)
    blocks.append(_seal(study))
    return Section("7", "Blinding, codes, orders and balance", tuple(blocks))


def balance(results: Results, kind: str) -> Numbers | NotThere:
    """Return how even the servings of the trained panel, or of the consumers, were."""
    study = results.study
    servings, consumers = study.table("servings"), _consumers(study)
    mine = servings.loc[servings["assessor"].isin(consumers) == (kind == "consumer")]
    who = "consumers" if kind == "consumer" else "trained panel"
    if mine.empty:
        return NotThere(f"There is no serving plan of the {who}.")
    found = serving_balance(mine)
    full = found.summary.assign(session=found.summary["session"].replace("", "all"))
    source = Source("servings", only={"assessor": tuple(dict.fromkeys(mine["assessor"]))})
    code, title = ("NC" if kind == "consumer" else "N"), f"Balance of the servings: {who}"
    return numbers(code, title, balance_table(found), full, ["what", "session"], found.method, source)


def _consumers(study: Study) -> set[str]:
    people = study.table("assessors")
    return set(people.loc[people["kind"] == "consumer", "assessor"])


def _openings(study: Study) -> list[Block]:
    openings = study.table("unblindings").reindex(columns=list(OPENING_COLUMNS), fill_value="")
    if openings.empty:
        return [Gap("No record says who opened the key.")]
    blocks: list[Block] = [TextTable("Openings of the key", recorded_table(openings, _OPENINGS))]
    broken = first_changed_opening(openings)
    if broken is not None:
        blocks.append(
            Gap(f"Row {broken + 1} of the openings was changed after it was written, or one before it is gone.")
        )
    return blocks


def _seal(study: Study) -> Block:
    """Return the seal of the key, held against the first score and the plan as it stands now."""
    seal, first = sealed_key(study), first_score(study)
    if seal is None:
        return Gap("No seal of the key is recorded from before the first sample.")
    words = (
        f"Seal of the key: SHA-256 {seal.sha256}, {seal.codes} codes, by {seal.sealed_by} on {_when(seal.sealed_at)}"
    )
    if plan_fits_seal(study) is False:
        return Gap(f"{words}. The serving plan no longer has the key that was sealed.")
    if not first:
        return Paragraph(f"{words}. No score carries a time to hold it against.")
    sealed, scored = (read_dates(pd.Series([text])) for text in (seal.sealed_at, first))
    apart = scored.values[0] - sealed.values[0]
    if np.isnat(apart) or (sealed.has_offset[0] != scored.has_offset[0] and abs(apart) < WIDEST_OFFSET):
        return Gap(
            f"{words}. Whether that was before the first score ({_when(first)}) cannot be told from the two times."
        )
    if apart < np.timedelta64(0, "s"):  # both are told to the second: in the same one the plan came first
        return Gap(f"{words}: not before the first score ({_when(first)}).")
    return Paragraph(f"{words}, before the first score ({_when(first)}).")


def _locked(study: Study) -> list[Block]:
    """Return who locked which session when, with the seal of its record; nothing where none was locked."""
    rows = [asdict(locked) for locked in locked_sessions(study)]
    if not rows:
        return []
    words = {"session": "Session", "locked_at": "Locked", "who": "Who", "events_sha256": "SHA-256 of the record"}
    return [TextTable("Sessions locked", recorded_table(pd.DataFrame(rows), words))]


def _when(text: str) -> str:
    """Return a moment as people write it."""
    return text.replace("T", " ")


def ballot(results: Results) -> Section:
    """Return what the trained assessors and the consumers were asked, as it was shown."""
    study = results.study
    blocks: list[Block] = []
    if study.table("attributes").empty:
        blocks.append(Gap("The study has no table of attributes, so the ballot of the trained panel is not known."))
    else:
        blocks.append(TextTable("What the trained panel judged", ballot_table(study)))
    asked = questions_table(study)
    if len(asked):
        blocks.append(TextTable("What consumers were asked", asked))
    elif len(study.table("answers")):
        blocks.append(Gap("Consumers answered, but the words of the questions are not in the study."))
    else:
        blocks.append(Paragraph("Questions to consumers: not part of this study."))
    return Section("8", "Ballot as shown", tuple(blocks))
