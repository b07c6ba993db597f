"""One claim on the page: verdict, reasons, numbers, what it would take, the words, the footnote."""

from __future__ import annotations

from functools import partial

import streamlit as st

from panel.app.widgets import heading, picture, plain, say, table
from panel.claims.judge import Claims
from panel.views.decision.claim_pictures import claim_figure, claim_svg, claim_units
from panel.views.decision.claim_tables import claim_findings_table, claim_numbers_table
from panel.views.decision.claim_words import fixed_words, footnote_lines, needs_of, reasons_of, verdict_words


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
        st.markdown("Nothing stands out in the words. Read the sentence yourself: the rules miss things.")
    lines = footnote_lines(result, number)
    if lines:
        heading("Footnote")
        say(lines)
