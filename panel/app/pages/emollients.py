"""Page: which emollient swap made the difference?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.pages.evidence_file import cascade, evidence
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, close, heading, how_computed, page, picture, plain, say, table
from panel.models.emollients.descriptors import BlendDescriptors
from panel.models.emollients.swaps import TracedSwaps
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming, naming
from panel.views.emollients.swap_pictures import blend_figure, blend_svg, swap_figure, swap_svg
from panel.views.emollients.swaps import (
    SwapSummary,
    alias_sentences,
    blend_alt_text,
    descriptors_table,
    interaction_sentences,
    moves_sentence,
    swap_alt_text,
    swap_summaries,
    swaps_table,
    what_the_swaps_cannot_show,
)


def summary(swap: SwapSummary) -> None:
    """Write what one swap did, the everyday words first."""
    st.subheader(plain(swap.title), anchor=False)
    lines = [f"- **{plain(word.capitalize())}:** {plain(text)}" for word, text in swap.lines]
    st.markdown("\n".join([plain(swap.opening), "", *(lines or ["- nothing stands out."])]))
    if swap.perhaps:
        st.markdown(plain(f"May be chance: {'; '.join(text for _, text in swap.perhaps)}."))
    for note in swap.mind:
        st.markdown(f":material/warning: **Mind:** {plain(note)}")
    if swap.cannot_say:
        st.caption(plain(swap.cannot_say))


def effects(result: TracedSwaps, names: Naming) -> None:
    """Show what every swap did: words, picture, table."""
    for swap in swap_summaries(result, names):
        summary(swap)
    if len(result.interactions):
        heading("Two swaps together")
        say(interaction_sentences(result, names))
    if len(result.swaps) + len(result.joint):
        heading("All effects")
        alt = swap_alt_text(result, names)
        picture(swap_svg(result, names), lambda: swap_figure(result, names), name="swaps", alt=alt)
        with st.expander("Table of all effects"):
            table(
                swaps_table(result, names), name="swaps", alt="Effect of each swap on each attribute", full=result.swaps
            )


def blends(study: StudyInUse, result: TracedSwaps | None, names: Naming) -> None:
    """Show what the emollient part of each prototype is made of, and what goes together in it."""
    blend = emollient_blend(study.study)
    if blend.empty:
        return
    heading("The emollient part of each prototype")
    if result is not None:
        say([moves_sentence(result, *blend.shape), *alias_sentences(result)])
    pairs = None if result is None else result.pairs
    picture(
        blend_svg(blend, names, pairs),
        lambda: blend_figure(blend, names, pairs),
        name="blends",
        alt=blend_alt_text(blend, names),
    )


def blend_descriptors(result: BlendDescriptors) -> None:
    """Show the descriptors with how much of the mass they rest on."""
    heading("What the blends are like")
    st.caption("From tables of emollient properties, not measured on these prototypes. Mind the last two columns.")
    table(descriptors_table(result), name="descriptors", alt="Descriptors of each blend", full=result.values)
    with st.expander("How the descriptors were computed"):
        st.markdown(plain(result.method))
        say(result.notes)


study = page("Emollients")
names = naming(study.study)
traced = attempt(cached.swaps, study.key, study.study)
if traced is not None:
    effects(traced, names)
blends(study, traced, names)
if len(emollient_blend(study.study)):
    described = attempt(cached.descriptors, study.key, study.study)
    if described is not None:
        cascade(described, names)
        blend_descriptors(described)
if traced is not None:
    evidence(study, names)
    how_computed(traced.method, traced.notes, what_the_swaps_cannot_show())
close()
