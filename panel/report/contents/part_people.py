"""Part 6: who judged, how they were chosen, how the trained panel worked, and which consumers dropped out."""

from __future__ import annotations

from panel.checks.places import counted, listed
from panel.report.contents.blocks import Block, Paragraph, Section, Subheading
from panel.report.contents.parts import or_gap, picture, points, stated
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_assessors import each_assessor, panel, people, without
from panel.study.study import Study
from panel.views.assessors.assessor_pictures import grid_figure, grid_svg
from panel.views.assessors.assessor_words import (
    panel_headline,
    what_the_assessors_show,
    what_the_panel_check_cannot_show,
)


def who_judged(results: Results) -> Section:
    """Return panel and consumers."""
    blocks = [*_panel(results), *_consumers(results.study)]
    return Section("6", "Panel and consumers", tuple(blocks))


def _panel(results: Results) -> list[Block]:
    study = results.study
    blocks: list[Block] = [
        Subheading("Trained panel"),
        stated(study, "panel", "Panel", "The study does not describe its panel."),
        stated(
            study,
            "recruitment",
            "Recruiting and screening",
            "How the assessors were recruited and screened is not stated.",
        ),
        stated(study, "training", "Training", "How the assessors were trained is not stated."),
    ]
    found = results.panel
    if isinstance(found, NotThere):
        return [*blocks, or_gap(found)]
    blocks += [Paragraph(panel_headline(found)), *points(what_the_assessors_show(found, results.names))]
    blocks += [or_gap(people(results)), _grid(results), or_gap(panel(results)), or_gap(without(results))]
    blocks += [or_gap(each_assessor(results)), *points([found.method, *found.notes])]
    return [*blocks, *points(what_the_panel_check_cannot_show(found))]


def _grid(results: Results) -> Block:
    found = results.panel
    if isinstance(found, NotThere):
        return or_gap(found)
    return picture(
        "assessors",
        "Each assessor on each attribute",
        "Grid of assessors and attributes with a mark where something stands out; the table above has the numbers.",
        lambda: grid_svg(found, results.names),
        lambda: grid_figure(found, results.names),
    )


def _consumers(study: Study) -> list[Block]:
    answers = study.table("answers")
    if answers.empty:
        return [Subheading("Consumers"), Paragraph("Consumers: not part of this study.")]
    blocks: list[Block] = [
        Subheading("Consumers"),
        stated(study, "users", "Consumers", "Age, use and other facts about the consumers are not stated."),
        stated(
            study, "screener", "Screener and quotas", "The screener and the quotas of the consumers are not stated."
        ),
    ]
    return [*blocks, *points([f"{counted(answers['assessor'].nunique(), 'consumer')} answered.", *_dropped(study)])]


def _dropped(study: Study) -> list[str]:
    """Return, for each session that was planned, how many of those served answered, and who did not."""
    answers, servings = study.table("answers"), study.table("servings")
    people = study.table("assessors")
    consumers = set(people.loc[people["kind"] == "consumer", "assessor"])
    lines = []
    for session, rows in servings.loc[servings["assessor"].isin(consumers)].groupby("session", sort=False):
        served = list(dict.fromkeys(rows["assessor"]))
        came = set(answers.loc[answers["session"] == session, "assessor"])
        gone = [who for who in served if who not in came]
        missing = f"; without an answer: {listed(gone, 10)}" if gone else ""
        planned = counted(len(served), "consumer")
        lines.append(f"Session {session}: {planned} planned, {len(served) - len(gone)} answered{missing}.")
    return lines
