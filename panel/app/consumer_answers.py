"""What consumers answered beside liking: just about right, ticked terms, agreement with statements."""

from __future__ import annotations

import streamlit as st

from panel.app import cached_answers
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, heading, picture, plain, say, table
from panel.models.consumers.agreement import Agreement
from panel.models.consumers.check_all import CheckAll
from panel.models.consumers.just_about_right import JustAboutRight
from panel.views.consumers.agreement_pictures import agreement_figure, agreement_svg
from panel.views.consumers.agreement_tables import bars_table, statements_table, without_foil_table
from panel.views.consumers.agreement_words import (
    agreement_headline,
    how_readily_yes_is_said,
    what_agreement_cannot_show,
    what_the_statements_show,
)
from panel.views.consumers.check_all_pictures import lift_figure, lift_svg, term_map_figure, term_map_svg
from panel.views.consumers.check_all_tables import (
    lift_table,
    term_components_table,
    term_counts_table,
    term_pairs_table,
    term_tests_table,
)
from panel.views.consumers.check_all_words import (
    check_all_headline,
    term_map_words,
    what_check_all_cannot_show,
    what_goes_with_liking,
    what_the_terms_show,
)
from panel.views.consumers.right_pictures import right_alt_text, right_figure, right_svg
from panel.views.consumers.right_tables import (
    balance_table,
    drops_table,
    moves_table,
    refused_table,
    right_pairs_table,
    right_shares_table,
    within_table,
)
from panel.views.consumers.right_words import (
    changes_to_test,
    moves_caution,
    over_all_prototypes,
    right_headline,
    what_costs_liking,
    what_right_cannot_show,
)
from panel.views.drawing.naming import Naming

_HOW = "How it was computed, and what it cannot show"


def just_about_right_section(study: StudyInUse, names: Naming) -> None:
    """Show what people find too little or too much, what it costs, and which tested change could be tried."""
    heading("Too little, too much, or just about right")
    found = attempt(cached_answers.just_about_right, study.key, study.study)
    if found is None:
        return
    st.markdown(f"**{plain(right_headline(found))}**")
    say(what_costs_liking(found), first=found.shares["prototype"].unique())
    if len(found.refused):
        table(refused_table(found), name="refused_questions", alt="Questions that cannot be asked both ways")
    questions = list(dict.fromkeys(found.shares["question"]))
    question = st.selectbox("Question", questions, key=study.choice("just about right question"))
    picture(
        right_svg(found, question),
        lambda: right_figure(found, question),
        name="just_about_right",
        alt=right_alt_text(found, question),
    )
    shown = right_shares_table(found, question)
    table(shown, name="just_about_right_shares", alt="Counts of the three sides by prototype", full=found.shares)
    _changes(found, names)
    with st.expander("What it costs in liking, case by case"):
        table(drops_table(found), name="mean_drops", alt="Mean drops in liking", full=found.drops)
        table(balance_table(found), name="weighted_drops", alt="Weighted drops and means", full=found.balance)
    with st.expander("Over all prototypes, within consumers"):
        say(over_all_prototypes(found), first=questions)
        table(within_table(found), name="drops_within", alt="Drops within consumers", full=found.within)
    with st.expander("Do the prototypes differ on these questions?"):
        table(right_pairs_table(found), name="just_about_right_pairs", alt="Tests between prototypes", full=found.pairs)
    with st.expander(_HOW):
        say([found.method, *found.notes, *what_right_cannot_show(found)])


def _changes(found: JustAboutRight, names: Naming) -> None:
    if found.moves.empty:
        return
    with st.expander("Changes of emollients that could be tested"):
        st.markdown(f"**{plain(moves_caution(found.moves))}**")
        say(changes_to_test(found, names))
        table(moves_table(found, names), name="changes_to_test", alt="Tested changes", full=found.moves)


def check_all_section(study: StudyInUse, names: Naming) -> None:
    """Show which terms are ticked for which prototype, their map, and which go with liking."""
    heading("Words people tick")
    found = attempt(cached_answers.check_all, study.key, study.study)
    if found is None:
        return
    st.markdown(f"**{plain(check_all_headline(found))}**")
    say(what_goes_with_liking(found), first=found.terms["term"])
    if found.map is not None:
        picture(
            term_map_svg(found),
            lambda: term_map_figure(found),
            name="term_map",
            alt="Map of the terms and the prototypes; the table of counts has the numbers.",
        )
    say(term_map_words(found))
    counts = term_counts_table(found)
    table(counts, name="term_counts", alt="How many ticked each term for each prototype", full=found.shares)
    _lift(found)
    with st.expander("Term by term: do the prototypes differ?"):
        say(what_the_terms_show(found), first=found.terms["term"])
        table(term_tests_table(found), name="term_tests", alt="Cochran's Q of each term", full=found.terms)
    with st.expander("All pairs of prototypes, term by term"):
        table(term_pairs_table(found), name="term_pairs", alt="Pairs of prototypes by term", full=found.pairs)
    with st.expander(_HOW):
        if found.map is not None:
            table(
                term_components_table(found),
                name="term_components",
                alt="Components of the map",
                full=found.map.components,
            )
        say([found.method, *found.notes, *what_check_all_cannot_show(found)])


def _lift(found: CheckAll) -> None:
    if not found.lift["estimate"].notna().any():
        return
    with st.expander("Terms and liking"):
        picture(
            lift_svg(found),
            lambda: lift_figure(found),
            name="terms_and_liking",
            alt="Liking where a term is ticked minus where it is not, with intervals, by term.",
        )
        table(lift_table(found), name="terms_and_liking_table", alt="Liking by term", full=found.lift)


def agreement_section(study: StudyInUse, names: Naming) -> None:
    """Show how many agree with each statement, against its bar, and how readily these people say yes."""
    heading("Agreement with statements")
    found = attempt(cached_answers.agreement, study.key, study.study)
    if found is None:
        return
    st.markdown(f"**{plain(agreement_headline(found))}**")
    say(what_the_statements_show(found), first=found.statements["question"])
    picture(
        agreement_svg(found),
        lambda: agreement_figure(found),
        name="agreement",
        alt="Share who agreed with each statement, with intervals and bars; the table has the numbers.",
    )
    _yes_saying(found)
    with st.expander("All counts and intervals"):
        shown = statements_table(found)
        table(shown, name="statements", alt="Agreement with each statement", full=found.statements)
    with st.expander("Against the bars"):
        table(bars_table(found), name="agreement_bars", alt="Tests against the bars", full=found.bars)
    with st.expander(_HOW):
        say([found.method, *found.notes, *what_agreement_cannot_show(found)])


def _yes_saying(found: Agreement) -> None:
    with st.expander("How readily do these people say yes?", expanded=True):
        say(how_readily_yes_is_said(found))
        if len(found.without_foil):
            alt = "Agreement without those who agreed with an untrue statement"
            table(without_foil_table(found), name="without_yes_sayers", alt=alt, full=found.without_foil)
