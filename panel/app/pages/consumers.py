"""Page: what do consumers say: which do they like, is it just right, what do they tick, what do they agree with?"""

from __future__ import annotations

import streamlit as st

from panel.app import cached
from panel.app.state import StudyInUse
from panel.app.widgets import attempt, close, heading, how_computed, page, picture, plain, say, table
from panel.models.consumers.agreement import Agreement
from panel.models.consumers.answers import questions_of
from panel.models.consumers.check_all import CheckAll
from panel.models.consumers.just_about_right import JustAboutRight
from panel.models.consumers.liking import Liking
from panel.models.consumers.segments import Segments
from panel.study.naming import Naming, naming
from panel.views.consumers.agreement import (
    agreement_figure,
    agreement_headline,
    agreement_svg,
    bars_table,
    how_readily_yes_is_said,
    statements_table,
    what_agreement_cannot_show,
    what_the_statements_show,
    without_foil_table,
)
from panel.views.consumers.check_all import (
    check_all_headline,
    lift_figure,
    lift_svg,
    lift_table,
    term_components_table,
    term_counts_table,
    term_map_figure,
    term_map_svg,
    term_map_words,
    term_pairs_table,
    term_tests_table,
    what_check_all_cannot_show,
    what_goes_with_liking,
    what_the_terms_show,
)
from panel.views.consumers.just_about_right import (
    balance_table,
    changes_to_test,
    drops_table,
    moves_caution,
    moves_table,
    over_all_prototypes,
    refused_table,
    right_alt_text,
    right_figure,
    right_headline,
    right_pairs_table,
    right_shares_table,
    right_svg,
    what_costs_liking,
    what_right_cannot_show,
    within_table,
)
from panel.views.consumers.liking import (
    distribution_alt_text,
    distribution_figure,
    distribution_svg,
    liking_figure,
    liking_headline,
    liking_pairs_table,
    liking_svg,
    liking_table,
    liking_tests_table,
    what_liking_cannot_show,
    what_liking_shows,
)
from panel.views.consumers.preference_map import (
    directions_table,
    preference_map_figure,
    preference_map_svg,
    preferences_alt_text,
    preferences_headline,
    sensations_caption,
    sensations_table,
    what_the_preferences_cannot_show,
    what_the_preferences_show,
)
from panel.views.consumers.segments import (
    divided_table,
    segments_alt_text,
    segments_figure,
    segments_headline,
    segments_svg,
    segments_table,
    steps_table,
    what_the_segments_cannot_show,
    what_the_segments_show,
)

# What consumers answered beside liking: just about right, ticked terms, agreement with statements.


_HOW = "How it was computed, and what it cannot show"


def just_about_right_section(study: StudyInUse, names: Naming) -> None:
    """Show what people find too little or too much, what it costs, and which tested change could be tried."""
    heading("Too little, too much, or just about right")
    found = attempt(cached.just_about_right, study.key, study.study)
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
    found = attempt(cached.check_all, study.key, study.study)
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
    found = attempt(cached.agreement, study.key, study.study)
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


# Consumers' liking on the page: which is liked better, groups that want different things, and the preference map.


def liking_section(study: StudyInUse, names: Naming) -> None:
    """Show liking, the groups of consumers and the preference map of one liking question."""
    questions = questions_of(study.study, "liking")
    question = questions[0]
    if len(questions) > 1:
        question = st.selectbox("Question", questions, key=study.choice("liking question"), persist_state="session")
    result = attempt(cached.liking, study.key, question, None, None, study.study)
    if result is None:
        return
    segments = attempt(cached.segments, study.key, question, study.study)
    st.markdown(f"**{plain(liking_headline(result, names))}**")
    if segments is not None:
        st.markdown(f"**{plain(segments_headline(segments, names))}**")
    say(what_liking_shows(result, names))
    _liking_pictures(result, names)
    if segments is not None:
        _segments(segments, names)
        _preferences(study, question, segments, names)
    how_computed(result.method, result.notes, what_liking_cannot_show(result))


def _liking_pictures(result: Liking, names: Naming) -> None:
    picture(
        liking_svg(result, names),
        lambda: liking_figure(result, names),
        name="liking",
        alt="Mean liking of each prototype with its interval; the table has the numbers.",
    )
    table(liking_table(result, names), name="liking_means", alt="Mean liking and top of the scale", full=result.means)
    picture(
        distribution_svg(result, names),
        lambda: distribution_figure(result, names),
        name="liking_distribution",
        alt=distribution_alt_text(result),
    )
    with st.expander("Differences, pair by pair"):
        if len(result.versus):
            st.markdown(plain(f"From {result.benchmark}, adjusted for comparing all others with it"))
            shown = liking_pairs_table(result.versus, result)
            table(shown, name="liking_versus", alt="Differences from the benchmark", full=result.versus)
        st.markdown("All pairs, adjusted for all of them")
        table(liking_pairs_table(result.pairs, result), name="liking_pairs", alt="All pairs", full=result.pairs)
    with st.expander("Tests, and what each of them uses"):
        table(liking_tests_table(result), name="liking_tests", alt="Tests side by side", full=result.tests)


def _segments(result: Segments, names: Naming) -> None:
    heading("Do they want different things?")
    st.markdown(f"**{plain(segments_headline(result, names))}**")
    say(what_the_segments_show(result, names))
    if result.n_groups > 1:
        picture(
            segments_svg(result, names),
            lambda: segments_figure(result, names),
            name="segments",
            alt=segments_alt_text(result),
        )
        with st.expander("What each group likes, as a table"):
            table(segments_table(result, names), name="segment_means", alt="Means by group", full=result.means)
        if len(result.divided):
            with st.expander("Pairs that please different people"):
                shown = divided_table(result)
                table(shown, name="divided", alt="Pairs that divide the groups", full=result.divided)
    with st.expander("How groups were looked for"):
        if len(result.steps):
            table(steps_table(result), name="segment_steps", alt="Numbers of groups that were asked for")
        seed = f"The draws start from seed {cached.SEED}, so that the same study gives the same groups."
        say([result.method, *result.notes, seed, *what_the_segments_cannot_show(result)])


def _preferences(study: StudyInUse, question: str, segments: Segments, names: Naming) -> None:
    heading("Which sensations go with liking?")
    result = attempt(cached.preference_map, study.key, question, study.study)
    if result is None:
        return
    st.markdown(f"**{plain(preferences_headline(result, segments, names))}**")
    say(what_the_preferences_show(result, segments, names))
    picture(
        preference_map_svg(result, segments, names),
        lambda: preference_map_figure(result, segments, names),
        name="preference_map",
        alt=preferences_alt_text(result, segments, names),
    )
    with st.expander("Each sensation and liking"):
        shown = sensations_table(result, segments, names)
        table(shown, name="sensations", alt="Correlations with liking", full=result.sensations)
        st.caption(plain(sensations_caption(result)))
    with st.expander("Directions and best places"):
        shown = directions_table(result, segments)
        table(shown, name="directions", alt="Directions of liking", full=result.directions)
    with st.expander("How the preference map was made, and what it cannot show"):
        say([result.method, *result.notes, *what_the_preferences_cannot_show(result)])


# Page: what do consumers say: which do they like, is it just right, what do they tick, what do they agree with?


KINDS = {
    "liking": "Liking",
    "just_about_right": "Just about right?",
    "check_all": "Check all that apply",
    "agreement": "Agreement",
}
SECTIONS = {
    "liking": liking_section,
    "just_about_right": just_about_right_section,
    "check_all": check_all_section,
    "agreement": agreement_section,
}

study = page("Consumers")
names = naming(study.study)
asked = set(study.study.table("answers")["kind"])
present = [kind for kind in KINDS if kind in asked]
if not present:
    st.markdown(
        "This study has no answers of consumers yet. Add them to its table answers, one row for each consumer, "
        "prototype and question, with the kind liking, just_about_right, check_all or agreement; or collect them on "
        "phones on the page Ballots. Then open the study again on the page Study."
    )
else:
    chosen = st.segmented_control(
        "Question",
        present,
        default=present[0],
        required=True,
        format_func=KINDS.__getitem__,
        key=study.choice("kind of question"),
        persist_state="session",
    )
    SECTIONS[chosen or present[0]](study, names)
close()
