"""Beginning: a new study in five short steps, a table of one's own, an earlier study, the demo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from types import MappingProxyType
from typing import Any

import pandas as pd
import streamlit as st

from panel.app import state
from panel.app.ballot_forms import REPEATS, cleared, serving_form
from panel.app.guide import MINE, SURVEY, WAY_TO_OPEN, begin_tour
from panel.app.places import FIRST_PART, go, leave_for
from panel.app.study_editors import editor, save
from panel.app.study_forms import import_form, survey_form
from panel.app.widgets import attempt, headline, plain, say
from panel.errors import StudyError
from panel.plan.sample_size import panel_sizes, planning_scale, planning_scatter
from panel.study.editing import put_block, put_fact, table_problems, typed_fact, with_facts
from panel.study.folder import write_study
from panel.study.knowledge import shared_table
from panel.study.naming import naming
from panel.study.numbers_read import typed_number
from panel.study.open_study import recent_studies
from panel.study.study import Study
from panel.study.tables import TABLES
from panel.views.planning.sizes import own_panel, tell_sizes
from panel.words import counted

_NEW, _OPEN, _DEMO = "A new study", "A study I have", "The demo"
_WAYS = (_NEW, MINE, SURVEY, _OPEN, _DEMO)
_CHOSEN = MappingProxyType({MINE: "Bring your table of scores", SURVEY: "Bring a survey of consumers"})


def show_start(_study: state.StudyInUse | None = None) -> None:
    """Let the user begin a study, bring her own table, or open another one."""
    study, key = attempt(state.study_in_use), _way_chosen()
    chosen = st.session_state.get(WAY_TO_OPEN) or st.session_state.get(key)
    set_up = study is not None and begun(study)
    if study is None or not set_up or chosen:  # what was chosen stands first: a file lies in it
        headline(_CHOSEN.get(str(chosen), "Begin a study, bring your table of scores, or open another one"))
        _choose()
        if set_up:
            st.button("Back to setting up", type="tertiary", on_click=partial(st.session_state.__setitem__, key, None))
        return
    headline(f"Setting up {study.title}")
    _show_steps(study)
    with st.expander("Begin or open another one"):
        _choose()


def _way_chosen() -> str:
    """Return the field of the session that holds how a study is begun or opened."""
    return f"{WAY_TO_OPEN} {state.times_opened()}"


def begun(study: state.StudyInUse) -> bool:
    """Return True if a study has its own folder, and nothing was collected in it."""
    return study.folder is not None and not any(len(study.study.table(name)) for name in ("scores", "answers"))


def _choose() -> None:
    _recent()
    key = _way_chosen()
    if WAY_TO_OPEN in st.session_state:
        st.session_state[key] = st.session_state.pop(WAY_TO_OPEN)
    way = st.radio("What to open", list(_WAYS), index=None, horizontal=True, key=key)
    if way == _NEW:
        _begin()
    elif way == MINE:
        import_form()
    elif way == SURVEY:
        survey_form()
    elif way == _OPEN:
        path = st.text_input("Path of a study folder, workbook (.xlsx) or zip", key="path to open")
        if st.button("Open this study"):
            _open(lambda: state.use_path(path or ""), "This study is in use.")
        file = st.file_uploader("Or bring it as zip or workbook", type=["zip", "xlsx"], key="study upload")
        if file is not None and st.button("Use the uploaded study"):
            _open(lambda: state.use_bytes(file.name, file.getvalue()), "The uploaded study is in use.")
    elif way == _DEMO:
        st.markdown("An invented study: eight prototypes of a hand cream, every combination of three emollient swaps.")
        with st.container(horizontal=True):
            if st.button("Open the demo"):
                _open(state.use_demo, "The demo is in use.")
            if st.button("Take a tour of it, in six stops"):
                begin_tour()


def _recent() -> None:
    """Show the studies that were open lately, each with a button that opens it again."""
    kept = [path for path in recent_studies() if path != state.demo_folder()]
    if not kept:
        return
    st.caption("Open again")
    with st.container(horizontal=True):
        for path in kept:
            if st.button(plain(path.name), key=f"again {path}", help=plain(path)):
                _open(partial(state.use_path, str(path)), "This study is in use again.")


def _open(action: Callable[[], None], done: str, *, stay: bool = False) -> None:
    """Open a study and go where it answers, or stay where it is set up; say why not if it cannot be opened."""

    def opened() -> str:
        action()
        return done

    if said := attempt(opened):
        state.leave_message(said)
        if stay:
            st.rerun()
        leave_for(FIRST_PART)


# A new study: a folder from the first minute, then five steps that can be left and taken up.


_STEPS = ("1 What for", "2 Attributes", "3 Prototypes", "4 People", "5 Test")


def _show_steps(study: state.StudyInUse) -> None:
    """Show the five steps for a study that was begun, the first one that is not done at the front."""
    done = _steps_done(study.study)
    first = next((step for step in _STEPS if step not in done), _STEPS[-1])
    if (left := steps_left(study.study)) and done:
        so_far = f"{counted(len(done), 'step')} of {len(_STEPS)} done."
        st.caption(f"{so_far} It goes on at “{first[2:]}”; to do: {', '.join(left)}.")
    label = {step: f"{step} \u2713" if step in done else step for step in _STEPS}
    key = study.choice(f"step of a new study {len(done)}")
    step = st.segmented_control("Step", _STEPS, default=first, format_func=label.__getitem__, key=key) or first
    (_what_for, _attributes, _prototypes, _people, _test)[_STEPS.index(step)](study)


def steps_left(study: Study) -> list[str]:
    """Return the steps of setting a study up that are not done."""
    done = _steps_done(study)
    return [step[2:] for step in _STEPS if step not in done]


def _steps_done(study: Study) -> frozenset[str]:
    formulas, assessors, servings = (len(study.table(name)) > 0 for name in ("formulas", "assessors", "servings"))
    title, prototypes = bool(study.facts.get("title")), len(study.prototypes) > 1 and formulas
    done = (title, bool(study.attributes), prototypes, assessors, servings)
    return frozenset(step for step, is_done in zip(_STEPS, done, strict=True) if is_done)


def _begin() -> None:
    """Ask what the study is for, and make its folder."""
    st.markdown("Five short steps; each can be left and taken up again. What you save is on your disk at once.")
    with st.form("new study"):
        title = st.text_input("What the study is called", key="new title") or ""
        typed = _purpose_fields(Study({}))
        usual = str(state.default_folder("title").parent / "its title")
        place = st.text_input("Folder (may stay empty)", placeholder=usual, key="new folder") or ""
        if st.form_submit_button("Begin", type="primary"):
            done = "The study is begun, and kept in its folder."
            _open(lambda: _begin_study({"title": title, **typed}, place), done, stay=True)


_ASKED = MappingProxyType(
    {
        "product": ("Product", "such as: hand cream"),
        "area": ("Where on the skin", "such as: inner forearm"),
        "purpose": (
            "What it should feel like, and what you want to find out",
            "such as: less greasy than the one we have",
        ),
        "margin": ("Smallest difference that matters (may stay empty)", "such as: 8"),
        "scale_min": ("Lowest possible score", "0"),
        "scale_max": ("Highest possible score", "100"),
    }
)
_USUAL = MappingProxyType({"scale_min": "0", "scale_max": "100"})


def _purpose_fields(study: Study) -> dict[str, str]:
    typed = {}
    for name, (label, hint) in _ASKED.items():
        stated = study.facts.get(name)
        now = f"{stated:g}" if isinstance(stated, int | float) else str(stated or _USUAL.get(name, ""))
        typed[name] = st.text_input(label, now, placeholder=hint, key=f"new {name}") or ""
    return typed


def _facts_typed(typed: dict[str, str]) -> dict[str, Any]:
    """Return the facts that were typed, each read by its kind; StudyError if the scale ends where it begins."""
    label = {name: words.partition(" (")[0] for name, (words, _) in _ASKED.items()}
    read = {name: typed_fact(name, text, label.get(name, "")) for name, text in typed.items()}
    facts = {name: value for name, value in read.items() if value is not None}
    low, high = facts.get("scale_min"), facts.get("scale_max")
    if low is not None and high is not None and low >= high:
        raise StudyError("The lowest possible score must lie below the highest.")
    return facts


def _begin_study(typed: dict[str, str], place: str) -> None:
    """Make the folder of a new study with what was typed so far, and use it; StudyError if it has no title."""
    if not typed["title"].strip():
        raise StudyError("Give the study a title first; its folder is named after it.")
    study = Study({"prototypes": Study({}).table("prototypes")}, _facts_typed(typed))
    folder = state.typed_path(place) if place.strip() else state.default_folder(typed["title"])
    write_study(study, folder, what="The study was begun.")
    state.use_path(str(folder))


def _what_for(study: state.StudyInUse) -> None:
    with st.form("what for"):
        now = str(study.study.facts.get("title") or "")
        title = st.text_input("What the study is called", now, key="step title") or ""
        typed = {"title": title, **_purpose_fields(study.study)}
        if st.form_submit_button("Save", type="primary"):
            facts = attempt(_facts_typed, typed)
            if facts is not None:
                save(study, lambda now: with_facts(now, facts), "What the study is for was stated.")


# Attributes from the lexicon, by stage, with what is judged and how; own ones beside them.


def _attributes(study: state.StudyInUse) -> None:
    known = shared_table("lexicon")
    there = study.study.attributes
    st.markdown(f"{counted(len(there), 'attribute')} in the study so far. A panel judges about six to twelve well.")
    words = dict(zip(known["attribute"], known["name"], strict=True))
    chosen: list[str] = []
    for stage, rows in known.groupby("stage", sort=False):
        free = [name for name in rows["attribute"] if name not in there]
        chosen += st.multiselect(
            "At any stage" if stage == "any" else str(stage).capitalize(),
            free,
            format_func=words.__getitem__,
            key=f"stage {stage} {study.key}",
        )
    if chosen:
        told = known.set_index("attribute").loc[chosen]
        say([f"{row['name']}: {row['definition']}; {row['procedure']}." for _, row in told.iterrows()])
    hint = "such as: paper mark; drag on nails"
    text = st.text_input("Your own, separated by ;", key=f"own attributes {study.key}", placeholder=hint) or ""
    own = list(dict.fromkeys(name.strip() for name in text.split(";") if name.strip()))
    number = len(chosen) + len(own)
    if st.button(f"Add {counted(number, 'attribute')}" if number else "Add", type="primary", disabled=not number):
        done = f"{counted(number, 'attribute')} added."
        save(study, lambda now: _with_attributes(now, chosen, own), done)
    if there:
        with st.expander("Targets, ends and words of the attributes"):
            editor(study, "attributes")


def _with_attributes(study: Study, chosen: list[str], own: Sequence[str] = ()) -> Study:
    """Return the study with attributes of the lexicon, and its own, on the scale of the study."""
    known = shared_table("lexicon").set_index("attribute", drop=False)
    columns = [column for column in TABLES["attributes"].column_names if column in known]
    rows = known.loc[chosen, columns].astype("str").replace("nan", "")
    if own:
        rows = pd.concat([rows, pd.DataFrame({"attribute": own, "name": own}, dtype="str")])
    ends = {name: f"{study.facts[name]:g}" for name in ("scale_min", "scale_max") if name in study.facts}
    return put_block(study, "attributes", rows.fillna("").assign(**ends).reset_index(drop=True))


def _prototypes(study: state.StudyInUse) -> None:
    there = study.study.prototypes
    with st.form(f"prototypes {study.key}"):
        names = st.text_input("Prototypes, separated by ;", "; ".join(there), placeholder="P1; P2; P3") or ""
        now, hint = study.study.benchmark or "", "The product you have now."
        benchmark = (st.text_input("Which one is the benchmark", now, help=hint) or "").strip()
        if st.form_submit_button("Save the prototypes", type="primary"):
            listed = list(dict.fromkeys(name.strip() for name in names.split(";") if name.strip()))
            save(study, lambda now: _with_listed(now, listed, benchmark), f"Prototypes: {', '.join(listed)}.")
    if there:
        editor(study, "formulas")


def _with_listed(study: Study, names: list[str], benchmark: str) -> Study:
    """Return the study with prototypes added, and one of them, else StudyError, as the benchmark; none is taken out."""
    known = list(dict.fromkeys([*study.prototypes, *names]))
    if benchmark and benchmark not in known:
        raise StudyError(f"The benchmark {benchmark} is none of the prototypes: {', '.join(known)}.")
    rows = pd.DataFrame({"prototype": known}, dtype="str")
    before = study.benchmark
    roles = {before: "prototype"} if before and before != benchmark else {}
    roles |= {benchmark: "benchmark"} if benchmark else {}
    return put_block(study, "prototypes", rows.assign(role=rows["prototype"].map(roles).fillna("")))


def _people(study: state.StudyInUse) -> None:
    st.markdown("People are in the study by a code, never by name. Who is who you keep elsewhere.")
    with st.form(f"people {study.key}"):
        number = st.text_input("How many trained assessors", placeholder="such as: 9") or ""
        if st.form_submit_button("Add them", type="primary"):
            wanted = attempt(_whole, number)
            if wanted:
                save(study, lambda now: _with_people(now, wanted), f"{counted(wanted, 'assessor')} added.")
    if len(study.study.table("assessors")):
        with st.expander("Groups, consumers, and allergens to keep away from somebody", expanded=True):
            editor(study, "assessors")


_MOST_PEOPLE = 500


def _whole(text: str) -> int:
    number = typed_number(text, "The number of people")
    if number is None or not number.is_integer() or not 1 <= number <= _MOST_PEOPLE:
        raise StudyError(f"Write how many people there are, a whole number from 1 to {_MOST_PEOPLE}.")
    return int(number)


def _with_people(study: Study, number: int) -> Study:
    """Return the study with so many trained assessors more, coded A01, A02 and so on."""
    taken = set(study.table("assessors")["assessor"])
    codes = [code for place in range(1, number + len(taken) + 1) if (code := f"A{place:02d}") not in taken][:number]
    return put_block(study, "assessors", pd.DataFrame({"assessor": codes, "kind": "trained"}, dtype="str"))


def _test(study: state.StudyInUse) -> None:
    """Show what the test can tell apart, and let the user lay it out: batches, dose, servings with codes."""
    _sizes(study.study)
    with st.form(f"dose {study.key}"):
        stated, made = str(study.study.facts.get("dose") or ""), ""
        dose = st.text_input("How much of each sample", stated, placeholder="50 mg") or ""
        if _without_batch(study.study):
            more = "One batch of each prototype that has none."
            made = st.text_input("The batches are made on", placeholder="2026-03-10", help=more) or ""
        if st.form_submit_button("Save dose and batches"):
            save(study, lambda now: _with_batches(now, dose, made), "Dose and batches stated.")
    if len(study.study.table("batches")):
        with st.expander("pH, viscosity and days of the batches"):
            editor(study, "batches")
    if len(study.study.table("servings")):
        _after_the_plan(study.study)
    else:
        serving_form(study)
    if study.study.table("claims").empty:
        st.markdown("Write down what you want to say before the test; what is stamped beforehand counts for more.")
    go("claims", "Statements to test")


def _after_the_plan(study: Study) -> None:
    """Say what comes after the plan of servings: the safety gate, and once it is open the ballots or a table."""
    if not attempt(cleared, study):
        st.markdown("**The servings are laid out.** Next: sign the safety gate, then open the ballots.")
        go("safety", "Sign the safety gate")
        return
    st.markdown("**The servings are laid out, and the safety gate is open.** Next: open the ballots.")
    go("ballots", "Open the ballots")


def _sizes(study: Study) -> None:
    scale = attempt(planning_scale, study)
    if scale is None or len(study.prototypes) < 2:
        st.markdown("What the test can tell apart is known once it has a scale and two prototypes.")
        return
    margin = study.facts.get("margin") or scale.usual_difference
    result = attempt(
        panel_sizes, float(margin), len(study.prototypes), planning_scatter(scale.length), length=scale.length
    )
    if result is not None:
        names, people = naming(study), int((study.table("assessors")["kind"] == "trained").sum())
        needed = tell_sizes(result, names, REPEATS).headline
        st.markdown(plain(f"{needed} {own_panel(result, names, people, REPEATS)}"))


def _without_batch(study: Study) -> list[str]:
    return [name for name in study.prototypes if name not in set(study.table("batches")["prototype"])]


def _with_batches(study: Study, dose: str, made_on: str) -> Study:
    """Return the study with its dose, and one batch, made on this day, of each prototype that has none."""
    if dose.strip():
        study = put_fact(study, "dose", dose.strip())
    without = _without_batch(study)
    if not made_on.strip() or not without:
        return study
    taken = set(study.table("batches")["batch"])
    named = [next(code for number in range(1, 1000) if (code := f"{name}-{number}") not in taken) for name in without]
    rows = pd.DataFrame({"batch": named, "prototype": without, "made_on": made_on.strip()}, dtype="str")
    after = put_block(study, "batches", rows)
    wrong = [problem for problem in table_problems(after, "batches") if problem.column == "made_on"]
    if wrong:
        raise StudyError(f"{wrong[0].message.capitalize()} {wrong[0].advice}")
    return after
