"""Page: what would another blend feel like, and which prototype to make next?"""

from __future__ import annotations

import streamlit as st

from panel.answers import NEXT, PREDICTION
from panel.app.state import keep, leave_message, moment
from panel.app.widgets import ask, attempt, close, heading, how_computed, page, picture, plain, say, table
from panel.models.emollients.prediction_model import PredictionModel
from panel.models.emollients.predictions import (
    WhatIf,
    judge_predictions,
    keep_prediction,
    kept_predictions,
    study_targets,
    what_if,
)
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.emollients.next_prototype import (
    next_headline,
    prediction_figure,
    prediction_svg,
    proposal_words,
    proposals_table,
    record_sentences,
    record_table,
    what_if_alt_text,
    what_if_headline,
    what_if_sentences,
    what_if_table,
)

study = page("Next prototype")
names = naming(study.study)


def proposals(names: Naming) -> None:
    """Show what to make next, and why."""
    result = attempt(study.answer, NEXT)
    if result is None:
        return
    st.markdown(f"**{plain(next_headline(result))}**")
    for told in proposal_words(result, names):
        st.subheader(plain(told.title), anchor=False)
        st.markdown(plain(told.blend))
        say([told.expect, told.teaches, *told.mind])
    table(proposals_table(result), name="proposals", alt="Blends proposed", full=result.blends)
    with st.expander("How these were found"):
        say([result.method, *result.notes])


def typed_blend(model: PredictionModel) -> dict[str, float]:
    """Return the blend typed in, per cent of the formula, starting from a prototype."""
    amounts = model.level.amounts
    made = [str(name) for name in amounts.index]
    start = st.selectbox("Start from", made, format_func=names.prototype, key=study.choice("blend from"))
    columns = st.columns(3)
    blend: dict[str, float] = {}
    for place, emollient in enumerate(model.level.emollients):
        with columns[place % 3]:
            key = study.choice(f"blend {start} {emollient}")
            held = amounts[emollient].to_dict()
            text = st.text_input(f"{plain(emollient)}, %", f"{held[start]:g}", key=key)
        blend[emollient] = ask(typed_number, text or "0", emollient) or 0.0
    total = float(model.level.base_amounts.sum())
    st.caption(f"Emollients together: {sum(blend.values()):.2f} %; the prototypes hold {total:.2f} %. Keep it.")
    return blend


def another_blend(model: PredictionModel, names: Naming) -> None:
    """Show what to expect from a blend that nobody made."""
    heading("What if")
    result = attempt(what_if, model, typed_blend(model), study_targets(study.study))
    if result is None:
        return
    st.markdown(f"**{plain(what_if_headline(result, model.level.base))}**")
    say(what_if_sentences(result, names))
    if result.inside:
        picture(
            prediction_svg(result, names),
            lambda: prediction_figure(result, names),
            name="what_if",
            alt=what_if_alt_text(result, names),
        )
    table(what_if_table(result, names), name="what_if", alt="What to expect", full=result.profile)
    with st.expander("How it was predicted"):
        say([result.method, *result.notes])
    if result.inside and not result.made_as:
        keep_form(model, result)


def keep_form(model: PredictionModel, told: WhatIf) -> None:
    """Let the user write the prediction down, to be held against the outcome."""
    with st.form("keep prediction", clear_on_submit=True):
        name = st.text_input("Short name the new prototype will have", placeholder="such as P9")
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}")
        if not st.form_submit_button("Write this prediction down before making it"):
            return
    typed, day = (name or "").strip(), moment()[:10]
    said = attempt(
        lambda: keep(
            study,
            lambda now: keep_prediction(now, model, told, typed, day),
            "The prediction is written down.",
            to_disk=to_disk,
        )
    )
    if said is not None:
        leave_message(said)
        st.rerun()


def record(names: Naming) -> None:
    """Show how earlier predictions turned out."""
    if not kept_predictions(study.study):
        return
    heading("Predictions and outcomes")
    found = attempt(judge_predictions, study.study)
    if found is not None:
        say(record_sentences(found))
        table(record_table(found, names), name="predictions", alt="Predictions beside outcomes", full=found.outcomes)


model = ask(study.answer, PREDICTION)
proposals(names)
another_blend(model, names)
record(names)
how_computed(
    "A prediction comes from the swaps that were tested, in this base, with this panel.",
    (),
    (
        "A prediction is no result: make the prototype and test it.",
        "Outside the region that was tested nothing but a direction can be told.",
        "Nothing here says whether the cream will be stable, safe, or liked.",
    ),
)
close()
