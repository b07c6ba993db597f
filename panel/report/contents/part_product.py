"""Parts 3, 4 and 11: which product this is, whether it was safe to apply, and what it was compared with."""

from __future__ import annotations

from panel.plan.reactions import reactions
from panel.plan.safety import RED, safety_gate, sign_offs
from panel.report.contents.blocks import Block, Caution, Gap, Paragraph, Section, TextTable
from panel.report.contents.days import first_test_day
from panel.report.contents.parts import fact, or_gap, picture, points, stated
from panel.report.contents.results import Results
from panel.report.contents.tables_emollients import batches, formulas
from panel.study.blend import emollient_blend
from panel.study.swaps import matched_pairs
from panel.views.decision.evidence_tables import recorded_table
from panel.views.emollients.swap_pictures import blend_figure, blend_svg
from panel.views.emollients.swap_words import blend_alt_text
from panel.views.planning.safety_tables import checklist_table, gate_table, reactions_table
from panel.views.planning.safety_words import what_the_gate_says


def product(results: Results) -> Section:
    """Return formulas, batches and age, pack, and whether the formula sold is the formula tested."""
    study, blocks = results.study, [or_gap(formulas(results))]
    blend = emollient_blend(study)
    if len(blend):
        pairs, names = matched_pairs(study), results.names
        blocks.append(
            picture(
                "blends",
                "The emollient part of each prototype",
                blend_alt_text(blend, names),
                lambda: blend_svg(blend, names, pairs),
                lambda: blend_figure(blend, names, pairs),
            )
        )
    blocks += [
        or_gap(batches(results)),
        stated(
            study, "formula_version", "Version of the formulas", "The study does not name a version of the formulas."
        ),
        stated(study, "pack", "Pack", "The study does not say in which pack the prototypes were kept and served."),
        stated(
            study,
            "marketed_formula",
            "The formula sold and the formula tested",
            "Nobody has stated that the formula to be sold is the formula tested, or why the results carry over.",
        ),
    ]
    return Section("3", "Product identity", tuple(blocks))


def safety(results: Results) -> Section:
    """Return the record of the safety gate and of adverse events."""
    study = results.study
    blocks: list[Block] = [Caution("This is a record of what named persons signed. It is not a safety assessment.")]
    if sign_offs(study).empty:
        blocks.append(Gap("No sign-off of the safety gate is recorded in this study."))
    elif day := first_test_day(study):
        gate = safety_gate(study, day)
        blocks += [Paragraph(f"The safety gate as it stood on {day}."), *points(what_the_gate_says(gate))]
        blocks.append(TextTable("Safety gate of each batch", gate_table(gate)))
        worst = gate.batches.sort_values("state", key=lambda states: states != RED, kind="stable")
        for batch in worst["batch"].head(1):
            blocks.append(TextTable(f"Checklist of batch {batch}", checklist_table(gate, str(batch))))
    else:
        blocks.append(Gap("The study has no date of a test, so it cannot be said what was signed by then."))
    blocks += _events(results)
    blocks.append(
        stated(
            study,
            "consent",
            "Consent",
            "The study does not name the template of the consent form. Signed forms are kept apart from the study.",
        )
    )
    return Section("4", "Safety gate and adverse events", tuple(blocks))


def _events(results: Results) -> list[Block]:
    events = reactions(results.study)
    if events.empty:
        return [
            Paragraph("Adverse events: none recorded. That nothing is recorded does not show that nothing happened.")
        ]
    return [TextTable("Adverse events", reactions_table(events))]


def references(results: Results) -> Section:
    """Return what the prototypes were compared with, and how it was bought and stored."""
    study = results.study
    table = study.table("prototypes")
    compared = table.loc[table["role"].isin(["benchmark", "reference"])]
    blocks: list[Block] = []
    if compared.empty:
        blocks.append(Gap("The study names no benchmark and no reference."))
    else:
        words = {"prototype": "Short name", "name": "Name", "role": "Role", "note": "Note"}
        blocks.append(TextTable("Benchmark and references", recorded_table(compared, words)))
    text = fact(study, "references")
    missing = "The study does not say where the references come from, how old they were and how they were stored."
    blocks.append(Paragraph(f"How they were bought and stored: {text}") if text else Gap(missing))
    return Section("11", "References used", tuple(blocks))
