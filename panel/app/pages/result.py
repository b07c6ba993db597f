"""Place Result: the whole job at a glance, the differences, the map, what happens over time, the targets."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, get_args

import pandas as pd
import streamlit as st

from panel.answers import (
    AFTER_FEEL,
    ALIKE,
    ASSUMPTIONS,
    COURSES,
    DECISION,
    DIFFERENCES,
    DOMINANCES,
    MAP,
    PLANNED,
    RANKS,
    SEED,
    SENSITIVITY,
    Question,
)
from panel.app import widgets
from panel.app.guide import begin_tour, explain, mend, way_to_mend
from panel.app.new_study import begun
from panel.app.places import go, leave_for
from panel.app.state import StudyInUse, demo_folder, moment
from panel.app.study_editors import show_proposal
from panel.errors import StudyError
from panel.models.decision.decide import NONE_CHOSEN, decisions_so_far, first_changed_decision, with_decision
from panel.models.decision.wanted import Profile, target_profile
from panel.models.over_time.after_feel import timed_attributes
from panel.models.prototypes.map import usual_matrix
from panel.stats.maps.components import Matrix
from panel.stats.mixed.inference import SMALL_SAMPLE_WORDS
from panel.study.editing import put_block
from panel.study.naming import Naming, naming
from panel.study.numbers_read import typed_number
from panel.study.scores_used import HOW, stated_differences
from panel.study.shown import Shown
from panel.study.study import Study, those_in
from panel.study.table_cells import with_headings
from panel.views.decision.decide import DECISIONS, tell_decision
from panel.views.decision.decision_pictures import windows_picture
from panel.views.glance import Glance, glance_headline, glance_picture, in_short, tell_glance
from panel.views.over_time import tell_after_feel, tell_courses, tell_dominance
from panel.views.pictures import MOST_COLOURED
from panel.views.prototypes.alike import tell_alike, tell_planned, tell_sensitivity
from panel.views.prototypes.assumptions import tell_assumptions
from panel.views.prototypes.differences import tell_differences
from panel.views.prototypes.map import tell_map
from panel.views.prototypes.other_ways import tell_ranks
from panel.views.told import Picture, Told
from panel.words import capital

_WAIT = "Putting the answer together ..."


def show(study: StudyInUse) -> None:
    """Show what came out, what to settle first, how near to the target, what may be said, what next."""
    place, rest = st.empty(), st.empty()
    rest.caption(_WAIT)
    first, about = glance_headline(study.answers)
    with place.container():
        widgets.headline(first)
        st.caption(widgets.plain(about))
        if study.handle.path == str(demo_folder()):
            _own_or_tour()
    told, picture = _glance(study.key, study)
    with rest.container():
        if picture is not None:
            widgets.show_picture(picture)
        else:
            study.lacking.append(_glance_told)
        _four(study, told)
        explain([told.headline, told.about, *told.leaders, *told.may])


def _own_or_tour() -> None:
    with st.container(horizontal=True):
        if st.button("Begin a study, or bring a table", type="primary"):
            leave_for("start")
        if st.button("New here? A tour in six stops", type="tertiary"):
            begin_tour()


@st.cache_resource(max_entries=4, show_spinner=False)
def _glance(content_hash: str, _study: Any) -> tuple[Glance, Picture | None]:
    """Return what is said of a study and its picture; the hash of its content is the key."""
    return tell_glance(_study.answers), glance_picture(_study.answers)


def _glance_told(study: StudyInUse) -> Told:
    told, picture = _glance(study.key, study)
    return Told(told, study.answers.names, told.headline, picture)


def _four(study: StudyInUse, told: Glance) -> None:
    """Show side by side: what to settle, the leaders against the targets, what may be said, what to do next."""
    settle, near, said, following = st.columns(4, gap="large")
    with settle:
        widgets.heading("Settle first")
        for number, finding in enumerate(told.settle):
            more = widgets.plain(with_headings(f"{finding.message} {finding.advice}"))
            st.markdown(widgets.plain(in_short(finding)), help=more)
            way = way_to_mend(finding) or "Settle it"
            if st.button(way, key=f"settle {number}", type="tertiary", icon=":material/edit:"):
                mend(finding)
            show_proposal(study, finding, f"proposal at a glance {number}")
        if not told.settle:
            st.markdown("Nothing yet." if study.study.scores.empty else "Nothing was found that could mislead.")
    with near:
        widgets.heading("Nearest first")
        widgets.say(told.leaders or ("No targets are written down for this study.",))
        go("decide", "All targets" if told.leaders or not study.study.attributes else "Write them down")
    with said:
        widgets.heading("May be said")
        widgets.say((*told.may, *([told.may_not] if told.may_not else [])))
        widgets.offer_days([told.may_not])
        go("claims", "All sentences")
    with following:
        widgets.heading("Next")
        st.markdown(widgets.plain(told.step))
        if told.step_part == "plan" and begun(study):
            go("start", "Go on setting up")
        else:
            go(told.step_part, "Go on")


_SERVING_WORDS = {"position": "serving position", "site": "site", "first_on_site": "being the first on a site"}
_WITH_BENCHMARK, _PLANNED_PAIRS = "Each with the benchmark", "The planned pairs"


def show_differences(study: StudyInUse) -> None:
    """Lay the differences out, then a drawer for each further question."""
    names = naming(study.study)
    answer, further = st.container(), st.container()
    chosen = _settings(study, names)
    with answer:
        told = widgets.attempt(study.told, tell_differences, DIFFERENCES, **chosen)
        widgets.show(told)
    if told is None:
        return
    with further:
        for title, fill in (
            ("Differences planned beforehand", _planned),
            ("Alike within the margin, or not worse", _alike),
            ("What this panel could have seen", partial(_beside, tell_sensitivity, SENSITIVITY)),
            ("By ranks alone", partial(_beside, tell_ranks, RANKS)),
            ("What the model assumes", _assumptions),
        ):
            widgets.drawer(title, partial(fill, study, told, chosen))


def _settings(study: StudyInUse, names: Naming) -> dict[str, Any]:
    """Return the benchmark, the margin, what is taken out and the method that were chosen."""
    scored = list(those_in(study.study.prototypes, study.study.scores["prototype"]))
    with st.expander("Compared with what, what difference matters, how it is computed"):
        first = scored.index(study.study.benchmark) if study.study.benchmark in scored else None
        versus = st.selectbox(
            "Compare with",
            scored,
            first,
            format_func=names.prototype,
            key=study.choice("versus"),
            placeholder="nothing chosen: all pairs",
            persist_state="session",
        )
        margin = widgets.margin_field(study, names)
        served, ways = _SERVING_WORDS.__getitem__, SMALL_SAMPLE_WORDS.__getitem__
        taken_out = st.multiselect("Take out the effect of", list(_SERVING_WORDS), format_func=served)
        method = st.radio("Degrees of freedom", list(SMALL_SAMPLE_WORDS), format_func=ways, horizontal=True)
    return {"versus": versus, "margin": margin, "adjust_for": tuple(taken_out), "small_sample": method}


def _lay_open(told: Told | None) -> None:
    """Write everything that is told of an answer, one under the other."""
    if told is None:
        return
    st.markdown(f"**{widgets.plain(told.headline)}**")
    widgets.say(told.mind)
    for each in told.every_drawer():
        widgets.show_items(each.items, told)


def _planned(study: StudyInUse, _: Told, chosen: dict[str, Any]) -> None:
    """Show the differences the study planned, or how to plan some."""
    told = widgets.attempt(study.told, tell_planned, PLANNED, **chosen)
    if told is not None and told.result.differences.empty:
        st.caption(widgets.plain(HOW))
    _lay_open(told)


def _alike(study: StudyInUse, told: Told, chosen: dict[str, Any]) -> None:
    """Show the two one-sided tests of the differences from the benchmark, or of the planned pairs."""
    stated, _ = stated_differences(study.study)
    with_benchmark = told.result.benchmark or not stated
    ways = [*([_WITH_BENCHMARK] if with_benchmark else []), *([_PLANNED_PAIRS] if stated else [])]
    way = st.segmented_control("Which differences", ways, default=ways[0], required=True)
    planned = tuple(dict.fromkeys((prototype, versus) for prototype, versus, _ in stated))
    pairs = planned if way == _PLANNED_PAIRS else None
    _lay_open(widgets.attempt(study.told, tell_alike, ALIKE, pairs=pairs, **chosen))


def _beside(
    tell: Callable[..., Told], question: Question[Any], study: StudyInUse, _: Told, chosen: dict[str, Any]
) -> None:
    _lay_open(widgets.attempt(study.told, tell, question, **chosen))


def _assumptions(study: StudyInUse, told: Told, _: dict[str, Any]) -> None:
    found = widgets.attempt(study.answer, ASSUMPTIONS)
    if found is None:
        return
    attributes = list(dict.fromkeys(found.residuals["attribute"]))
    attribute = st.selectbox("Attribute", attributes, format_func=told.names.attribute)
    _lay_open(study.told(tell_assumptions, ASSUMPTIONS, attribute))


_WEIGHTS = {
    "covariance": "by how far the prototypes lie apart on it",
    "correlation": "the same, however little they differ on it",
}


def show_map(study: StudyInUse) -> None:
    """Lay the map out, the choice of how attributes count below it."""
    answer = st.container()
    matrix: Matrix = st.radio(
        "Each attribute counts",
        get_args(Matrix),
        get_args(Matrix).index(usual_matrix(study.study)),
        format_func=_WEIGHTS.__getitem__,
        horizontal=True,
        key=study.choice("matrix"),
        help="The first uses the covariance matrix, for attributes on one scale; the second the correlation matrix.",
        persist_state="session",
    )
    with answer:
        told = widgets.attempt(study.told, tell_map, MAP, matrix=matrix)
        if told is not None:
            widgets.show(told)
            st.caption(f"The draws start from seed {SEED}, so that the same study gives the same map.")


_OVER_TIME = ("After-feel over the minutes", "Courses of intensity", "Dominant sensations")
_HOW_WRITTEN = (
    "After-feel over the minutes: score an attribute at several times. In the table attributes, each time has "
    "a row of its own, with the same name and other minutes.",
    "Courses of intensity: the table courses, with the columns assessor, prototype, attribute, seconds and score.",
    "Dominant sensations: the table dominances, with the columns assessor, prototype, seconds and attribute; "
    "each evaluation ends with the attribute stop.",
)


def show_over_time(study: StudyInUse) -> None:
    """Show what happens over time, each in its turn."""
    timed = bool(timed_attributes(study.study)) and not study.study.scores.empty
    has_courses, has_dominance = (not study.study.table(name).empty for name in ("courses", "dominances"))
    if not (timed or has_courses or has_dominance):
        widgets.headline("Nothing in this study runs over time yet.")
        study.lacking.append(lambda demo: demo.told(tell_courses, COURSES))
        st.markdown("Three things can be shown here. They come in with the workbook under Edit, on the page Study.")
        with st.expander("How these rows are written"):
            widgets.say(_HOW_WRITTEN, first=_OVER_TIME)
    parts: tuple[tuple[bool, str, Question[Any], Callable[[Any, Naming], Told]], ...] = (
        (timed, _OVER_TIME[0], AFTER_FEEL, tell_after_feel),
        (has_courses, _OVER_TIME[1], COURSES, tell_courses),
        (has_dominance, _OVER_TIME[2], DOMINANCES, tell_dominance),
    )
    answers = [(title, widgets.attempt(study.told, tell, question)) for there, title, question, tell in parts if there]
    given = [(title, told) for title, told in answers if told is not None]
    for title, told in given[:1]:
        st.markdown(f"**{title}**")  # no heading: that of the answer follows
        widgets.show(told)
    for title, told in given[1:]:
        widgets.show_closed(title, told)
    if not timed and (has_courses or has_dominance):
        st.caption("After-feel over the minutes joins them once an attribute is scored at two times or more.")


_MEANS, _VERSUS = "Means", "Differences from the benchmark"


def show_decide(study: StudyInUse) -> None:
    """Show how the prototypes stand to the targets, and let people write down what they decided."""
    names = naming(study.study)
    study.lacking.append(lambda demo: demo.told(tell_decision, DECISION))
    targets = study.study.table("attributes")[["target_low", "target_high"]]
    if study.study.attributes and not targets.notna().any(axis=None):
        _targets(study, names)
        return
    profile = widgets.ask(target_profile, study.study)
    study.lacking.clear()
    answer = st.container()
    told = widgets.ask(study.told, tell_decision, DECISION, weights=_typed_weights(study, profile, names))
    with answer:
        widgets.show(told)
    widgets.drawer("Windows beside the intervals of other prototypes", partial(_beside_intervals, told))
    widgets.drawer("Write down the decision", partial(_record, study, told))


def _targets(study: StudyInUse, names: Naming) -> None:
    """Let the user write down from where to where each attribute is wanted."""
    widgets.headline("No attribute has a target yet.")
    st.caption("Best before the scores are looked at. One end is enough; both empty: no target.")
    with st.form("targets"):
        typed = {}
        for name in study.study.attributes:
            label, ends = widgets.plain(names.attribute(name)), st.columns(2)
            low, high = (place.text_input(f"{label}, {end}") for place, end in zip(ends, ("from", "to"), strict=True))
            typed[name] = (low or "", high or "")
        if st.form_submit_button("Write the targets down", type="primary"):
            widgets.keep_and_tell(study, lambda now: _with_targets(now, typed), "The targets are written down.")


def _with_targets(study: Study, typed: dict[str, tuple[str, str]]) -> Study:
    """Return the study with these targets; StudyError if one is no number, or begins above its end."""
    names = naming(study)
    for name, (low, high) in typed.items():
        start, end = (typed_number(text, f"The target of {names.attribute(name)}") for text in (low, high))
        if start is not None and end is not None and start > end:
            raise StudyError(f"{capital(names.attribute(name))}: from lies above to. Exchange them.")
    rows = [(name, *ends) for name, ends in typed.items() if any(text.strip() for text in ends)]
    if not rows:
        raise StudyError("Write at least one target.")
    block = pd.DataFrame(rows, columns=["attribute", "target_low", "target_high"], dtype="str")
    return put_block(study, "attributes", block)


def _typed_weights(study: StudyInUse, profile: Profile, names: Naming) -> dict[str, float] | None:
    stated = dict(zip(profile.attributes, profile.wanted["weight"].astype(float), strict=True))
    typed: dict[str, float] = {}
    with st.expander("Weights: what counts how much"):
        st.caption("Only their ratios count. 0 leaves an attribute out of the ranking, not out of its window.")
        columns = st.columns(3)
        for place, (name, weight) in enumerate(stated.items()):
            with columns[place % 3]:
                label, key = widgets.plain(names.attribute(name)), study.choice(f"weight of {name}")
                text = st.text_input(label, f"{weight:g}", key=key) or f"{weight:g}"
                value = widgets.attempt(typed_number, text, f"The weight of {name}")
                typed[name] = weight if value is None else value
    return None if typed == stated else typed


def _beside_intervals(told: Told) -> None:
    result, names = told.result, told.names
    order = [str(name) for name in result.ranking["prototype"]]
    first = [*result.contenders, *(name for name in order if name not in result.contenders)][:3]
    chosen = st.multiselect("Prototypes", order, first, max_selections=MOST_COLOURED, format_func=names.prototype)
    ways = [_MEANS] if result.benchmark is None else [_MEANS, _VERSUS]
    versus = st.segmented_control("Show", ways, default=_MEANS, required=True) == _VERSUS
    if chosen:
        widgets.show_items([windows_picture(result, names, chosen, versus=versus)], told)


def _record(study: StudyInUse, told: Told) -> None:
    """Show the decisions so far and let a named person write down another one."""
    names, so_far = told.names, decisions_so_far(study.study)
    if len(so_far):
        widgets.show_items([Shown(DECISIONS, so_far, names)], told)
        broken = first_changed_decision(study.study.table("decisions"))
        if broken is not None:
            st.warning(f"Decision {broken + 1} was changed after it was written.", icon=":material/info:")
    widgets.say(["People decide; this keeps what they wrote, with the hash of the data. A later change is a new row."])
    with st.form("decision", clear_on_submit=False):
        options = [str(name) for name in told.result.ranking["prototype"]]
        left, right = st.columns(2)
        chosen = left.selectbox("Chosen", [NONE_CHOSEN, *options], format_func=names.prototype)
        runner_up = right.selectbox("Runner-up", ["", *options], format_func=lambda name: names.prototype(name) or "–")
        reason = st.text_area("Why", height="content")
        open_still = st.text_area("What is not established", height="content")
        who = left.text_input("Who decides")
        role = right.text_input("In which role")
        to_disk = study.folder is not None and st.checkbox(
            f"Also write it into {widgets.plain(study.folder)}", value=True
        )
        if not st.form_submit_button("Record the decision"):
            return
    words = {"reason": reason or "", "not_established": open_still or "", "who": who or "", "role": role or ""}
    words |= {"chosen": chosen or "", "runner_up": runner_up or "", "date": moment()}
    who, done = words["who"], "The decision is recorded."
    widgets.keep_and_tell(
        study, lambda now: with_decision(now, seen=study.study, **words), done, who=who, to_disk=to_disk
    )
