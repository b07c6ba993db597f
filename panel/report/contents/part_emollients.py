"""The part of the results on emollients and instrument readings: what the swaps did, and how far that can be traced."""

from __future__ import annotations

from panel.report.contents.blocks import Block, Gap, Paragraph, Subheading, TextTable
from panel.report.contents.parts import or_gap, picture, points
from panel.report.contents.results import NotThere, Results
from panel.report.contents.tables_emollients import interactions, partners, prediction, reading_swaps, readings, swaps
from panel.study.blend import emollient_blend
from panel.views.emollients.ladder_tables import ladder_table
from panel.views.emollients.ladder_words import ladder_headline, what_the_ladder_cannot_show
from panel.views.emollients.reading_words import partner_sentences, screening_sentences, what_readings_cannot_show
from panel.views.emollients.swap_pictures import swap_figure, swap_svg
from panel.views.emollients.swap_words import (
    alias_sentences,
    interaction_sentences,
    moves_sentence,
    swap_alt_text,
    what_the_swaps_cannot_show,
)


def emollients(results: Results) -> list[Block]:
    """Return what made the difference."""
    found, names = results.swaps, results.names
    blocks: list[Block] = [Subheading("What the emollients did")]
    if isinstance(found, NotThere):
        return [*blocks, Gap(found.why)]
    blend = emollient_blend(results.study)
    used = int((blend > 0).any().sum())
    blocks += points([moves_sentence(found, len(blend), used), *alias_sentences(found)])
    if len(found.swaps):
        blocks.append(
            picture(
                "swaps",
                "Effect of each swap on each attribute",
                swap_alt_text(found, names),
                lambda: swap_svg(found, names),
                lambda: swap_figure(found, names),
            )
        )
    blocks += [or_gap(swaps(results)), *points(interaction_sentences(found, names)), or_gap(interactions(results))]
    blocks += [*points([found.method, *found.notes, *what_the_swaps_cannot_show()]), *_ladder(results)]
    return blocks


def _ladder(results: Results) -> list[Block]:
    found = results.ladder
    if isinstance(found, NotThere):
        return [Gap(found.why)]
    blocks: list[Block] = [Paragraph(ladder_headline(found))]
    blocks.append(TextTable("How far the evidence carries, rung by rung", ladder_table(found, results.names)))
    return [*blocks, or_gap(prediction(results)), *points(what_the_ladder_cannot_show())]


def instruments(results: Results) -> list[Block]:
    """Return what the instruments say beside the panel."""
    blocks: list[Block] = [Subheading("Instrument readings beside the panel")]
    if results.study.table("readings").empty and results.study.table("curves").empty:
        return [*blocks, Paragraph("Instrument readings: not part of this study.")]
    found = results.readings
    if isinstance(found, NotThere):
        return [*blocks, Gap(found.why)]
    blocks += [*points(partner_sentences(found, results.names)), *points(screening_sentences(found, results.names))]
    blocks += [or_gap(readings(results)), or_gap(partners(results)), or_gap(reading_swaps(results))]
    return [*blocks, *points([found.method, *found.notes, *what_readings_cannot_show()])]
