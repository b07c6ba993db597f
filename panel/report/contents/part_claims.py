"""Parts 1, 2 and 13: the claim sheet, which evidence stands behind each claim, and what may be said."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from panel.answers import Answers, NoAnswer
from panel.checks.moments_recorded import broken_chain, first_broken_link, stamps_hash
from panel.claims.claim import SELF_DECLARED
from panel.claims.judge import CLAIMS, Claims
from panel.claims.verdict import NOT_THIS_TOOL, VERDICTS
from panel.errors import PanelError
from panel.models.emollients.readings import JoinedReadings
from panel.plan.protocol import ANALYST, CLAIM_REVIEWER, FORMULATOR, PANEL_LEADER, people
from panel.report.contents.blocks import (
    Block,
    Numbers,
    Section,
    TextTable,
    fact,
    not_there,
    numbers,
    or_gap,
    points,
    said,
)
from panel.study.knowledge import shared_table
from panel.study.shown import Source, shown
from panel.views.decision.claims import (
    CLAIM_NUMBERS,
    CLAIMS_TABLE,
    claims_headline,
    kind_words,
    local_law,
    recorded_table,
    verdict_words,
    what_claims_cannot_show,
)
from panel.views.planning.study import what_the_findings_say
from panel.views.prototypes.differences import tell_differences
from panel.views.prototypes.map import tell_map
from panel.words import capital, format_list

_SHEET = {
    "number": "Claim",
    "kind": "Kind",
    "prototype": "About",
    "versus": "Compared with",
    "attribute": "Attribute",
    "question": "Question",
    "minutes": "Minutes",
    "margin": "Margin",
    "bar": "Bar",
}
_WHERE = {
    "media": "Media",
    "territory": "Territory",
    "owner": "Owner",
    "stamped_at": "Stamped at",
    "stamped_by": "Stamped by",
}
_MATRIX = {
    "number": "Claim",
    "panel": "Trained panel",
    "consumers": "Consumers",
    "instruments": "Instruments",
    "strength": "In all",
}


def claim_sheet(answers: Answers) -> Section:
    """Return the claims in their exact wording, as they were written down."""
    return Section("1", "Claim sheet", tuple(_sheet(answers)))


def _sheet(answers: Answers) -> list[Block]:
    claims = answers.study.table("claims")
    if claims.empty:
        return [said("gap", _NO_CLAIMS)]
    claims = claims.assign(
        kind=claims["kind"].map(kind_words),
        attribute=[answers.names.attribute(str(name)) if name else "" for name in claims["attribute"]],
        stamped_at=claims["stamped_at"].str.replace("T", " "),
        number=[str(number) for number in range(1, len(claims) + 1)],
    )
    filled = {name for name in claims if (claims[name].astype("str").replace("nan", "") != "").any()}
    told = {name: words for name, words in _SHEET.items() if name in filled}
    sentences = said("paragraph", "Each sentence stands in its exact wording on the page of its claim.")
    blocks: list[Block] = [sentences, TextTable("Claims as they were written down", recorded_table(claims, told))]
    where = {name: words for name, words in _WHERE.items() if name in filled}
    if where and len(claims[list(where)].drop_duplicates()) == 1:
        same = "; ".join(f"{words}: {claims[name].iloc[0]}" for name, words in where.items())
        blocks.append(said("paragraph", f"For every claim: {same}."))
    elif where:
        shown = recorded_table(claims, {"number": "Claim", **where})
        blocks.append(TextTable("Where they are to be made, by whom, and when they were stamped", shown))
    anchor = f"SHA-256 over all stamps, to be signed or time-stamped: {stamps_hash(answers.study.table('claims'))}"
    blocks += points([SELF_DECLARED, anchor])
    broken = first_broken_link(answers.study.table("claims"))
    if broken is not None:
        blocks.append(said("gap", broken_chain(broken)))
    missing = [words.lower() for name, words in _WHERE.items() if name not in filled]
    return [*blocks, said("gap", f"Not written down for any claim: {', '.join(missing)}.")] if missing else blocks


def evidence_of_claims(answers: Answers) -> Section:
    """Return the evidence behind each claim, its strength and its gaps."""
    found, title = claims_of(answers), "Evidence behind each claim"
    if isinstance(found, NoAnswer):
        return Section("2", title, (not_there(found),))
    matrix = evidence_matrix(found, answers.readings)
    blocks: list[Block] = [said("paragraph", claims_headline(found))]
    blocks.append(TextTable("Strength of the evidence: direct, partial or none", recorded_table(matrix, _MATRIX)))
    bare = [str(number) for number in matrix.loc[matrix["strength"] == "none", "number"]]
    blocks += [said("gap", f"No evidence of this study bears on claim {number}.") for number in bare]
    blocks += [or_gap(verdicts(answers)), or_gap(all_numbers(answers))]
    return Section("2", title, (*blocks, *points([found.method, *found.notes, *what_claims_cannot_show()])))


def wording(answers: Answers) -> Section:
    """Return which claims may be made as they are worded; the page of each says what may be said instead."""
    found = claims_of(answers)
    if isinstance(found, NoAnswer):
        return Section("13", "Wording options", (not_there(found),))
    lines = []
    for verdict in VERDICTS:
        numbers = [str(number) for number in found.claims.loc[found.claims["verdict"] == verdict, "number"]]
        if numbers:
            lines.append(f"{verdict_words(verdict)}: claim{'' if len(numbers) == 1 else 's'} {format_list(numbers)}.")
    where = said("paragraph", "What may be said instead, with its footnote, stands on the page of each claim.")
    return Section("13", "Wording options", (said("caution", local_law()), *points(lines), where))


# Parts 12, 14, 15 and 16: limits, sign-offs, when to look again, and the decision.


SIGNED = (
    (PANEL_LEADER, "The sessions were run as the protocol says, or the deviations are listed."),
    (ANALYST, "I did not make the prototypes. The analysis is the one described, on the data whose hash stands here."),
    (CLAIM_REVIEWER, "I have read the evidence for each claim, its gaps and its limits."),
)
_USE = {"Who": "panel", "Dose": "dose", "Where on the skin": "area"}
_RECHECK = (
    "the formula changes, also by one ingredient or its amount",
    "the grade or the supplier of an emollient changes",
    "the preservative or the pack changes",
    "what it was compared with is no longer sold, or has changed",
    "the use that the claim speaks of changes: dose, site, people, time",
)


def limits(answers: Answers, days: str) -> Section:
    """Return who, when (`days` in words) and how long, and what is not shown."""
    known = shared_table("cautions")
    words = known.loc[known["applies"].isin(["always", "with any result", "with any claim"]), "words"]
    return Section("12", "Limits", (*points(_limit_sentences(answers, days)), said("points", *words)))


def _limit_sentences(answers: Answers, days: str) -> Iterator[str]:
    found, placed = answers.differences, answers.map
    told = {label: fact(answers.study, name) for label, name in _USE.items()} | {"When": days}
    for label, text in told.items():
        yield f"{label}: {text}." if text else f"{label}: not stated."
    if not isinstance(found, NoAnswer):
        yield from answers.tell(tell_differences, found).cannot
    if not isinstance(placed, NoAnswer):
        yield from answers.tell(tell_map, placed).cannot


def sign_offs(answers: Answers) -> Section:
    """Return whose signatures are wanted, and whether those people can sign; the lines stand before the annex."""
    gaps, where = [], "The lines to sign stand on the first two pages and on the page of each claim."
    try:
        team = people(answers.study)
        roles = {role for held in team["roles"] for role in held}
        if unnamed := [role for role, _ in SIGNED if role not in roles]:
            gaps.append(f"The study does not say who is {format_list(unnamed)}.")
        both = [{FORMULATOR, ANALYST} <= {*held} for held in team["roles"]]
        if doubly := team.loc[both, "person"].astype("str").tolist():
            gaps.append(f"{', '.join(doubly)} made prototypes and analysed them: the analyst is not independent.")
    except PanelError as error:
        gaps.append(str(error))
    return Section("14", "Sign-offs", (said("paragraph", where), *(said("gap", gap) for gap in gaps)))


def expiry(answers: Answers) -> Section:
    """Return when the evidence has to be looked at again."""
    years = fact(answers.study, "recheck_after_years")
    last = said("gap", "Nobody has set after how many years the evidence is to be looked at again.")
    if years:
        last = said("points", f"Look again at the latest after {years} years.")
    when = "The evidence no longer stands as it is, and has to be looked at again, when"
    return Section("15", "Expiry", (said("paragraph", when), said("points", *_RECHECK), last))


# What does somebody read who has two pages' time? What was found, question by question, and the limits.


def limits_in_short(answers: Answers) -> list[str]:
    """Return what may mislead in the data, for the first pages; everything else stands in the annex."""
    grave = [finding for finding in answers.findings if finding.severity in ("stop", "warning")]
    lines = [f"Of the data: {what_the_findings_say(answers.findings)}"] if grave else []
    return [*lines, *(capital(f"{finding.where}: {finding.message}") for finding in grave[:4])]


# Which kinds of evidence stand behind each claim, and how directly? A plain rule of ours, not of any guide.
#
# A number of the trained panel or of consumers is direct evidence for a claim it was asked for, partial if the claim
# was not fixed before the data, or if its kind needs both and only one is there. An instrument reading is partial
# evidence at most: it was paired with the attribute beforehand, but what people feel is for people to say.


_DIRECT, _PARTIAL, _NONE = "direct", "partial", "none"


def evidence_matrix(claims: Claims, readings: JoinedReadings | NoAnswer) -> pd.DataFrame:
    """Return `number claim panel consumers instruments strength`: each direct, partial or none."""
    paired = set() if isinstance(readings, NoAnswer) else set(readings.partners["attribute"])
    rows = []
    for row in claims.claims.to_dict("records"):
        own = claims.numbers.loc[(claims.numbers["number"] == row["number"]) & claims.numbers["estimate"].notna()]
        of_people = _strengths(own, str(row["kind"]), late=bool(row["exploratory"]))
        instruments = _PARTIAL if row["attribute"] in paired else _NONE
        if row["verdict"] == NOT_THIS_TOOL:
            of_people, instruments = (_NONE, _NONE), _NONE
        found = (*of_people, instruments)
        best = next(strength for strength in (_DIRECT, _PARTIAL, _NONE) if strength in found)
        rows.append((row["number"], row["claim"], *found, best))
    return pd.DataFrame(rows, columns=["number", "claim", *("panel", "consumers", "instruments", "strength")])


def _strengths(numbers: pd.DataFrame, kind: str, *, late: bool) -> tuple[str, str]:
    of_consumers, of_panel = bool((numbers["unit"] == "%").any()), bool((numbers["unit"] != "%").any())
    whole = _DIRECT if not late and (kind != "absolute_negative" or (of_panel and of_consumers)) else _PARTIAL
    return (whole if of_panel else _NONE, whole if of_consumers else _NONE)


_SCORES = Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus"))
_ANSWERS = Source("answers", same={"question": "question"})
_NO_CLAIMS = "Nobody has written down a claim, so none is judged here."


def claims_of(answers: Answers) -> Claims | NoAnswer:
    """Return the claims with their verdicts; why there are none where none is written down."""
    found = answers.ask(CLAIMS)
    return NoAnswer(_NO_CLAIMS) if isinstance(found, Claims) and found.claims.empty else found


def verdicts(answers: Answers) -> Numbers | NoAnswer:
    """Return the verdict on each claim with the number that decides."""
    found = claims_of(answers)
    if isinstance(found, NoAnswer):
        return found
    title, told = "Verdict on each claim, with the number that decides", shown(CLAIMS_TABLE, found, answers.names)
    return numbers("CL", title, told, found.in_order, ["number"], found.method, _SCORES, _ANSWERS)


def all_numbers(answers: Answers) -> Numbers | NoAnswer:
    """Return every number that a claim was held against."""
    found = answers.ask(CLAIMS)
    if isinstance(found, NoAnswer):
        return found
    if found.numbers.empty:
        return NoAnswer("No claim could be held against a number.")
    about = found.claims.set_index("number")[["prototype", "versus", "question"]]
    places = found.numbers.groupby("number").cumcount() + 1
    full, key = found.numbers.join(about, on="number").assign(place=places), ["number", "place"]
    title = "Every number that a claim was held against"
    return numbers("CN", title, shown(CLAIM_NUMBERS, found, answers.names), full, key, found.method, _SCORES, _ANSWERS)
