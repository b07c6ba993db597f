"""Parts 12, 14, 15 and 16: limits, sign-offs, when to look again, and the decision."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from panel.errors import PanelError
from panel.models.decision.record import decisions_so_far, first_changed_decision
from panel.plan.roles import ANALYST, CLAIM_REVIEWER, FORMULATOR, PANEL_LEADER, Person, people
from panel.report.contents.blocks import Block, Caution, Gap, Paragraph, Points, Section, SignOff, Subheading, TextTable
from panel.report.contents.days import days_told
from panel.report.contents.parts import fact, not_there, or_gap, picture, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_claims import decision_pairs, gates, ranking, windows
from panel.study.knowledge import cautions
from panel.views.decision.decision_pictures import chances_alt_text, chances_figure, chances_svg
from panel.views.decision.decision_words import (
    decision_headline,
    what_the_decision_cannot_show,
    what_the_decision_shows,
)
from panel.views.decision.evidence_tables import recorded_table
from panel.views.prototypes.difference_words import what_the_differences_cannot_show
from panel.views.prototypes.map_words import what_the_map_cannot_show

_SIGNED = (
    (PANEL_LEADER, "The sessions were run as the protocol says, or the deviations are listed."),
    (ANALYST, "I did not make the prototypes. The analysis is the one described, on the data whose hash stands here."),
    (CLAIM_REVIEWER, "I have read the evidence for each claim, its gaps and its limits."),
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
_USE = {"Who": "panel", "Dose": "dose", "Where on the skin": "area"}
_RECHECK = (
    "the formula changes, also by one ingredient or its amount",
    "the grade or the supplier of an emollient changes",
    "the preservative or the pack changes",
    "what it was compared with is no longer sold, or has changed",
    "the use that the claim speaks of changes: dose, site, people, time",
)


def limits(results: Results) -> Section:
    """Return who, when and how long, and what is not shown."""
    blocks: list[Block] = list(points(limit_sentences(results)))
    known = cautions()
    words = known.loc[known["applies"].isin(["always", "with any result", "with any claim"]), "words"]
    return Section("12", "Limits", (*blocks, Points(tuple(words))))


def limit_sentences(results: Results) -> Iterator[str]:
    """Yield what a reader must not take from the results."""
    found, placed = results.differences, results.map
    told = {label: fact(results.study, name) for label, name in _USE.items()} | {"When": days_told(results.study)}
    for label, text in told.items():
        yield f"{label}: {text}." if text else f"{label}: not stated."
    if not isinstance(found, NotThere):
        yield from what_the_differences_cannot_show(found)
    if not isinstance(placed, NotThere):
        yield from what_the_map_cannot_show(placed)


def sign_offs(results: Results) -> Section:
    """Return room for three signatures; the tool never signs."""
    intro = Paragraph("Each signs for what stands beside the name. The program leaves this empty and cannot sign.")
    try:
        team = people(results.study)
    except PanelError as error:
        return Section("14", "Sign-offs", (intro, Gap(str(error)), *_blocks(())))
    blocks: list[Block] = [intro, *_blocks(team)]
    doubly = [person.person for person in team if FORMULATOR in person.roles and ANALYST in person.roles]
    if doubly:
        blocks.append(Gap(f"{', '.join(doubly)} made prototypes and analysed them: the analyst is not independent."))
    return Section("14", "Sign-offs", tuple(blocks))


def _blocks(team: tuple[Person, ...]) -> tuple[SignOff, ...]:
    return tuple(
        SignOff(role, states, ", ".join(person.person for person in team if role in person.roles))
        for role, states in _SIGNED
    )


def expiry(results: Results) -> Section:
    """Return when the evidence has to be looked at again."""
    years = fact(results.study, "recheck_after_years")
    last = (
        Points((f"Look again at the latest after {years} years.",))
        if years
        else Gap("Nobody has set after how many years the evidence is to be looked at again.")
    )
    blocks = (
        Paragraph("The evidence no longer stands as it is, and has to be looked at again, when"),
        Points(_RECHECK),
        last,
    )
    return Section("15", "Expiry", blocks)


def decision(results: Results) -> Section:
    """Return what was decided, by whom and when, and how the prototypes stand against the target profile."""
    recorded = decisions_so_far(results.study)
    blocks: list[Block] = [Gap("No decision is recorded in this study.")] if recorded.empty else _decided(recorded)
    found, names = results.decision, results.names
    blocks += [Subheading("The prototypes against the target profile")]
    if isinstance(found, NotThere):
        return Section("16", "Decision record", (*blocks, not_there(found)))
    blocks += [Caution("People decide. What follows is what the evidence says about the choice.")]
    blocks += [Paragraph(decision_headline(found)), *points(what_the_decision_shows(found, names))]
    blocks.append(
        picture(
            "decision",
            "Chance that each prototype lies in each target window",
            chances_alt_text(found, names),
            lambda: chances_svg(found, names),
            lambda: chances_figure(found, names),
        )
    )
    blocks += [or_gap(make(results)) for make in (ranking, windows, gates, decision_pairs)]
    blocks += points([found.method, *found.notes, *what_the_decision_cannot_show()])
    return Section("16", "Decision record", tuple(blocks))


def _decided(recorded: pd.DataFrame) -> list[Block]:
    blocks: list[Block] = [TextTable("Decisions, in the order they were made", recorded_table(recorded, _DECIDED))]
    broken = first_changed_decision(recorded)
    if broken is not None:
        blocks.append(Gap(f"Decision {broken + 1} was changed after it was written, or one before it is gone."))
    if not bool(recorded["same_data"].iloc[-1]):
        blocks.append(Gap("The study was changed after the last decision: it was taken on other data than these."))
    return blocks
