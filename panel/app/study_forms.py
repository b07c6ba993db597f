"""Taking a study away, and bringing a table of scores in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path, PurePath

import pandas as pd
import streamlit as st

from panel.app import state
from panel.app.places import FIRST_PART, leave_for
from panel.app.widgets import act_and_tell, attempt, download, file_name, plain, say, table, warn
from panel.errors import PanelError, StudyError
from panel.study.archives import open_workbook, sheet_names
from panel.study.folder import write_study
from panel.study.numbers_read import typed_number
from panel.study.open_study import with_scores, workbook_bytes, zip_bytes
from panel.study.raw_table import RawTable, raw_file
from panel.study.score_sheets import score_table
from panel.study.scores_import import (
    ImportedScores,
    ScoresLayout,
    guess_layout,
    read_scores,
    study_from_scores,
)
from panel.study.study import RawFile, Study, natural_order
from panel.study.survey import KINDS, NO_PRODUCT, read_survey, survey_table, with_survey
from panel.words import counted

# Taking the study away: as a folder on this computer, as zip or as workbook.


def save_form(study: state.StudyInUse) -> None:
    """Let the user save the study as a folder, or download it."""
    with st.form("save a copy"):
        path = st.text_input("Save as a study folder", placeholder="path of a new folder on this computer")
        replace = st.checkbox("If a study is there already, replace it")
        if st.form_submit_button("Save"):
            done = "Saved. The study in {} is in use."
            act_and_tell(lambda: _saved_in(study.study, path or "", overwrite=replace), done.format)
    name = file_name(study)
    with st.container(horizontal=True):
        download("Study as zip", lambda: zip_bytes(study.study), f"{name}.zip")
        download("Study as workbook", lambda: workbook_bytes(study.study), f"{name}.xlsx")


def _saved_in(study: Study, text: str, *, overwrite: bool) -> Path:
    """Save a copy of the study in the folder that was typed, use it, and return the folder."""
    if not text.strip():
        raise StudyError("Write the path of a folder first.")
    folder = state.typed_path(text)
    if folder.resolve() == state.demo_folder():
        raise StudyError("The demo stays as it is. Choose another folder.")
    write_study(study, folder, overwrite=overwrite, what="A copy of another study was saved here.")
    state.use_path(str(folder))
    return folder


# Importing a table of scores: what stands in it, which column holds what, what was done, then use it.


_ROWS_SHOWN, _BESIDE = 6, 4
_LONG, _WIDE = "one score", "all attributes of one sample"
_NEEDED = {"assessor": "Assessor", "prototype": "Prototype"}
_WHERE_PRESENT = {
    "moment": "Moment it was judged",
    "session": "Session",
    "replicate": "Replicate",
    "position": "Serving position",
    "batch": "Batch",
    "recorded_at": "Time of entry",
}
_DECIMALS = {"": "as the file shows", ".": "point", ",": "comma"}
_ABSENT = "not in the file"
_NEW_STUDY, _STUDY_IN_USE = "into a new study", "into the study in use"


def import_form() -> None:
    """Let the user import a table of scores, and use it as the study."""
    upload = st.file_uploader("Table of scores (CSV, text or XLSX)", type=["csv", "txt", "tsv", "xlsx"], key="scores")
    if upload is None:
        st.caption("A row may be one score, or one sample with a column for each attribute. Nothing is changed in it.")
        return
    file = raw_file(upload.name, upload.getvalue())
    names = attempt(_sheets, file) or []
    whole = "all that belong together"
    sheet = st.selectbox("Sheet", [whole, *names], key=f"sheet {file.sha256[:16]}") if len(names) > 1 else ""
    sheet = "" if sheet == whole else sheet
    line = st.text_input(
        "Line with the headings",
        key=f"heading {file.sha256[:16]}",
        width=260,
        placeholder="found by itself",
        help="Where the wrong line was taken: the line of the file in which the names of the columns stand.",
    )
    heading = attempt(_line_number, line or "")
    raw = None if heading is None else attempt(_uploaded_table, file.sha256, sheet or "", heading, file)
    if raw is None:
        return
    _preview(raw)
    imported = attempt(read_scores, raw, _layout(raw, guess_layout(raw), f"{file.sha256[:16]} {sheet} {heading}"))
    if imported is not None:
        _what_was_done(imported)
        _use(imported, file)


def survey_form() -> None:
    """Let the user bring a survey export with one row per person, and use its answers as the study."""
    upload = st.file_uploader("Survey export (CSV, text or XLSX)", type=["csv", "txt", "tsv", "xlsx"], key="survey")
    if upload is None:
        st.caption("A row for each person and a column for P1 liking, P2 liking; or a row for each person and product.")
        return
    file = raw_file(upload.name, upload.getvalue())
    uploaded, sheet = _survey_sheet(file)
    now = attempt(state.study_in_use)
    if uploaded is None:
        return
    key = f"{file.sha256[:16]}{sheet}"
    person = st.selectbox(
        "Code of the person", ["", *uploaded.header], format_func=lambda n: n or "found by itself", key=f"person {key}"
    )
    own = now is not None and now.folder is not None and bool(now.study.prototypes)
    first = int(own and now is not None and _belongs_to(now.study, uploaded, person or ""))
    into = st.radio("Put them", [_NEW_STUDY, _STUDY_IN_USE], index=first, horizontal=True) if own else _NEW_STUDY
    known = now.study.prototypes if now and into != _NEW_STUDY else ()
    read, about = _survey_read(uploaded, person or "", known, key)
    if read is None:
        return
    raw, guess = read
    guess = _with_kinds(guess, key)
    asked = _asked(guess, f"asked {key} {person} {into} {about} {' '.join(guess['kind'])}")
    say(raw.notes)
    test = st.text_input("In which test they answered", placeholder="hall test, home use", key=f"test {key}") or ""
    st.caption("Of just-about-right answers, too little, just right and too much are kept as 2, 3 and 4 of 5.")
    if now and into != _NEW_STUDY:
        if st.button("Add these answers", type="primary"):
            _add(now, lambda study: with_survey(study, raw, asked, file, test.strip()), f"The answers of {file.name}")
        return
    title = st.text_input("Title of the study", PurePath(file.name).stem, key=f"title {key}") or file.name
    if st.button("Use these answers", type="primary"):
        study = attempt(with_survey, Study({}, {"title": title}), raw, asked, file, test.strip())
        if study is not None:
            _keep_import(study, title, "answers")


def _belongs_to(study: Study, uploaded: RawTable, person: str) -> bool:
    """Return True if a survey is about prototypes of this study alone, which has no answers so far."""
    try:
        guess = read_survey(uploaded, person)[1]
    except PanelError:  # said where it is read
        return False
    named = {*guess["prototype"].fillna("")} - {""}
    return study.table("answers").empty and bool(named) and named <= {*study.prototypes}


def _add(study: state.StudyInUse, change: Callable[[Study], Study], what: str) -> None:
    """Put what a file holds into the study in use, and go where it answers."""
    said = attempt(lambda: state.keep(study, change, f"{what} were added."))
    if said is not None:
        state.leave_message(said)
        leave_for(FIRST_PART)


def _with_kinds(guess: pd.DataFrame, key: str) -> pd.DataFrame:
    """Ask of each question that was not understood what kind it is, once for all its columns."""
    noticed = guess["noticed"]
    unread = guess.loc[noticed.str.startswith("not read") & ~noticed.str.contains(NO_PRODUCT)]  # which is asked apart
    for number, (question, rows) in enumerate(unread.groupby("question", sort=False)):
        why = rows["noticed"].iloc[0].removeprefix("not read").lstrip(": ")
        chosen = st.selectbox(
            f"“{plain(question)}” is left out so far, {counted(len(rows), 'column')}: {plain(why)}. It is",
            ["", *KINDS],
            format_func=lambda kind: kind.replace("_", " ") or "left out",
            key=f"kind {number} {key}",
        )
        guess = guess.assign(kind=guess["kind"].mask(guess.index.isin(rows.index), chosen))
    return guess


def _asked(guess: pd.DataFrame, key: str) -> pd.DataFrame:
    """Return what each column asks, as it was guessed or put right."""
    st.markdown("**What does each column ask?** This is a guess; put it right where it is wrong.")
    texts = {
        str(name): st.column_config.TextColumn(str(name).capitalize(), disabled=name in ("column", "noticed"))
        for name in guess
    }
    texts["kind"] = st.column_config.SelectboxColumn(
        "Kind of question", options=["", *KINDS], format_func=lambda kind: str(kind).replace("_", " ")
    )
    asked = st.data_editor(guess, hide_index=True, column_config=texts, key=key, alt="Questions", placeholder="")
    return asked.fillna("").astype("str")


def _survey_sheet(file: RawFile) -> tuple[RawTable | None, str]:
    """Return the table of a survey and which sheet it stands on, which is asked where there are several."""
    names = attempt(_sheets, file) or []
    sheet = st.selectbox("Sheet", names, key=f"survey sheet {file.sha256[:16]}") if len(names) > 1 else ""
    return attempt(survey_table, file, sheet or ""), sheet or ""


def _survey_read(
    uploaded: RawTable, person: str, known: tuple[str, ...], key: str
) -> tuple[tuple[RawTable, pd.DataFrame] | None, str]:
    """Return a survey as it is read, and the one prototype it is about where no column names any: that is asked."""
    read = attempt(read_survey, uploaded, person, known)
    if read is None or not read[1]["noticed"].str.contains(NO_PRODUCT).any():
        return read, ""
    about = st.text_input("All of it is about", placeholder="the product these people tried", key=f"of {key}") or ""
    return attempt(read_survey, uploaded, person, known, about.strip()), about


def _sheets(file: RawFile) -> list[str]:
    if not file.name.lower().endswith(".xlsx"):
        return []
    with open_workbook(file.content, file.name) as (workbook, _):
        return sheet_names(workbook)


def _line_number(text: str) -> int:
    """Return the line that was typed; 0 where it is to be found, StudyError if it is no line."""
    number = typed_number(text, "The line with the headings") if text.strip() else 0
    if number is None or number != int(number) or number < 0:
        raise StudyError(f"The line with the headings is a whole number, not {text.strip()!r}.")
    return int(number)


def _preview(raw: RawTable) -> None:
    st.markdown(f"**What stands in {plain(raw.name)}**, the first rows of {len(raw.lines):,}:")
    shown = {name: list(cells[:_ROWS_SHOWN]) for name, cells in zip(raw.header, raw.columns, strict=True)}
    st.dataframe(pd.DataFrame(shown, dtype="str"), hide_index=True, alt=f"First rows of {raw.name}")


def _layout(raw: RawTable, guess: ScoresLayout, file: str) -> ScoresLayout:
    st.markdown("**Which column holds what?** This is a guess; put it right where it is wrong.")
    rows = st.radio("A row holds", [_LONG, _WIDE], index=0 if guess.is_long else 1, horizontal=True, key=f"rows {file}")
    roles = dict(_NEEDED)
    if rows == _LONG:
        roles |= {"attribute": "Attribute", "score": "Score"}
    held = {}
    asked = list((roles | _WHERE_PRESENT).items())
    for start in range(0, len(asked), _BESIDE):  # row by row, so that on a narrow screen they keep their order
        some = asked[start : start + _BESIDE]
        for (role, label), place in zip(some, st.columns(_BESIDE), strict=False):
            held[role] = _column_box(place, label, raw, getattr(guess, role), f"{role} {file}")
    attributes: list[str] = []
    if rows == _WIDE:
        attributes = st.multiselect(
            "Attributes (columns with scores)", raw.header, list(guess.attributes), key=f"attributes {file}"
        )
    decimal = st.radio(
        "Decimal sign", list(_DECIMALS), format_func=_DECIMALS.__getitem__, horizontal=True, key=f"decimal {file}"
    )
    fill_down = st.checkbox("A blank name means the name above it", key=f"fill down {file}")
    layout = ScoresLayout(attributes=tuple(attributes), decimal=decimal, fill_down=fill_down)
    return replace(layout, **held)  # type: ignore[arg-type]  # the roles are texts


def _column_box(place: st.delta_generator.DeltaGenerator, label: str, raw: RawTable, guess: str, key: str) -> str:
    options = ["", *raw.header]
    index = options.index(guess) if guess in options else 0
    return str(place.selectbox(label, options, index, format_func=lambda column: column or _ABSENT, key=key))


def _what_was_done(imported: ImportedScores) -> None:
    st.markdown("**What was done**")
    say(imported.notes)
    if len(imported.unread):
        shown = imported.unread[["line", "column", "text", "reason"]]
        shown = shown.set_axis(["Line", "Column", "What stands there", "Why it was not read"], axis=1)
        table(shown, name="not_read", alt="Cells that could not be read")


def _use(imported: ImportedScores, file: RawFile) -> None:
    """Ask for the title and the ends of the scale, and use the scores as the study, or in the one that was begun."""
    now = attempt(state.study_in_use)
    if now is not None and now.folder is not None and now.study.prototypes and now.study.scores.empty:
        known = set(imported.scores["prototype"]) <= {*now.study.prototypes, ""}
        into = st.radio("Put them", [_NEW_STUDY, _STUDY_IN_USE], index=int(known), horizontal=True)
        if into == _STUDY_IN_USE:
            made = attempt(study_from_scores, imported, file, now.title)
            if st.button("Add these scores", type="primary") and made is not None:
                _add(now, lambda study: with_scores(study, made), f"The scores of {file.name}")
            return
    columns = st.columns([2, 1, 1])
    title = columns[0].text_input("Title of the study", PurePath(file.name).stem, key=f"title {file.sha256[:16]}")
    low, high = (
        attempt(
            typed_number,
            column.text_input(label, key=f"{label} {file.sha256[:16]}", help="Empty if you do not know.") or "",
            f"The {label.lower()}",
        )
        for column, label in zip(columns[1:], ("Lowest possible score", "Highest possible score"), strict=True)
    )
    if low is not None and high is not None and low >= high:
        warn("The lowest possible score must lie below the highest.")
        return
    scored = natural_order(name for name in imported.scores["prototype"] if name)
    benchmark = st.selectbox(
        "Which one is the benchmark?",
        ["", *scored],
        format_func=lambda name: name or "none of them",
        key=f"benchmark {file.sha256[:16]}",
        help="The product you have now, or whatever the others are compared with. Swaps are told from it.",
    )
    if st.button("Use these scores", type="primary", key=f"use {file.sha256[:16]}"):
        study = attempt(study_from_scores, imported, file, title or file.name, low, high, benchmark or "")
        if study is not None:
            _keep_import(study, title or file.name)


def _keep_import(study: Study, title: str, what: str = "scores") -> None:
    """Write an import into a folder of its own at once, and use it; only where that fails it stays in this window."""
    try:
        folder = state.default_folder(title)
        write_study(study, folder, what=f"The {what} were imported.")
        state.use_path(str(folder))
    except PanelError as error:
        state.use_study(title, study)
        state.leave_message(f"These {what} are in use, but only in this window: {error}")
    else:
        state.leave_message(f"These {what} are in use and kept in {folder}.")
    leave_for(FIRST_PART)


@st.cache_resource(max_entries=4, show_spinner="Reading the file ...")
def _uploaded_table(sha256: str, sheet: str, heading: int, _file: RawFile) -> RawTable:
    return score_table(_file, sheet, heading)
