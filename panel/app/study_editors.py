"""Editing a study: every table and every fact, made from what the tables declare, saved with its journal."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import Any

import pandas as pd
import streamlit as st

from panel.app.fact_editors import edit_facts
from panel.app.guide import CHOICE, EDITORS, FACTS, FORMULAS, ROW, STATEMENTS
from panel.app.places import choice_in_address, go
from panel.app.state import StudyInUse, moment
from panel.app.widgets import act_and_tell, attempt, download, file_name, headline, keep_and_tell, plain, say, table
from panel.checks.all_checks import with_proposal
from panel.checks.finding import Finding
from panel.claims.time_stamp import with_statements
from panel.errors import StudyError
from panel.study.editing import changes_between, put_block, put_table, rebased, table_problems, texts_of_table
from panel.study.formulas import ingredients
from panel.study.knowledge import shared_table
from panel.study.naming import Naming
from panel.study.open_study import keep_aside, kept_aside
from panel.study.pasted import cells_kept, columns_of_grid, formula_grid, put_formulas, read_block, total_of, with_swap
from panel.study.people import left_as_codes, names_of_people
from panel.study.renaming import delete, people_by_code, rename
from panel.study.saving import journal_rows, undo
from panel.study.shown import shown
from panel.study.study import Study
from panel.study.table_cells import column_hint, columns_of, with_headings
from panel.study.tables import TABLES, Column, heading
from panel.study.template import read_workbook, template_bytes
from panel.views.decision.claims import kind_words
from panel.views.planning.study import CHANGED_ROWS
from panel.words import counted

_ROWS_OF_ENTRIES = MappingProxyType(
    {"questions": "one question to consumers", "planned_differences": "one difference that the test is made to find"}
)
_NAMED = MappingProxyType(
    {"prototypes": "prototype", "attributes": "attribute", "assessors": "assessor", "batches": "batch"}
)
_WHO = "who edits"
_MOST_ROWS = 2000  # of a grid in a page; longer tables come as a file
_SHOWN = 30  # changed rows, problems


def show_edit(study: StudyInUse) -> None:
    """Let the user edit the study in use."""
    headline("What shall be changed?")
    what = choice_in_address(
        "What to edit", list(EDITORS), CHOICE, format_func=EDITORS.__getitem__, persist_state="session"
    )
    if not what:
        st.caption("Choose what to edit. Each change is kept in the journal and can be taken back.")
        go("claims", "What became of statements is told under Say")
        _workbook(study)
        return
    st.text_input("Your initials, for the journal", key=_WHO, persist_state="session", width=260)
    editor(study, what)
    _take_back(study)


def editor(study: StudyInUse, what: str) -> None:
    """Show the editor of one table, or of the facts."""
    if what == FACTS:
        edit_facts(study, lambda change, done: save(study, change, done))
        return
    if len(study.study.table(what) if what in TABLES else ()) > _MOST_ROWS:
        st.markdown(f"This table has more than {_MOST_ROWS} rows. Change it as a workbook: see Study as workbook.")
        return
    if what == STATEMENTS:
        _statements(study)
        return
    st.caption(_what_a_row_is(what))
    if what == FORMULAS:
        _formulas(study)
    else:
        _grid_of(study, what)
        _one_row(study, what)
    _paste(study, what)
    if what in _NAMED:
        _names(study, _NAMED[what])


def _take_back(study: StudyInUse) -> None:
    told = journal_rows(study.folder) if study.folder is not None else pd.DataFrame()
    if study.folder is None or told.empty:
        return
    last = told.iloc[0]
    if st.button("Take the last change back", icon=":material/undo:", type="tertiary", help=plain(last["what"])):
        who = str(st.session_state.get(_WHO) or "")
        number, why = int(last["change"]), "Taken back where it was edited."
        act_and_tell(partial(undo, study.folder, number, who=who, why=why), f"Taken back: {last['what']}")


def save(study: StudyInUse, change: Callable[[Study], Study], done: str, *, forget: str = "") -> None:
    """Save a change and start the page again; say why not if it cannot be saved."""
    who = str(st.session_state.get(_WHO) or "")
    keep_and_tell(study, change, done, who=who, after=lambda _: _keep_draft(study, forget, None))


def show_proposal(study: StudyInUse, finding: Finding, key: str) -> None:
    """Offer what a finding proposes; it is done under somebody's name, and can be taken back."""
    if not finding.proposals:
        return
    first, *more = finding.proposals
    with st.popover(plain(f"{first.sentence}{f', and {len(more)} more' if more else ''}"), type="tertiary"):
        who = st.text_input("Who says so", str(st.session_state.get(_WHO) or ""), key=f"who {key}") or ""
        if st.button("Do it", key=f"do {key}", type="primary"):
            when = moment()
            done = f"{first.sentence}."
            keep_and_tell(study, lambda now: with_proposal(now, finding, who=who, when=when), done, who=who)


def _what_a_row_is(what: str) -> str:
    if what == FORMULAS:
        return "A row is an ingredient, a column a prototype, in per cent by mass. q.s. fills up to 100 %."
    row = _ROWS_OF_ENTRIES.get(what) or TABLES[what].row
    needed = [heading(column) for column in columns_of(what) if column.required]
    return f"A row is {row}. Needed: {', '.join(needed)}. 48,7 and 48.7 are both read."


# What was typed and is not saved yet: it outlives a reload of the page, a look at another editor, and the app.


@dataclass(frozen=True, eq=False, slots=True)
class _Draft:
    """A table as it was when somebody began to edit it, and as it was typed."""

    begun: pd.DataFrame
    typed: pd.DataFrame

    @property
    def changed(self) -> bool:
        """True if something was typed."""
        return not self.typed.equals(self.begun)


@st.cache_resource
def _drafts() -> dict[tuple[str, str], _Draft | None]:
    return {}


def _keep_draft(study: StudyInUse, what: str, draft: _Draft | None) -> None:
    """Keep what was typed of a table until it is saved; None where there is nothing more to keep."""
    drafts, place = _drafts(), (study.place, what)
    if drafts.get(place) is draft is None:
        return
    drafts[place] = draft
    if study.folder is not None:  # one that is only in this window does not outlive the app either
        frames = {} if draft is None else {"begun": draft.begun.to_dict("list"), "typed": draft.typed.to_dict("list")}
        keep_aside("\n".join(place), json.dumps(frames).encode() if frames else None)


def _kept_draft(study: StudyInUse, what: str) -> _Draft | None:
    drafts, place = _drafts(), (study.place, what)
    kept = kept_aside("\n".join(place)) if place not in drafts and study.folder is not None else None
    with suppress(ValueError, KeyError):
        if kept is not None:
            frames = json.loads(kept)
            drafts[place] = _Draft(*(pd.DataFrame(frames[name], dtype="str") for name in ("begun", "typed")))
    return drafts.setdefault(place, None)


def _grid(study: StudyInUse, what: str, now: pd.DataFrame, columns: Mapping[str, Any]) -> _Draft:
    """Show a grid of texts, and return what stands in it; it begins with what was typed and not saved."""
    key = f"grid {what} {study.key} {st.session_state.get(f'turn {what}', 0)}"
    if key not in st.session_state:
        st.session_state[f"begun {key}"] = _kept_draft(study, what) or _Draft(now, now)
    begun: _Draft = st.session_state[f"begun {key}"]
    marks: dict[int, str] = st.session_state.get(f"marks {what} {study.place}", {})  # as the page was last drawn
    marked = [marks.get(row, "") for row in range(1, len(begun.typed) + 1)]
    typed = st.data_editor(
        begun.typed.assign(**{_MARK: marked}) if marks else begun.typed,
        num_rows="dynamic",
        hide_index=True,
        column_config={_MARK: st.column_config.TextColumn(_MARK, disabled=True, pinned=True), **columns},
        column_order=[*([_MARK] if marks else []), *begun.typed.columns],
        key=key,
        placeholder="",
        alt=f"{EDITORS[what]}, to edit",
    )
    typed = typed.drop(columns=_MARK, errors="ignore").fillna("").astype("str")
    draft = _Draft(begun.begun.astype("str"), typed[(typed != "").any(axis=1)].reset_index(drop=True))
    _keep_draft(study, what, draft if draft.changed else None)
    return draft


def _begin_again(study: StudyInUse, what: str, draft: _Draft | None) -> None:
    _keep_draft(study, what, draft)
    st.session_state[f"turn {what}"] = int(st.session_state.get(f"turn {what}", 0)) + 1
    st.rerun()


def _grid_columns(study: Study, what: str, texts: pd.DataFrame) -> dict[str, Any]:
    """Return how each column of a grid is shown: as text, or as a choice among words that leaves none out."""
    found: dict[str, Any] = {}
    for column in columns_of(what):
        words = _words_of(study, what, column)
        label, hint = heading(column), column_hint(column)
        if words:
            held = [text for text in texts[column.name] if text] if column.name in texts else []
            options = list(dict.fromkeys(["", *words, *held]))
            told = _told_of(what, column)
            found[column.name] = st.column_config.SelectboxColumn(label, help=hint, options=options, format_func=told)  # type: ignore[arg-type]  # its options are texts
        else:
            pinned = column.required or None  # what a row is called stays in sight
            found[column.name] = st.column_config.TextColumn(label, help=hint, pinned=pinned)
    for name in texts:
        found.setdefault(str(name), st.column_config.TextColumn(str(name), help="kept as it is; nothing reads it"))
    return found


def _told_of(what: str, column: Column) -> Callable[[str], str]:
    """Return how a word to choose is shown: `just about right`; a name of the study as it is."""
    if what == STATEMENTS and column.name == "kind":
        return kind_words
    return lambda word: word.replace("_", " ") if column.choices else word


def _words_of(study: Study, what: str, column: Column) -> Sequence[str]:
    """Return the words among which a column chooses; none where anything may be typed."""
    if column.choices:
        return column.choices
    if what == STATEMENTS and column.name == "kind":
        return shared_table("claim_kinds")["kind"].tolist()
    if column.name in ("prototype", "versus") and what != "prototypes":
        return study.prototypes
    if column.name == "attribute" and what != "attributes":
        return study.attributes
    return ()


def _grid_of(study: StudyInUse, what: str) -> None:
    now = texts_of_table(study.study, what)
    draft = _grid(study, what, now, _grid_columns(study.study, what, now))
    _save_or_not(study, what, draft, lambda seen, texts: put_table(seen, what, texts))


def _save_or_not(study: StudyInUse, what: str, draft: _Draft, put: Callable[[Study, pd.DataFrame], Study]) -> None:
    """Say what is wrong with what was typed, and save it or leave it."""
    both = attempt(lambda: (put(study.study, draft.begun), put(study.study, draft.typed)))
    if both is None:
        return
    before, after = both
    _mark(study, what, draft, _cells_to_mend(after, what, draft.typed))
    if not draft.changed:
        return
    changed = len(changes_between(before, after))
    st.markdown(f"Not saved yet: {counted(changed, 'row')} changed.")
    with st.container(horizontal=True):
        if st.button(f"Save {EDITORS[what].lower()}", type="primary", key=f"save {what}"):
            done = f"{EDITORS[what]}: {counted(changed, 'row')} changed."
            save(study, lambda now: _with_prototypes(rebased(now, what, before, after)), done, forget=what)
        if st.button("Leave it as it was", key=f"leave {what}"):
            _begin_again(study, what, None)


# What is wrong is marked in the row where it stands; below the grid each wrong cell is a field, its sentence beside it.


_MARK = "To mend"


def _cells_to_mend(study: Study, what: str, grid: pd.DataFrame) -> list[tuple[int, str, str]]:
    """Return row and column of each wrong cell, as they stand in the grid, with what is wrong."""
    found = []
    for problem in table_problems(study, what):
        row, column = problem.row, problem.column
        if what == FORMULAS:  # a row of the table is a cell of this grid
            line = study.table(FORMULAS).iloc[row - 1]
            named = grid["ingredient"].str.strip() == str(line["ingredient"]).strip()
            row, column = int(named.to_numpy().argmax()) + 1, str(line["prototype"])
        found.append((row, column, f"{problem.message} {problem.advice}".strip()))
    return found


def _mark(study: StudyInUse, what: str, draft: _Draft, wrong: list[tuple[int, str, str]]) -> None:
    """Show each wrong cell as a field to mend it in, with what is wrong; mark these rows in the grid."""
    marks: dict[int, str] = {}
    known = {column.name: heading(column) for column in columns_of(what)}
    for row, column, _ in wrong:
        named = known.get(column, column)
        marks[row] = f"{marks[row]}, {named}" if row in marks else f"\u25b2 {named}"
    kept = f"marks {what} {study.place}"
    if marks != st.session_state.get(kept, {}):  # a grid that is given other rows begins anew
        st.session_state[kept] = marks
        _begin_again(study, what, draft)
    if wrong:
        st.markdown(f"**{counted(len(wrong), 'cell')} to look at**")
    mended, turn = draft.typed.copy(), st.session_state.get(f"turn {what}", 0)
    with st.container(horizontal=True):
        for number, (row, column, words) in enumerate(wrong[:_SHOWN]):
            label, place = f"\u25b2 Row {row}, {known.get(column, column)}", (row - 1, column)
            with st.container(key=f"wrong {number}", width=340):
                if column in mended:
                    cell = str(mended.loc[place])
                    key = f"mend {what} {row} {column} {cell} {turn}"
                    mended.loc[place] = _cell_field(study.study, what, column, cell, label=label, key=key)
                st.markdown(plain(words if column in mended else f"{label}: {words}"))
    if not mended.equals(draft.typed):
        _begin_again(study, what, replace(draft, typed=mended))


# Formulas: a column for each prototype, an ingredient found while typing, a swap.


def _formulas(study: StudyInUse) -> None:
    now = formula_grid(study.study)
    if not columns_of_grid(study.study, now):
        st.markdown("There are no prototypes yet. Paste the formulas below, or add prototypes first.")
        return
    draft = _grid(study, FORMULAS, now, _formula_columns(study.study, now))
    _totals(study.study, draft.typed)
    _save_or_not(study, FORMULAS, draft, put_formulas)
    with st.expander("Add an ingredient, or a formula that differs in one"):
        _add_ingredient(study, draft)
        _swap(study, draft)


def _formula_columns(study: Study, grid: pd.DataFrame) -> dict[str, Any]:
    about = {name: shown for name, shown in _grid_columns(study, FORMULAS, grid).items() if name in grid}
    prototypes = columns_of_grid(study, grid)
    return about | {name: st.column_config.TextColumn(name, help="per cent by mass") for name in prototypes}


def _totals(study: Study, grid: pd.DataFrame) -> None:
    told = []
    for prototype in columns_of_grid(study, grid):
        cells = [cell.strip() for cell in grid[prototype] if cell.strip()]
        total = total_of(study, cells)
        if not cells:
            continue
        filled = any(cell.casefold().startswith(("q", "ad", "to")) for cell in cells)
        rest = "filled up to 100 %" if filled else f"{total:g} %" if abs(total - 100) > _CLOSE else "100 %"
        missing = f" ({100 - total:+g} to 100)" if not filled and abs(total - 100) > _CLOSE else ""
        told.append(f"{prototype}: {'an amount is not read' if total != total else rest + missing}")  # NaN
    if told:
        st.markdown(f"Totals: {plain('; '.join(told))}.")


_CLOSE = 0.005  # per cent: amounts are written to a hundredth


def _add_ingredient(study: StudyInUse, draft: _Draft) -> None:
    known = ingredients()["ingredient"].tolist()
    free: dict[str, Any] = {"index": None, "accept_new_options": True, "placeholder": "type a few letters"}
    name = st.selectbox("Ingredient (INCI)", known, key="ingredient to add", **free)
    if st.button("Add this ingredient") and name:
        row = pd.DataFrame([dict.fromkeys(draft.typed, "") | {"ingredient": str(name)}], dtype="str")
        longer = pd.concat([draft.typed, row], ignore_index=True)
        _begin_again(study, FORMULAS, _Draft(draft.begun, longer))


def _swap(study: StudyInUse, draft: _Draft) -> None:
    """Ask for a formula that is the same as another but for one ingredient."""
    grid = draft.typed
    names = columns_of_grid(study.study, grid)
    first, second = st.columns(2)
    base = first.selectbox("The same as", names, key="swap base")
    free: dict[str, Any] = {"index": None, "accept_new_options": True}
    empty, hint = [name for name in names if not grid[name].any()], "name of the new one"
    new = second.selectbox("for the prototype", empty, key="swap new", placeholder=hint, **free)
    held = [name for name, cell in zip(grid["ingredient"], grid[base], strict=True) if cell] if base else []
    removed = first.selectbox("but without", held, index=None, key="swap removed")
    added = second.selectbox("and as much of", ingredients()["ingredient"].tolist(), key="swap added", **free)
    if st.button("Add this formula"):
        swapped = attempt(with_swap, study.study, grid, base or "", str(new or ""), removed or "", str(added or ""))
        if swapped is not None:
            _begin_again(study, FORMULAS, _Draft(draft.begun, swapped))


# Statements that the test is to show: each is fixed by a name and a moment, and stays.


def _statements(study: StudyInUse) -> None:
    """Let the user write the statements that the test is to show, several at a time, and fix them."""
    fixed = study.study.table(STATEMENTS)
    if len(fixed):
        told = fixed[["claim", "kind", "stamped_by", "stamped_at"]].assign(kind=fixed["kind"].map(kind_words))
        told = told.set_axis(["Statement", "Kind", "Stamped by", "Stamped at"], axis=1)
        table(told, name="fixed_statements", alt="Statements that are stamped")
    st.caption("A row is one statement, word for word. Stamped after the first score it stays exploratory.")
    names = [column.name for column in columns_of(STATEMENTS)]
    empty = pd.DataFrame(columns=names[: names.index("stamped_at")], dtype="str")
    columns = {str(name): _grid_columns(study.study, STATEMENTS, empty)[str(name)] for name in empty}
    draft = _grid(study, STATEMENTS, empty, columns)
    if draft.typed.empty:
        return
    st.markdown(f"Not stamped yet: {counted(len(draft.typed), 'statement')}. What is stamped is not changed any more.")
    with st.container(horizontal=True):
        if st.button("Stamp these statements", type="primary"):
            who, when = str(st.session_state.get(_WHO) or ""), moment()
            done = f"{counted(len(draft.typed), 'statement')} stamped."
            save(study, lambda now: with_statements(now, draft.typed, who, when), done, forget=STATEMENTS)
        if st.button("Leave it as it was", key=f"leave {STATEMENTS}"):
            _begin_again(study, STATEMENTS, None)


# One row at a time, for a narrow screen and for the keyboard alone.


def _one_row(study: StudyInUse, what: str) -> None:
    """Let the user write one row field by field: a pH at the bench, the row that a finding named."""
    texts = texts_of_table(study.study, what)
    asked = st.session_state.get(ROW)
    number = asked[1] if asked and asked[0] == what and asked[1] <= len(texts) else 0
    with st.expander("One row, field by field", expanded=bool(number)):
        labels = [f"row {place + 1}: {_row_words(row)}" for place, row in enumerate(texts.itertuples(index=False))]
        options = ["a new row", *labels]
        chosen = st.selectbox("Which row", options, number, key=f"row of {what} {number}")
        place = options.index(chosen) - 1 if chosen in options else -1
        row = dict(texts.iloc[place]) if place >= 0 else dict.fromkeys(texts.columns, "")
        with st.form(f"row {what} {place} {study.key}"):
            new = {
                name: _cell_field(study.study, what, name, str(cell), key=f"{what} {place} {name}")
                for name, cell in row.items()
            }
            if st.form_submit_button("Save this row", type="primary"):
                st.session_state.pop(ROW, None)
                before = {str(name): str(cell) for name, cell in row.items()} if place >= 0 else None
                if new == before:
                    st.info("Nothing in this row was changed.")
                    return
                named = [new[column.name] for column in columns_of(what) if column.required] or list(new.values())
                done = f"{EDITORS[what]}, one row: {_row_words(named)}."
                save(study, lambda seen: _with_row(seen, what, before, new), done)


def _row_words(row: Sequence[object]) -> str:
    return ", ".join([str(cell) for cell in row if str(cell)][:4])


def _cell_field(study: Study, what: str, name: str, cell: str, *, label: str = "", key: str) -> str:
    """Return what is written into one cell: chosen where its column has words to choose among, else typed."""
    known = {column.name: column for column in columns_of(what)}
    column = known.get(name) or Column(name, "text", "kept as it is")
    words, hint = _words_of(study, what, column), column_hint(column)
    own = heading(column) if name in known else plain(heading(column))  # a heading of ours is heard without backslashes
    label = plain(label) or own + (" (needed)" if column.required else "")
    if words:
        options = list(dict.fromkeys(["", *words, cell]))
        told = _told_of(what, column)
        return str(st.selectbox(label, options, options.index(cell), format_func=told, help=hint, key=key) or "")
    return st.text_input(label, cell, help=hint, key=key) or ""


def _with_row(study: Study, what: str, before: Mapping[str, str] | None, new: Mapping[str, str]) -> Study:
    """Return the study with one row of a table changed, or one more; `before` is the row as it was seen.

    StudyError if that row is not there any more.
    """
    texts = texts_of_table(study, what)
    if before is None:
        row = pd.DataFrame([dict(new)], dtype="str")
        return put_table(study, what, pd.concat([texts, row], ignore_index=True).fillna(""))
    same = [place for place, row in enumerate(texts.to_dict("records")) if row == dict(before)]
    if not same:
        raise StudyError("Somebody else changed this row meanwhile. Look at it again, then make your change.")
    for name, cell in new.items():
        texts.loc[same[0], name] = cell
    return put_table(study, what, texts)


# A block from a spreadsheet: read, shown as what would change, then saved.


def _paste(study: StudyInUse, what: str) -> None:
    with st.expander("Paste from a spreadsheet", icon=":material/content_paste:"):
        text = st.text_area(
            "Cells",
            key=f"paste {what} {st.session_state.get(f'pasted {what}', 0)}",
            height=140,
            placeholder="Copy the cells with their headings, and paste them here.",
        )
        if not (text or "").strip():
            st.caption(f"Columns: {', '.join(heading(column) for column in columns_of(what))}.")
            return
        pasted = attempt(read_block, text or "", what, study.study)
        if pasted is None:
            return
        say(pasted.notes) if pasted.notes else None
        choices = {words: _meant(what, words, near) for words, near in pasted.unknown.items()}
        block = attempt(pasted.mapped, {words: column for words, column in choices.items() if column})
        if block is not None:
            _pasted_block(study, what, block)


def _meant(what: str, words: str, near: str) -> str:
    headings = {"": "kept as it is"} | {column.name: heading(column) for column in columns_of(what)}
    asked, options = f"The table has no column {plain(words)}. It is", list(headings)
    at, key = options.index(near), f"meant {what} {words}"
    return str(st.selectbox(asked, options, at, format_func=headings.__getitem__, key=key))


def _pasted_block(study: StudyInUse, what: str, block: pd.DataFrame) -> None:
    whole = st.checkbox("This is the whole table: rows that are not in it go", key=f"whole {what}")
    after = attempt(put_block, study.study, what, block, whole=whole)
    if after is None:
        return
    told = [] if whole else cells_kept(study.study, what, block)
    told += [with_headings(problem.sentence) for problem in table_problems(after, what)[:_SHOWN]]
    say(told) if told else None
    if what == FORMULAS:
        _totals(after, formula_grid(after))
    done = f"{EDITORS[what]} pasted."
    put = partial(put_block, name=what, block=block, whole=whole)
    _preview(study, what, _with_prototypes(after), lambda now: _with_prototypes(put(now)), done)


def _with_prototypes(study: Study) -> Study:
    listed = study.table("prototypes")["prototype"].tolist()
    new = [name for name in study.table(FORMULAS)["prototype"].unique() if name and name not in listed]
    return put_block(study, "prototypes", pd.DataFrame({"prototype": new}, dtype="str")) if new else study


# All tables at once, as a workbook that goes out and comes back.


def _workbook(study: StudyInUse) -> None:
    with st.expander("All tables as a workbook, to fill in elsewhere", icon=":material/table:"):
        download("Workbook", lambda: template_bytes(study.study), f"{file_name(study)}_to_fill_in.xlsx")
        file = st.file_uploader("The workbook, filled in", type=["xlsx"], key=f"workbook {study.key}")
        read = attempt(read_workbook, study.study, file.getvalue(), file.name) if file is not None else None
        if file is None or read is None:
            return
        after, notes, problems = read
        say([*notes, *problems[:_SHOWN]]) if notes or problems else None
        content = file.getvalue()
        done = f"The workbook {file.name} was brought in."
        _preview(study, "the workbook", after, lambda now: read_workbook(now, content, file.name)[0], done)


def _preview(study: StudyInUse, what: str, after: Study, change: Callable[[Study], Study], done: str) -> None:
    would = changes_between(study.study, after)
    if would.empty:
        st.markdown("Nothing would change: the study holds that already.")
        return
    changes = shown(CHANGED_ROWS, would.head(_SHOWN).assign(change=""), Naming()).drop(columns="Change")
    with st.expander("Row by row", expanded=bool((would["before"] != "nothing").any())):  # new ones say little
        table(changes, name=f"changes_{what.replace(' ', '_')}", alt=f"What would change with {what}")
        if len(would) > _SHOWN:
            st.caption(f"These are the first {_SHOWN} of {counted(len(would), 'row')}.")
    if st.button(f"Save {counted(len(would), 'row')}", type="primary", key=f"save changes of {what}"):
        st.session_state[f"pasted {what}"] = int(st.session_state.get(f"pasted {what}", 0)) + 1
        save(study, change, done, forget=what)


def _names(study: StudyInUse, kind: str) -> None:
    what = next(table for table, name in _NAMED.items() if name == kind)
    listed = [name for name in study.study.table(what)[kind].tolist() if name]
    if not listed:
        return
    if kind == "assessor" and names_of_people(study.study) and st.button("Use codes in place of names"):
        done = "People are called by a code now. The history and imported files keep the names. "
        done = f"{done}{left_as_codes(study.study)}".strip()
        save(study, people_by_code, done, forget=what)
    with st.expander("Rename one everywhere, or take one out"):
        old = st.selectbox("Which one", listed, key=f"named {kind}")
        new = st.text_input("New name, everywhere at once", key=f"new name {kind}")
        why = st.text_input("Why it is taken out, or one with another", key=f"why {kind}")
        with st.container(horizontal=True):
            if st.button("Rename it", key=f"rename {kind}"):
                done = f"{old} is called {new} now."
                save(study, lambda now: rename(now, kind, old, new or "", why or ""), done, forget=what)
            if st.button("Take it out", key=f"take out {kind}"):
                save(study, lambda now: delete(now, kind, old, why or ""), f"{old} is taken out: {why}.", forget=what)
