"""What does a reviewer read first? The whole case on two pages, a page for each claim, and an annex that is short."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from panel.answers import Answers, NoAnswer
from panel.checks.moments_recorded import margins_stated
from panel.claims.judge import Claims
from panel.claims.verdict import AGAINST, FOR, OPEN
from panel.errors import PanelError
from panel.models.decision.decide import decisions_so_far
from panel.plan.protocol import people, read_protocol
from panel.report.contents import part_study
from panel.report.contents.blocks import (
    Block,
    Numbers,
    Section,
    TextTable,
    Words,
    fact,
    not_there,
    points,
    printed_id,
    said,
)
from panel.report.contents.part_claims import SIGNED, claims_of, evidence_matrix, limits_in_short
from panel.report.contents.part_study import entries_of, last_score
from panel.study.knowledge import shared_table
from panel.study.naming import RUBBED_IN, judged_after, naming
from panel.study.study import Study
from panel.views.decision.claims import (
    claim_of,
    claims_headline,
    criteria_words,
    ended,
    footnote_lines,
    interval_words,
    kind_words,
    limit_words,
    needs_of,
    reasons_of,
    value_words,
    verdict_words,
    wording_lines,
)
from panel.views.told import Picture
from panel.words import NOTHING, capital, counted, first_few, format_list, format_number, format_typed, when_words

_NOT_RECORDED = "not recorded"
_DECLARED = "PDF/A-2a (archive) and PDF/UA-1 (accessible): declared, not validated"
"""No validator of either standard could be had where this was made; whoever needs the proof runs one."""


def summary(
    answers: Answers,
    annex: Sequence[Section],
    found: Sequence[tuple[str, str]],
    *,
    made_on: str,
    version: str,
    mark: str,
) -> Section:
    """Return the whole case on two pages; `annex` has the gaps to name, `found` what each question found."""
    blocks: list[Block] = [_title_block(answers.study, made_on, version, mark), said("contents")]
    blocks += [said("subheading", "Verdicts"), *_verdicts(answers)]
    blocks += [said("subheading", "Key figures"), _key_figures(answers, found)]
    blocks += [said("subheading", "What is not established"), *points(_not_established(annex))]
    blocks += points(limits_in_short(answers))
    blocks += [said("subheading", "Signatures"), *_recorded(answers.study), *_lines_to_sign(answers.study)]
    return Section("", "The case on two pages", tuple(blocks))


def _title_block(study: Study, made_on: str, version: str, mark: str) -> TextTable:
    batches = list(dict.fromkeys(study.table("batches")["batch"]))
    rows = [
        ("Applicant", fact(study, "applicant")),
        ("Laboratory", fact(study, "laboratory")),
        ("Product", fact(study, "product") or fact(study, "title")),
        ("Batches", first_few(batches, 12) if batches else ""),
        ("Report number", fact(study, "report_number")),
        ("Version of the report", fact(study, "report_version")),
        ("Data as of", f"{last_score(study)} (last score or answer)" if last_score(study) else ""),
        ("Made on", made_on),
        ("Made with", version),
        ("Standing of the data", mark or "as recorded by the laboratory"),
        ("Form of the PDF", _DECLARED),
    ]
    return _two_columns("What this file is", "Item", "As recorded", rows)


def _texts(rows: Sequence[Sequence[str]], columns: list[str]) -> pd.DataFrame:
    """Return a frame of texts as people typed them, half a sign among them too, which no column of strings can hold."""
    return pd.DataFrame(rows, columns=columns, dtype="object")


def _two_columns(title: str, left: str, right: str, rows: Iterable[tuple[str, str]]) -> TextTable:
    told = [(label, words or _NOT_RECORDED) for label, words in rows]
    return TextTable(title, _texts(told, [left, right]))


def _verdicts(answers: Answers) -> list[Block]:
    found = claims_of(answers)
    if isinstance(found, NoAnswer):
        return [not_there(found)]
    rows = [
        (str(row["number"]), f"“{row['claim']}”", verdict_words(str(row["verdict"])))
        for row in found.in_order.to_dict("records")
    ]
    shown = _texts(rows, ["Claim", "Sentence", "Verdict"])
    return [said("paragraph", claims_headline(found)), TextTable("The verdict on each claim", shown)]


def _key_figures(answers: Answers, found: Sequence[tuple[str, str]]) -> TextTable:
    """Return people, prototypes and batches, what differs, and what comes nearest to the target."""
    study = answers.study
    prototypes, batches = len(study.prototypes), len(study.table("batches"))
    compared = f", compared with {answers.names.prototype(study.benchmark)}" if study.benchmark else ""
    rows = [
        ("People", format_list(list(_people(study)))),
        ("Prototypes", f"{counted(prototypes, 'prototype')}{compared}" if prototypes else ""),
        ("Batches", counted(batches, "batch", "batches") if batches else ""),
        *found,
    ]
    return _two_columns("People, prototypes, batches, and what was found", "What", "Found", rows)


def _people(study: Study) -> Iterator[str]:
    for table, words in (("scores", "trained assessor"), ("answers", "consumer")):
        number = len(set(study.table(table)["assessor"].unique()) - {""})
        if number:
            yield counted(number, words)


def _not_established(annex: Sequence[Section]) -> list[str]:
    """Return one line for each part with something missing that no part before it misses; the part has them all."""
    lines: list[str] = []
    named: set[str] = set()
    for section in annex:
        fresh = [gap for gap in dict.fromkeys(section.gaps) if gap not in named]
        named.update(fresh)
        if fresh:
            more = f" (and {len(fresh) - 1} more there)" if len(fresh) > 1 else ""
            lines.append(f"Part {section.number}, {section.heading}: {fresh[0]}{more}")
    return lines


# Signatures: those that are on record, and lines for those that are not. The tool gives none.


_RECORD = ["What", "Who", "Role", "When"]


def _recorded(study: Study) -> list[Block]:
    rows = [*_gate_signed(study), *_claims_fixed(study), *_decided(study)]
    if not rows:
        return [said("paragraph", "Sign-offs on record: none.")]
    return [TextTable("Sign-offs on record", _texts(rows, _RECORD))]


def _gate_signed(study: Study) -> Iterator[tuple[str, ...]]:
    signed = study.table("safety")
    for (who, role, day), rows in signed.groupby(["who", "role", "date"], sort=False):
        yield f"Safety gate: {counted(len(rows), 'entry', 'entries')}", str(who), str(role) or NOTHING, str(day)


def _claims_fixed(study: Study) -> Iterator[tuple[str, ...]]:
    claims = study.table("claims")
    fixed = claims.loc[claims["stamped_at"] != ""]
    for (who, when), rows in fixed.groupby(["stamped_by", "stamped_at"], sort=False):
        yield f"{counted(len(rows), 'claim')} stamped", str(who), NOTHING, when_words(str(when))


def _decided(study: Study) -> Iterator[tuple[str, ...]]:
    for row in decisions_so_far(study).to_dict("records"):
        yield f"Decision for {row['chosen']}", str(row["who"]), str(row["role"]) or NOTHING, str(row["date"])


def _lines_to_sign(study: Study) -> list[Block]:
    intro = "Each signs for what stands beside the role. The program leaves this empty and cannot sign."
    return [said("paragraph", intro), *(said("sign-off", role, states, _named(study, role)) for role, states in SIGNED)]


def _named(study: Study, role: str) -> str:
    """Return who has a role, as the study says; nothing where its list of people cannot be read."""
    try:
        return ", ".join(str(one["person"]) for one in people(study).to_dict("records") if role in one["roles"])
    except PanelError:  # said as a gap in the part on sign-offs
        return ""


def claim_pages(answers: Answers) -> tuple[Section, ...]:
    """Return a page for each claim: sentence, statement, evidence for and against, footnote, rule, needs, signature."""
    found = claims_of(answers)
    if isinstance(found, NoAnswer):
        return ()
    matrix = evidence_matrix(found, answers.readings).set_index("number")
    return tuple(_claim_page(answers, found, int(number), matrix.loc[number]) for number in found.claims["number"])


def _claim_page(answers: Answers, found: Claims, number: int, strength: pd.Series) -> Section:
    row = claim_of(found, number)
    blocks: list[Block] = [said("sentence", f"“{row['claim']}”"), said("verdict", verdict_words(str(row["verdict"])))]
    blocks += [_statement(answers, row), said("subheading", "Evidence for and against")]
    blocks += [*_evidence(answers, found, number, strength), said("subheading", "Footnote"), *_footnote(found, row)]
    rules = points([_rule(str(row["kind"])), criteria_words(found, number)])
    blocks += [said("subheading", "Rule and its source"), *rules, *_instead(found, row)]
    advised = set(found.findings.loc[found.findings["number"] == number, "advice"])  # they stand under the wording
    if needs := [need for need in needs_of(found, number) if need not in advised]:
        blocks += [said("subheading", "What it would take"), *points(map(ended, needs))]
    signs = f"I have read claim {number}, the evidence for and against it, and what it would take."
    blocks.append(said("sign-off", SIGNED[-1][0], signs, _named(answers.study, SIGNED[-1][0])))
    return Section("", f"Claim {number}", tuple(blocks), on_new_page=True)


def _statement(answers: Answers, row: pd.Series) -> TextTable:
    """Return what the sentence states, field by field; fields that its kind does not use are left out."""
    names, minutes = answers.names, row["minutes"]
    after = judged_after(answers.study, row["attribute"], timed=True) if row["attribute"] else RUBBED_IN
    stamped = f"{when_words(str(row['stamped_at']))} by {row['stamped_by']}" if row["stamped_at"] else ""
    used = "; ".join(str(row[name]) for name in ("media", "territory") if row[name])
    told = [
        ("About", names.prototype(row["prototype"]) if row["prototype"] else ""),
        ("Compared with", names.prototype(row["versus"]) if row["versus"] else ""),
        ("Attribute", names.attribute(row["attribute"]) if row["attribute"] else ""),
        ("Question", str(row["question"] or "")),
        (f"Time {after}", f"{format_number(minutes, 0)} min" if minutes == minutes else ""),
        ("Margin", format_typed(row["margin"]) if row["margin"] == row["margin"] else ""),
        ("Bar", f"{format_number(row['bar'], 0)} %" if row["bar"] == row["bar"] else ""),
    ]
    always = [("Stamped", stamped), ("To be used in", used), ("Wanted by", str(row["owner"] or ""))]
    kind = ("Kind", kind_words(str(row["kind"])))
    return _two_columns("Statement", "Field", "As written down", [kind, *(one for one in told if one[1]), *always])


def _evidence(answers: Answers, found: Claims, number: int, strength: pd.Series) -> list[Block]:
    blocks: list[Block] = []
    own = found.numbers.assign(place=range(len(found.numbers))).loc[found.numbers["number"] == number]
    numbers = own.sort_values("side", key=lambda sides: sides.map([FOR, AGAINST, OPEN, ""].index), kind="stable")
    if len(numbers):
        written = (value_words, interval_words, limit_words)
        rows = [
            (row["side"] or NOTHING, row["what"], *(write(row, answers.names) for write in written))
            for row in numbers.to_dict("records")
        ]
        heads = ["Side", "What", "Estimate", "Interval", "Has to lie"]
        ids = tuple(printed_id("CN", place) for place in numbers["place"])
        blocks.append(TextTable("Numbers that bear on it", _texts(rows, heads), ids))
    else:
        blocks.append(said("paragraph", "No number of this study bears on it."))
    kinds = (("trained panel", "panel"), ("consumers", "consumers"), ("instruments", "instruments"))
    strengths = ", ".join(f"{words} {strength[own]}" for words, own in kinds)
    blocks.append(said("paragraph", f"Evidence of each kind: {strengths}."))
    messages = set(found.findings.loc[found.findings["number"] == number, "message"])  # they stand under the wording
    blocks += points(capital(reason) for reason in reasons_of(found, number) if reason not in messages)
    blocks += [said("caution", words) for words in _claims_on_other_skin(answers.study, (number,))]
    return blocks


def _footnote(found: Claims, row: pd.Series) -> list[Block]:
    lines = footnote_lines(found, int(row["number"]))
    words, *gaps = lines if row["footnote"] else ("", *lines)
    first = said("paragraph", words or "None: nothing was tested that could stand in one.")
    return [first, *(said("gap", gap) for gap in gaps)]


def _rule(kind: str) -> str:
    kinds = shared_table("claim_kinds")
    rows = kinds.loc[kinds["kind"] == kind]
    if rows.empty:
        return "The kind of this claim is not known, so no rule applies."
    row = rows.iloc[0]
    return f"Needed for this kind: {row['minimum_design']}. Shown by: {row['statistic']}. Source: {row['source']}."


def _instead(found: Claims, row: pd.Series) -> list[Block]:
    lines = [f"May be said: {ended(row['suggestion'])}"] if row["suggestion"] else []
    lines += wording_lines(found, int(row["number"]))
    return [said("subheading", "Wording"), *points(lines)] if lines else []


# What was done otherwise than planned? Recorded deviations, notes that touch the protocol, skin that claims are not
# about. Whether it matters is for a person to write; the tool leaves the line empty.


def protocol(answers: Answers) -> Section:
    """Return the part on the protocol, with the plan of the statistics and what was done otherwise than planned."""
    section, recorded = part_study.protocol(answers), read_protocol(answers.study).deviations
    more = (*_statistics_plan(answers), *_deviations(answers.study, recorded))
    return replace(section, blocks=(*section.blocks, *more))


_JUDGEMENT, _EMPTY_LINE = "Judgement (by hand)", "_" * 18
# Words by which a note touches an item of a protocol; common practice, no source.
_TOUCHES = {
    "where on the skin": r"arms?|forearms?|hands?|palms?|fingers?|wrists?|face|cheeks?|legs?|circles?|sites?|side",
    "the skin itself": r"sunburn\w*|burnt?|tan(?:ned)?|eczema|rash(?:es)?|cuts?|scratch\w*|wounds?|broken|irritat\w*"
    r"|red(?:ness)?|shaved|peeling|washed",
    "dose": r"doses?|dosed|mg|grams?|syringes?|pumps?|weighed|amounts?|too (?:much|little)",
    "time and order": r"late|later|early|earlier|order|swapped|switched|minutes?|interrupt\w*|paused?|pauses|delay\w*"
    r"|skipped",
    "who came": r"(?:did|could) not (?:\w+ )?(?:come|return|finish|attend|take part)|absent|missing|missed|ill|sick"
    r"|left (?:early|before)|dropped out|withdrew",
    "samples and batches": r"made again|remade|spil[lt]\w*|mix(?:ed)?[- ]up|wrong|mislabel\w*|relabel\w*|leak\w*"
    r"|contaminat\w*|separated|replaced|ran out",
    "room": r"temperature|humidity|degrees|air[- ]?condition\w*|nois[ey]\w*|perfume|smell\w*|lights?|power cut",
    "blinding": r"saw|seen|knew|recogni[sz]\w*|guess\w*|unblind\w*|told|code was|codes were|name was",
}
_SKIN = {
    "hand": r"hands?|palms?|fingers?",
    "forearm or arm": r"forearms?|arms?|elbows?",
    "face": r"face|facial|cheeks?|foreheads?|chin",
    "eye area": r"eyes?|eyelids?",
    "lips": r"lips?",
    "body": r"body|legs?|shins?|back",
    "feet": r"foot|feet|heels?",
    "hair or scalp": r"hair|scalp",
}


def _items_in(words: dict[str, str], text: str) -> list[str]:
    return [item for item, own in words.items() if re.search(rf"\b(?:{own})(?!\w)", text, re.IGNORECASE)]


def _claims_on_other_skin(study: Study, numbers: Iterable[int] = ()) -> list[str]:
    """Return, in a sentence, which claims of the trained panel are about other skin than it judged on.

    What a claim is about is what its sentence names, else what the product is for by its name.

    `numbers` are the claims to look at, counted from 1; all of them by default.
    """
    area, claims = fact(study, "area"), study.table("claims")
    judged, product = _items_in(_SKIN, area), _items_in(_SKIN, fact(study, "product") or fact(study, "title"))
    asked = set(numbers) or set(range(1, len(claims) + 1))
    other: dict[str, list[int]] = {}
    for number, row in enumerate(claims.to_dict("records"), start=1):
        about = _items_in(_SKIN, str(row["claim"])) or product
        if number in asked and row["attribute"] and judged and about and not set(about) & set(judged):
            other.setdefault(format_list(about), []).append(number)
    return [
        f"{'Claim' if len(own) == 1 else 'Claims'} {format_list([str(number) for number in own])} "
        f"{'is' if len(own) == 1 else 'are'} about the {about}; the trained panel judged elsewhere: {area}."
        for about, own in other.items()
    ]


def _deviations(study: Study, recorded: pd.DataFrame) -> list[Block]:
    noted = study.facts.get("notes")
    notes = [str(note) for note in noted] if isinstance(noted, list) else []
    touched = {note: format_list(_items_in(_TOUCHES, note)) for note in notes}
    rows = [
        (", ".join(part for part in (row["when"], row["session"], row["assessor"]) if part), row["what"], "recorded")
        for row in recorded.to_dict("records")
    ]
    rows += [("", words, "where on the skin") for words in _claims_on_other_skin(study)]
    rows += [("", note, touched[note]) for note in notes if touched[note]]
    blocks: list[Block] = [said("paragraph", "Deviations from the protocol: none recorded, and no note touches it.")]
    if rows:
        shown = _texts(rows, ["When and who", "What was done otherwise", "Touches"])
        shown = shown.replace("", NOTHING).assign(**{_JUDGEMENT: _EMPTY_LINE})
        shown = shown if len(recorded) else shown.drop(columns="When and who")  # a note says neither
        blocks = [TextTable("Deviations from the protocol, recorded or read from the notes", shown)]
    others = [note for note in notes if not touched[note]]
    return [*blocks, *([said("paragraph", "Other notes kept during the study:"), *points(others)] if others else [])]


def _statistics_plan(answers: Answers) -> list[Block]:
    """Return what was laid down before the data, each with its day: bars and margins, rules, planned differences."""
    dated = fact(answers.study, "statistics_plan_dated") or _NOT_RECORDED
    when = said("paragraph", f"Date of the plan as a whole: {dated}.")
    blocks: list[Block] = [said("subheading", "Statistics plan"), when]
    rows = list(_laid_down(answers.study))
    if not rows:
        return [*blocks, said("gap", "Nothing of a statistics plan was recorded before the data.")]
    shown = _texts(rows, ["What", "Laid down", "When and by whom"])
    return [*blocks, TextTable("What was laid down beforehand", shown.replace("", _NOT_RECORDED))]


def _laid_down(study: Study) -> Iterator[tuple[str, str, str]]:
    dated, claims = fact(study, "statistics_plan_dated"), study.table("claims")
    planned = [
        f"{each.get('prototype')} against {each.get('versus')} on {study.attribute_words(str(each.get('attribute')))}"
        for each in entries_of(study, "planned_differences")
    ]
    if planned:
        yield "Differences planned", first_few(planned, 6), dated
    by_plan = margins_stated(study)
    if study.facts.get("margin") is not None and by_plan:
        yield "Difference that matters, trained panel", f"{format_typed(study.facts['margin'])} points", dated
    own_margins = {name: size for name, size in study.margins().items() if size != study.facts.get("margin")}
    for name, size in own_margins.items() if by_plan else ():
        yield f"Difference that matters, {study.attribute_words(name)}", naming(study).number(name, size), dated
    for entry in entries_of(study, "questions"):
        margin = entry.get("margin", entry.get("similar_below"))
        if margin is not None:
            yield f"Margin of '{entry.get('question')}'", format_typed(margin), _by(entry)
    for entry in entries_of(study, "rules"):
        yield "Rule", str(entry.get("words") or entry.get("rule") or ""), _by(entry)
    fixed = claims.loc[claims["stamped_at"] != ""]
    for (when, who), own in fixed.groupby(["stamped_at", "stamped_by"], sort=False):
        yield "Claims with their bars and margins", counted(len(own), "claim"), f"{when_words(str(when))}, {who}"


def _by(entry: dict[str, object]) -> str:
    return ", ".join(str(entry[name]) for name in ("recorded_on", "by") if entry.get(name))


# The annex: what stands in the file already is not said again; tables and lists are cut to what claims are about.


_MOST_ROWS, _MOST_LINES = 30, 6
"""Longer tables and lists of results are cut to the prototypes and attributes that claims are about."""

_RESULTS = "10"  # the part whose lists say in words what its tables hold
_IN_THE_WORKBOOK = frozenset(
    ("CL", "CN", "P", "W", "B", "V", "C", "CA", "CP", "L", "Z", "K", "U", "HT", "HA", "HS", "G", "RP", "XL", "XT")
)
# Each shows what a table printed beside it holds.
_NOT_DRAWN = frozenset(
    ("assessors", "profiles", "liking", "groups", "preference_map", "just_about_right", "term_map", "choices")
)


def as_annex(answers: Answers, before: Sequence[Section], annex: Sequence[Section]) -> tuple[Section, ...]:
    """Return the annex without sentences that stand before it in the file, and cut for paper."""
    claims, names = answers.study.table("claims"), answers.names
    prototypes, attributes = set(claims["prototype"]) - {""}, set(claims["attribute"]) - {""}
    words = [*(names.attribute(name) for name in attributes), *(set(claims["question"]) - {""})]
    said = {line for section in before for block in section.blocks for line in _lines(block)}
    shortened = []
    for section in annex:
        methods = {block.method for block in section.blocks if isinstance(block, Numbers)}
        drawn = (one for one in section.blocks if not (isinstance(one, Picture) and one.name in _NOT_DRAWN))
        blocks: Iterable[Block] = (_cut(block, prototypes, attributes) for block in drawn)
        if section.number == _RESULTS:
            blocks = (_cut_list(block, methods, (words, sorted(prototypes))) for block in blocks)
        shortened.append(replace(section, blocks=tuple(_once(blocks, said))))
    return (replace(shortened[0], on_new_page=len(claims) > 0), *shortened[1:])


def _lines(block: Block) -> tuple[str, ...]:
    repeated = isinstance(block, Words) and block.kind in ("paragraph", "caution", "points")
    return block.texts if isinstance(block, Words) and repeated else ()


def _once(blocks: Iterable[Block], said: set[str]) -> Iterator[Block]:
    """Yield the blocks without sentences that were said; what is said is added. Gaps always stand."""
    for block in blocks:
        lines = _lines(block)
        fresh = tuple(line for line in dict.fromkeys(lines) if line not in said)
        said.update(lines)
        if isinstance(block, Words) and block.kind == "points":
            yield from points(fresh)
        elif fresh or not lines:
            yield block


def _cut(block: Block, prototypes: set[str], attributes: set[str]) -> Block:
    """Return a table with the rows that stand on paper; one of which none would is left to the workbook."""
    if not isinstance(block, Numbers) or not block.printed:
        return block
    if block.code in _IN_THE_WORKBOOK:
        return replace(block, printed=False)
    if len(block.shown) <= _MOST_ROWS:
        return block
    column, wanted = ("prototype", prototypes) if "prototype" in block.full else ("attribute", attributes)
    whole = len(block.shown_ids) == len(block.full_ids) and column in block.full
    places = np.flatnonzero(block.full[column].isin(wanted)) if whole else np.zeros(0, dtype=int)
    if not 0 < len(places) <= _MOST_ROWS:
        return replace(block, printed=False)
    return replace(block, on_paper=tuple(map(int, places)))


def _cut_list(block: Block, methods: set[str], wanted: Sequence[Sequence[str]]) -> Block:
    """Return a list of results with the lines about what claims are about, those of attributes first.

    What was done, and what it cannot show, is never cut: such a list begins with the method of a table.
    """
    if not isinstance(block, Words) or block.kind != "points" or len(block.texts) <= _MOST_LINES:
        return block
    if block.texts[0] in methods:
        return block
    kept: list[str] = []
    for words in wanted:
        named = re.compile("|".join(rf"(?<!\w){re.escape(word)}(?!\w)" for word in words) or "(?!)")
        kept += [line for line in block.texts if named.search(line) and line not in kept]
    kept = (kept or list(block.texts))[:_MOST_LINES]
    left = len(block.texts) - len(kept)
    chosen = tuple(line for line in block.texts if line in kept)
    rest = f"{counted(left, 'more line')} of this kind: the tables and the workbook hold their numbers."
    return said("points", *chosen, rest)
