"""Parts 5, 7 and 8: the protocol and what was done otherwise, blinding and orders, the ballot as it was shown."""

from __future__ import annotations

import pandas as pd

from panel.plan.balance import serving_balance
from panel.plan.key import OPENING_COLUMNS, first_changed_opening
from panel.plan.protocol import read_protocol
from panel.report.contents.blocks import Block, Gap, Numbers, Paragraph, Section, TextTable
from panel.report.contents.numbers import numbers
from panel.report.contents.parts import fact, or_gap, points, stated
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import Source
from panel.study.study import Study
from panel.views.decision.evidence_tables import ballot_table, questions_table, recorded_table
from panel.views.planning.safety_tables import protocol_table
from panel.views.planning.serving_tables import balance_table, key_table

_OPENINGS = {"when": "When", "who": "Who", "what": "What was seen", "why": "Why", "locked": "Data locked"}


def protocol(results: Results) -> Section:
    """Return the protocol, the rules recorded beforehand, and the deviations."""
    study, card = results.study, read_protocol(results.study)
    blocks: list[Block] = [
        stated(
            study, "protocol_dated", "Date of the protocol", "No date says that the protocol was fixed before the test."
        )
    ]
    blocks += [stated(study, "dates", "Days of the test", "The study does not say on which days it was run.")]
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
    blocks.append(stated(study, "unblinded_on", "Key opened on", "The study does not say when the key was opened."))
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
    text = fact(study, "seal")
    if text:
        return Paragraph(f"Seal of the key: {text}")
    return Gap("No seal of the key is recorded from before the first sample.")


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
