"""Page: what may be said, and what would it take to say more?"""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from panel.app.state import StudyInUse, keep, leave_message, moment
from panel.app.widgets import ask, close, heading, how_computed, page, picture, plain, say, table
from panel.claims.judge import CLAIMS, Claims
from panel.claims.stamp import with_claim
from panel.claims.verdict import VERDICTS
from panel.errors import PanelError
from panel.study.knowledge import claim_kinds
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.views.decision.claims import (
    claim_figure,
    claim_findings_table,
    claim_numbers_table,
    claim_svg,
    claim_units,
    claims_headline,
    claims_table,
    criteria_words,
    fixed_words,
    footnote_lines,
    kind_words,
    local_law,
    needs_of,
    reasons_of,
    verdict_words,
    what_claims_cannot_show,
    what_the_claims_show,
)
from panel.views.planning.study import mark

# Writing down a claim and fixing it: sentence, kind, margin and bar are stamped with a name and the time.


_NUMBERS = (
    ("minutes", "Minutes after rubbing in", "When it was judged, or for how long it is to hold."),
    ("margin", "Margin", "The largest difference that does not matter; per cent points where votes are counted."),
    ("bar", "Bar", "What must be exceeded: per cent of people, seconds, or a value of the scale."),
    ("bar_panel", "Bar of the panel", "For an absolute negative: what the panel's mean must stay below."),
)
_TEXTS = (
    ("competitors", "Competitors or range", "Short names, separated by ;"),
    ("ingredient", "Ingredient", "INCI name, for a credit to an ingredient"),
    ("session_before", "Sitting before", "For a change over time"),
    ("session_after", "Sitting after", "For a change over time"),
    ("family", "Family", "Claims of one family are adjusted together; empty: by prototype"),
    ("media", "Media", "Where it is to be said"),
    ("territory", "Territory", "In which countries"),
    ("owner", "Owner", "Who wants to say it"),
)


def claim_form(study: StudyInUse, names: Naming) -> None:
    """Let the user write one claim; it is stamped when it is written."""
    data = study.study
    kinds = list(claim_kinds()["kind"])
    asked = [str(name) for name in data.table("answers")["question"].unique()]
    with st.form("claim", clear_on_submit=False):
        row: dict[str, Any] = {"claim": st.text_input("Sentence, exactly as it is to be said") or ""}
        left, right = st.columns(2)
        row["kind"] = left.selectbox("Kind of claim", kinds, format_func=kind_words)
        row["direction"] = right.selectbox(
            "It says", ("", "more", "less"), format_func=lambda way: way or "as the attribute is wanted"
        )
        prototypes = ["", *data.prototypes]
        row["prototype"] = left.selectbox("Prototype", prototypes, format_func=names.prototype)
        row["versus"] = right.selectbox("Compared with", prototypes, format_func=names.prototype)
        row["attribute"] = left.selectbox("Attribute", ["", *data.attributes], format_func=names.attribute)
        row["question"] = right.selectbox("Question", ["", *asked])
        typed = _fields(row)
        row["sides"] = st.radio(
            "Test of a difference", ("two", "one"), format_func=lambda s: f"{s}-sided", horizontal=True
        )
        who = st.text_input("Who fixes it") or ""
        to_disk = study.folder is not None and st.checkbox(f"Also write it into {plain(study.folder)}")
        if st.form_submit_button("Write the claim and stamp it"):
            _write(study, row, typed, who, to_disk=to_disk)


def _fields(row: dict[str, Any]) -> dict[str, str]:
    """Ask for numbers and further texts; return the numbers as they were typed."""
    columns, typed = st.columns(len(_NUMBERS)), {}
    for (name, label, explained), column in zip(_NUMBERS, columns, strict=True):
        typed[name] = column.text_input(label, help=explained) or ""
    with st.expander("More"):
        for name, label, explained in _TEXTS:
            row[name] = st.text_input(label, help=explained) or ""
    return typed


def _write(study: StudyInUse, row: dict[str, Any], typed: dict[str, str], who: str, *, to_disk: bool) -> None:
    """Add the claim to the study in use, and to its folder if that was asked for."""
    labels = {name: label for name, label, _ in _NUMBERS}
    try:
        numbers = {name: typed_number(text, labels[name]) for name, text in typed.items()}
        said = keep(
            study,
            lambda now: with_claim(now, {**row, **numbers}, who=who, when=moment()),
            "The claim is written and stamped.",
            who=who,
            to_disk=to_disk,
        )
    except PanelError as error:
        st.warning(plain(error), icon=":material/info:")
        return
    leave_message(said)
    st.rerun()


# One claim on the page: verdict, reasons, numbers, what it would take, the words, the footnote.


def one_claim(result: Claims, number: int) -> None:
    """Show everything about the claim with this number."""
    row = result.claims.loc[result.claims["number"] == number].iloc[0]
    st.markdown(f"**{plain(verdict_words(str(row['verdict'])))}**: “{plain(row['claim'])}”")
    if row["suggestion"]:
        st.markdown(f"What may be said: {plain(row['suggestion'])}")
    say(reasons_of(result, number))
    needs = needs_of(result, number)
    if needs:
        heading("What it would take")
        say(needs)
    _numbers(result, number)
    _words(result, number)
    st.caption(plain(fixed_words(result, number)))


def _numbers(result: Claims, number: int) -> None:
    units = claim_units(result, number)
    if not units:
        return
    heading("Numbers")
    for place, unit in enumerate(units):
        picture(
            claim_svg(result, number, unit),
            partial(claim_figure, result, number, unit),
            name=f"claim_{number}_{place + 1}",
            alt="The numbers behind the claim against its bar or margin; the table below holds them.",
        )
    full = result.numbers.loc[result.numbers["number"] == number]
    shown = claim_numbers_table(result, number)
    table(shown, name=f"claim_{number}_numbers", alt="Numbers behind the claim", full=full)


def _words(result: Claims, number: int) -> None:
    found = claim_findings_table(result, number)
    heading("The words")
    if len(found):
        table(found, name=f"claim_{number}_words", alt="What was found in the words of the claim")
    else:
        st.markdown("Every word of the sentence is accounted for. Read it yourself, too.")
    st.caption(plain(criteria_words(result, number)))
    lines = footnote_lines(result, number)
    if lines:
        heading("Footnote")
        say(lines)


# Page: what may be said, and what would it take to say more?


study = page("Claims")
names = naming(study.study)
result = ask(study.answer, CLAIMS)
st.markdown(f"**{plain(claims_headline(result))}**")
warned = mark(study.study)
if warned:
    st.warning(plain(f"{warned}."), icon=":material/info:")
st.caption(plain(local_law()))

if len(result.claims):
    say(what_the_claims_show(result), first=map(verdict_words, VERDICTS))
    shown = claims_table(result)
    with st.expander("All claims as a table"):
        table(shown, name="claims", alt="Every claim with its verdict and the number that decides", full=result.claims)
    heading("One claim")
    sentences = dict(zip(result.claims["number"], result.claims["claim"], strict=True))
    number = st.selectbox(
        "Claim",
        list(sentences),
        format_func=lambda chosen: f"{chosen}. {sentences[chosen]}",
        key=study.choice("claim"),
        persist_state="session",
    )
    one_claim(result, int(number))

heading("Write down another claim")
st.markdown(
    "Fix a claim before the data are unblinded: sentence, margin and bar are stamped with the time. A claim stamped "
    "later stays exploratory."
)
claim_form(study, names)
how_computed(result.method, result.notes, what_claims_cannot_show())
close()
