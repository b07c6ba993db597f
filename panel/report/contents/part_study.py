"""Parts 3, 4 and 11: which product this is, whether it was safe to apply, and what it was compared with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from panel.answers import DIFFERENCES, PANEL, Answers, NoAnswer
from panel.checks.finding import WIDEST_OFFSET, read_dates
from panel.checks.moments_recorded import days_of_scores, days_stated, first_score
from panel.plan.codes import OPENING_COLUMNS, first_changed_opening, first_opening, plan_fits_seal, sealed_key
from panel.plan.orders import ServingBalance, serving_balance
from panel.plan.protocol import read_protocol
from panel.plan.safety import RED, safety_gate
from panel.report.contents.blocks import (
    Block,
    Numbers,
    Section,
    TextTable,
    fact,
    not_there,
    numbers,
    numbers_of,
    or_gap,
    points,
    said,
    told_blocks,
)
from panel.study.facts import FOR_REVIEW, locked_sessions
from panel.study.formulas import emollient_blend, formulated, matched_pairs
from panel.study.naming import Naming
from panel.study.scores_used import scores_used
from panel.study.shown import Source, Table, shown
from panel.study.study import Study
from panel.views.assessors.people import NUMBERS, tell_people
from panel.views.decision.claims import BALLOT, FILES, QUESTIONS, recorded_table
from panel.views.emollients.blends import blend_picture
from panel.views.planning.plan import BALANCE, key_table
from panel.views.planning.safety import GATE, MISSING, PROTOCOL, REACTIONS, checklist, tell_gate
from panel.views.planning.study import (
    BATCHES,
    CHANGED_SCORES,
    FINDINGS,
    formulas_table,
    what_is_in_the_study,
    what_the_findings_say,
)
from panel.views.prototypes.differences import BOTH_WAYS
from panel.words import counted, first_few, format_list, when_words


def product(answers: Answers) -> Section:
    """Return formulas, batches and age, pack, and whether the formula sold is the formula tested."""
    study, blend = answers.study, emollient_blend(answers.study)
    drawn = [blend_picture(blend, answers.names, matched_pairs(study))] if len(blend) else []
    facts = _facts(study, "formula_version", "pack", "marketed_formula")
    return Section("3", "Product identity", (or_gap(formulas(answers)), *drawn, or_gap(batches(answers)), *facts))


def _facts(study: Study, *names: str) -> list[Block]:
    return [_told_or_gap(FOR_REVIEW[name][0], fact(study, name), FOR_REVIEW[name][1]) for name in names]


def safety(answers: Answers) -> Section:
    """Return the record of the safety gate and of adverse events."""
    study = answers.study
    blocks: list[Block] = [
        said("caution", "This is a record of what named persons signed. It is not a safety assessment.")
    ]
    if study.table("safety").empty:
        blocks.append(said("gap", "No sign-off of the safety gate is recorded in this study."))
    elif day := _first_test_day(study):
        gate = safety_gate(study, day)
        told = tell_gate(gate, answers.names)
        blocks += [said("paragraph", f"The safety gate as it stood on {day}."), *points([told.headline, *told.mind])]
        if told.picture is not None:
            blocks.append(_table(answers, MISSING, gate))
        blocks.append(_table(answers, GATE, gate))
        worst = gate.batches.sort_values("state", key=lambda states: states != RED, kind="stable")
        for batch in worst["batch"].head(1):
            blocks.append(_table(answers, checklist(str(batch)), gate))
    else:
        blocks.append(said("gap", "The study has no date of a test, so it cannot be said what was signed by then."))
    blocks += [_events(answers), *_facts(study, "consent")]
    return Section("4", "Safety gate and adverse events", tuple(blocks))


def _events(answers: Answers) -> Block:
    events = answers.study.table("reactions")
    none = "Adverse events: none recorded. That nothing is recorded does not show that nothing happened."
    return said("paragraph", none) if events.empty else _table(answers, REACTIONS, events)


def _table(answers: Answers, table: Table, result: Any) -> Block:
    return TextTable(table.titled(result), shown(table, result, answers.names))


def references(answers: Answers) -> Section:
    """Return what the prototypes were compared with, and how it was bought and stored."""
    study = answers.study
    table = study.table("prototypes")
    compared = table.loc[table["role"].isin(["benchmark", "reference"])]
    first: Block = said("gap", "The study names no benchmark and no reference.")
    if len(compared):
        words = {"prototype": "Short name", "name": "Name", "role": "Role", "note": "Note"}
        first = TextTable("Benchmark and references", recorded_table(compared, words))
    return Section("11", "References used", (first, *_facts(study, "references")))


# Part 6: who judged, how they were chosen, how the trained panel worked, and which consumers dropped out.


def who_judged(answers: Answers) -> Section:
    """Return panel and consumers."""
    return Section("6", "Panel and consumers", (*_panel(answers), *_consumers(answers.study)))


def consumers_only(study: Study) -> bool:
    """Return whether consumers answered and no trained assessor scored, so that a panel is no part of the study."""
    return study.table("scores").empty and len(study.table("answers")) > 0


def no_panel(what: str) -> list[Block]:
    """Return what stands in place of something of a trained panel that is no part of the study."""
    return [said("subheading", "Trained panel"), said("paragraph", f"{what}: not part of this study.")]


def _panel(answers: Answers) -> list[Block]:
    study = answers.study
    if consumers_only(study):
        return no_panel("Trained panel")
    blocks = [said("subheading", "Trained panel"), *_facts(study, "panel", "recruitment", "training")]
    found = answers.panel
    if isinstance(found, NoAnswer):
        return [*blocks, or_gap(found)]
    tables = [numbers_of(answers, PANEL, table) for table in NUMBERS]
    return [*blocks, *told_blocks(answers.tell(tell_people, found), *tables)]


def _consumers(study: Study) -> list[Block]:
    answers = study.table("answers")
    if answers.empty:
        return [said("subheading", "Consumers"), said("paragraph", "Consumers: not part of this study.")]
    blocks = [said("subheading", "Consumers"), *_facts(study, "users", "screener")]
    return [*blocks, *points([f"{counted(answers['assessor'].nunique(), 'consumer')} answered.", *_dropped(study)])]


def _dropped(study: Study) -> list[str]:
    """Return, for each session that was planned, how many of those served answered, and who did not."""
    answers, servings, consumers = study.table("answers"), study.table("servings"), _consumer_codes(study)
    lines = []
    for session, rows in servings.loc[servings["assessor"].isin(consumers)].groupby("session", sort=False):
        served = rows["assessor"].unique().tolist()
        came = set(answers.loc[answers["session"] == session, "assessor"].unique())
        gone = [who for who in served if who not in came]
        missing = f"; without an answer: {first_few(gone, 10)}" if gone else ""
        planned = counted(len(served), "consumer")
        lines.append(f"Session {session}: {planned} planned, {len(served) - len(gone)} answered{missing}.")
    return lines


# Parts 5, 7 and 8: the protocol and what was done otherwise, blinding and orders, the ballot as it was shown.


_OPENINGS = {"when": "When", "who": "Who", "what": "What was seen", "why": "Why", "locked": "Data locked"}


def protocol(answers: Answers) -> Section:
    """Return the protocol and what is missing in it; plan and deviations are put under it."""
    study, card = answers.study, read_protocol(answers.study)
    unknown = "The study does not say on which days it was run."
    blocks = [*_facts(study, "protocol_dated"), _told_or_gap("Days of the test", days_told(study), unknown)]
    blocks += [_table(answers, PROTOCOL, card), *points(card.notes)]
    if not entries_of(study, "rules"):  # else they stand in the statistics plan
        none = "No rule for leaving out a score or a person was recorded before the key was opened."
        blocks.append(said("gap", none))
    return Section("5", "Protocol and deviations", tuple(blocks))


def entries_of(study: Study, name: str) -> list[dict[str, object]]:
    """Return the entries of a fact that is a list of entries; none where it is something else."""
    stated = study.facts.get(name)
    return [entry for entry in stated if isinstance(entry, dict)] if isinstance(stated, list) else []


def blinding(answers: Answers) -> Section:
    """Return codes, orders and their balance, and who opened the key when."""
    study = answers.study
    servings = study.table("servings")
    blocks: list[Block] = []
    if servings.empty:
        named = study.scores["position"].notna().any()
        lacks = ", though its scores name positions: codes" if named else ": codes, orders"
        blocks.append(said("gap", f"The study holds no serving plan{lacks} and balance cannot be shown."))
    else:
        kinds = (("trained", not consumers_only(study)), ("consumer", len(study.table("answers")) > 0))
        found = [balance(answers, kind) for kind, took_part in kinds if took_part]
        blocks += map(or_gap, found)
        coded = servings.loc[servings["code"] != ""]
        trained = coded.loc[~coded["assessor"].isin(_consumer_codes(study))]
        if trained.empty and not consumers_only(study):
            blocks.append(said("gap", "The servings of the trained panel carry no codes."))
        elif len(trained):
            blocks.append(TextTable("The key: codes of the trained panel", key_table(trained)))
    opened, unknown = first_opening(study), "The study does not say when the key was opened."
    blocks.append(_told_or_gap("Key first opened", when_words(opened) if opened else "", unknown))
    blocks += [*_locked(study), *_openings(study), _seal(study)]
    return Section("7", "Blinding, codes, orders and balance", tuple(blocks))


def balance(answers: Answers, kind: str) -> Numbers | NoAnswer:
    """Return how even the servings of the trained panel, or of the consumers, were."""
    study = answers.study
    servings, consumers = study.table("servings"), _consumer_codes(study)
    mine = servings.loc[servings["assessor"].isin(consumers) == (kind == "consumer")]
    who = "consumers" if kind == "consumer" else "trained panel"
    if mine.empty:
        return NoAnswer(f"There is no serving plan of the {who}.")
    found = {test: serving_balance(rows) for test, rows in _by_test(mine)}
    parts = zip(*_balances(found, answers.names), strict=True)
    full, told = (pd.concat(frames, ignore_index=True) for frames in parts)
    several = len(found) > 1
    key, told = (["test", "what", "session"], told) if several else (["what", "session"], told.drop(columns="Test"))
    source = Source("servings", only={"assessor": tuple(dict.fromkeys(mine["assessor"]))})
    code, title = ("NC" if kind == "consumer" else "N"), f"Balance of the servings: {who}"
    return numbers(code, title, told, full, key, next(iter(found.values())).method, source)


def _balances(found: Mapping[str, ServingBalance], names: Naming) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """Yield for each test how even its servings were, and that as texts; a single prototype has places only."""
    for test, balance_of_test in found.items():
        summary = balance_of_test.summary
        kept = (summary["what"] == "place") | (len(set(balance_of_test.positions["prototype"])) > 1)
        told = shown(BALANCE, balance_of_test, names).loc[kept]
        told.insert(0, "Test", test)
        yield summary.loc[kept].assign(test=test, session=summary["session"].replace("", "all")), told


def _by_test(servings: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Return the servings of each test: sessions that serve the same prototypes to the same number at a time.

    A hall test in two sittings is one test, a home use of one prototype is another.
    """
    rows = servings.assign(session=servings["session"].astype("str"))
    designs: dict[tuple[frozenset[str], int], list[str]] = {}
    for session, part in rows.groupby("session", sort=False):
        each = int(part.groupby("assessor").size().median())
        designs.setdefault((frozenset(part["prototype"]), each), []).append(str(session))
    return [(", ".join(sessions), rows.loc[rows["session"].isin(sessions)]) for sessions in designs.values()]


def _consumer_codes(study: Study) -> set[str]:
    people = study.table("assessors")
    return set(people.loc[people["kind"] == "consumer", "assessor"])


def _openings(study: Study) -> list[Block]:
    openings = study.table("unblindings").reindex(columns=list(OPENING_COLUMNS), fill_value="")
    if openings.empty:
        return [said("gap", "No record says who opened the key.")]
    blocks: list[Block] = [TextTable("Openings of the key", recorded_table(openings, _OPENINGS))]
    broken = first_changed_opening(openings)
    if broken is not None:
        changed = f"Row {broken + 1} of the openings was changed after it was written, or one before it is gone."
        blocks.append(said("gap", changed))
    return blocks


def _seal(study: Study) -> Block:
    """Return the seal of the key, held against the first score and the plan as it stands now."""
    seal, first = sealed_key(study), first_score(study)
    if seal is None:
        return said("gap", "No seal of the key is recorded from before the first sample.")
    sealed_at = when_words(seal["sealed_at"])
    words = f"Seal of the key: SHA-256 {seal['sha256']}, {seal['codes']} codes, by {seal['sealed_by']} on {sealed_at}"
    if plan_fits_seal(study) is False:
        return said("gap", f"{words}. The serving plan no longer has the key that was sealed.")
    if not first:
        return said("paragraph", f"{words}. No score carries a time to hold it against.")
    sealed, scored = (read_dates(pd.Series([text])) for text in (seal["sealed_at"], first))
    apart = scored.values[0] - sealed.values[0]
    if np.isnat(apart) or (sealed.has_offset[0] != scored.has_offset[0] and abs(apart) < WIDEST_OFFSET):
        before = f"Whether that was before the first score ({when_words(first)})"
        return said("gap", f"{words}. {before} cannot be told from the two times.")
    if apart < np.timedelta64(0, "s"):  # both are told to the second: in the same one the plan came first
        return said("gap", f"{words}: not before the first score ({when_words(first)}).")
    return said("paragraph", f"{words}, before the first score ({when_words(first)}).")


def _locked(study: Study) -> list[Block]:
    """Return who locked which session when, with the seal of its record; nothing where none was locked."""
    rows = locked_sessions(study)
    if rows.empty:
        return []
    words = {"session": "Session", "locked_at": "Locked", "who": "Who", "events_sha256": "SHA-256 of the record"}
    return [TextTable("Sessions locked", recorded_table(rows, words))]


def ballot(answers: Answers) -> Section:
    """Return what the trained assessors and the consumers were asked, as it was shown."""
    study = answers.study
    unknown = "The study has no table of attributes, so the ballot of the trained panel is not known."
    first: Block = said("gap", unknown)
    if len(study.table("attributes")):
        first = _table(answers, BALLOT, study)
    elif consumers_only(study):
        first = no_panel("Ballot of a trained panel")[-1]
    return Section("8", "Ballot as shown", (first, *_asked(answers)))


_SENTENCE = 4
"""A question named with as many words is named by its own; common practice, no source."""


def _asked(answers: Answers) -> list[Block]:
    """Return what consumers were asked, as recorded or as their answers name it, and whose words are not known."""
    asked, given = entries_of(answers.study, "questions"), answers.study.table("answers")
    if not asked and given.empty:
        return [said("paragraph", "Questions to consumers: not part of this study.")]
    recorded = {str(entry.get("question")) for entry in asked}
    rows = given.loc[~given["question"].isin([*recorded, ""]), ["question", "kind"]].drop_duplicates()
    whole = np.array([len(name.split()) >= _SENTENCE or name.endswith("?") for name in rows["question"]], dtype=bool)
    asked += [{"question": q, "kind": kind, "words": q} for q, kind in rows.loc[whole].itertuples(index=False)]
    short = list(dict.fromkeys(rows.loc[~whole, "question"]))
    gap = f"Consumers answered, but the words of these questions are not in the study: {format_list(short)}."
    return [*([_table(answers, QUESTIONS, asked)] if asked else []), *([said("gap", gap)] if short else [])]


# Part 9: the raw data and their hashes, what was corrected or set aside, and the analysis with and without it.


_CORRECTIONS = {"when": "When", "who": "Who", "key": "Which", "old": "Before", "new": "After", "why": "Why"}


def raw_data(answers: Answers) -> Section:
    """Return files with their hashes, corrections, scores set aside, and findings."""
    study, files = answers.study, answers.files
    blocks: list[Block] = [
        said("paragraph", what_is_in_the_study(study)),
        said("paragraph", f"SHA-256 over everything an analysis can see: {answers.study.content_hash}"),
        not_there(files) if isinstance(files, NoAnswer) else _table(answers, FILES, files),
    ]
    kept = replace(FILES, title="Files that were imported, kept byte for byte")
    imported = {file.name: file.content for file in study.raw_files}
    none = said("paragraph", "No imported files are kept: the tables of the study are themselves the raw data.")
    blocks += [_table(answers, kept, imported) if imported else none, *_changes(answers)]
    blocks.append(said("paragraph", f"Findings about the data: {what_the_findings_say(answers.findings)}"))
    if answers.findings:
        blocks.append(_table(answers, FINDINGS, answers.findings))
    return Section("9", "Raw data, corrections and exclusions", tuple(blocks))


def _changes(answers: Answers) -> list[Block]:
    study, used = answers.study, scores_used(answers.study)
    corrections = study.table("corrections")
    blocks: list[Block] = [said("paragraph", "Corrections: none recorded.")]
    if len(corrections):
        blocks = [TextTable("Corrections, in the order they were made", recorded_table(corrections, _CORRECTIONS))]
    if used.set_aside.empty and used.corrected.empty:
        as_came = "Every score is used as it came in. A blank is no score; nothing is filled in for it."
        return [*blocks, said("paragraph", as_came)]
    blocks.append(_table(answers, CHANGED_SCORES, used))
    blocks.append(or_gap(numbers_of(answers, DIFFERENCES, BOTH_WAYS)))
    if not first_opening(study):
        words = "The study does not say when the key was opened, so nothing shows that these were decided before."
        blocks.append(said("caution", words))
    return [*blocks, *points(["The scores that came in are never changed; both analyses are shown."])]


# Which days does the study itself name?


def last_score(study: Study) -> str:
    """Return the day of the last score or answer (ISO 8601), by the scores and the days that are stated; or nothing."""
    return max([*_column(study, "scores", "recorded_at"), *_read(_stated(study))], default="")


def _first_test_day(study: Study) -> str:
    """Return the first day on which samples were applied; empty if the study does not say."""
    days = [*_column(study, "scores", "recorded_at"), *_column(study, "batches", "tested_on")]
    return min([*days, *_read(_stated(study))], default="")


def days_told(study: Study) -> str:
    """Return the days of the test in words, as people state them or as the scores carry them; empty for none."""
    if stated := days_stated(study):
        return "; ".join(f"{label}: {_joined(days)}" if label else _joined(days) for label, days in stated.items())
    found = days_of_scores(study)
    if not found:
        return ""
    told = [f"session {name}: {', '.join(days)}" if name else ", ".join(days) for name, days in found.items()]
    return f"{'; '.join(told)} (by the times of the scores)"


def _column(study: Study, table: str, column: str) -> list[str]:
    return _read(study.table(table)[column].unique().tolist())


def _read(texts: list[str]) -> list[str]:
    days = read_dates(pd.Series(texts, dtype="str")).days
    return [str(day) for day in np.unique(days[~np.isnat(days)]).astype("datetime64[D]")]


def _stated(study: Study) -> list[str]:
    return [day for days in days_stated(study).values() for day in days]


def _joined(days: tuple[str, ...]) -> str:
    return " to ".join(days) if len(days) == 2 else ", ".join(days)


_ENTERED = "As it was written down; nothing was computed."


def formulas(answers: Answers) -> Numbers | NoAnswer:
    """Return the formulas."""
    study = answers.study
    if not formulated(study):
        return NoAnswer("The study holds no formulas.")
    shown, full = formulas_table(study), study.table("formulas")
    rows = [(name,) for name in shown.iloc[:, 0]]
    source = Source("formulas", same={"prototype": "prototype", "ingredient": "ingredient"})
    return numbers("F", "Formulas", shown, full, ["ingredient", "prototype"], _ENTERED, source, rows=rows)


def batches(answers: Answers) -> Numbers | NoAnswer:
    """Return the batches."""
    full = answers.study.table("batches")
    if full.empty:
        return NoAnswer("No batches are written down, so neither their number nor their age at test is known.")
    told = shown(BATCHES, answers.study, answers.names)
    return numbers("BT", BATCHES.title, told, full, ["batch"], _ENTERED, Source("batches", same={"batch": "batch"}))


def _told_or_gap(label: str, text: str, missing: str) -> Block:
    """Return a text behind its label, or the gap that it leaves where it is empty."""
    return said("paragraph", f"{label}: {text}") if text else said("gap", missing)
