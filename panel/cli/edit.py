"""Commands that change a study as the editors do: a workbook to fill in, and `set` for tables, facts and names."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, tell

if TYPE_CHECKING:
    from collections.abc import Callable

    from panel.study.pasted import Pasted
    from panel.study.study import Study

    Change = Callable[[Study], Study]

_MOST_SHOWN = 20


@click.command()
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Workbook (.xlsx) to write.")
@click.option("--from", "study", type=click.Path(path_type=Path), default=None, help="Study that stands in it already.")
@click.option("--force", is_flag=True, help="Replace the file that is there.")
def template(out: Path, study: Path | None, force: bool) -> None:
    """Write a workbook to fill in: one sheet a table, headings explained, lists to choose from."""
    from panel.study.safe_write import write_file
    from panel.study.template import template_bytes

    write_file(out, template_bytes(open_path(study) if study else None), overwrite=force)
    print_lines(f"The workbook is in {out}. Fill it in, then: afterfeel set STUDY {out}")


@click.command("set")
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("what")
@click.argument("words", nargs=-1)
@click.option("--whole", is_flag=True, help="The file is the whole table: rows that are not in it go.")
@click.option("--who", default="", help="Who makes the change, for the journal.")
@click.option("--why", default="", help="Why something is taken out.")
@click.option("--try", "only_try", is_flag=True, help="Say what would change, and change nothing.")
@json_option
def set_in_study(
    study: Path, what: str, words: tuple[str, ...], whole: bool, who: str, why: str, only_try: bool, as_json: bool
) -> None:
    """Change a study folder as the editors do.

    \b
    afterfeel set STUDY TABLE FILE.csv         rows of a table, or - for standard input
    afterfeel set STUDY claims FILE.csv --who NAME   statements, fixed and stamped now
    afterfeel set STUDY FILE.xlsx              a filled workbook (see: afterfeel template)
    afterfeel set STUDY FACT VALUE             a fact; an empty VALUE takes it out
    afterfeel set STUDY benchmark PROTOTYPE    what the others are compared with
    afterfeel set STUDY rename KIND OLD NEW    a prototype, attribute, assessor or batch, everywhere
    afterfeel set STUDY delete KIND NAME --why REASON
    afterfeel set STUDY codes                  codes in place of names of people
    afterfeel set STUDY session P1 P2 --who NAME   one more session with these prototypes
    afterfeel set STUDY FILE.jsonl             all that a journal lists (see: afterfeel history --script)
    """  # noqa: D301  # click wants the character itself
    from panel.study.editing import changes_between, study_changes, table_problems
    from panel.study.open_study import open_study
    from panel.study.saving import save
    from panel.study.table_cells import ENTRIES
    from panel.study.tables import TABLES

    seen = open_study(study)
    change, notes = _change_of(seen, what, words, who=who, why=why, whole=whole)
    after = change(seen)
    if not only_try and study_changes(seen, after):
        after = save(study, seen, change, who=who, what=f"Set by command: {' '.join([what, *words])}.{_reason(why)}")
    changed = changes_between(seen, after)
    tables = [name for name in (*TABLES, *ENTRIES) if name == what or name in set(changed["table"])]
    problems = [problem for name in tables for problem in table_problems(after, name)]
    if as_json:
        wrong = [
            {"table": p.table, "row": p.row, "column": p.column, "message": p.message, "advice": p.advice}
            for p in problems
        ]
        print_json(
            {"changed": changed, "problems": wrong, "notes": notes, "saved": bool(len(changed)) and not only_try}
        )
        return
    _tell(changed.to_dict("records"), [f"{p.table}: {p.sentence}" for p in problems], notes, only_try=only_try)


def _reason(why: str) -> str:
    return f" {why.strip()}" if why.strip() else ""


def _tell(changed: list[dict[Any, Any]], problems: list[str], notes: list[str], *, only_try: bool) -> None:
    from panel.study.template import sentences
    from panel.words import counted

    print_lines(*notes)
    done = "would change" if only_try else "changed"
    print_lines(
        f"{counted(len(changed), 'row')} {done}." if changed else "Nothing changes: the study holds that already."
    )
    print_lines(*sentences(changed[:_MOST_SHOWN]))
    if len(changed) > _MOST_SHOWN:
        print_lines(f"And {len(changed) - _MOST_SHOWN} more; --json gives them all.")
    if problems:
        tell(f"To look at ({len(problems)}):", err=True)
        for sentence in problems[:_MOST_SHOWN]:
            tell(f"  {sentence}", err=True)


def _change_of(
    seen: Study, what: str, words: tuple[str, ...], *, who: str, why: str, whole: bool
) -> tuple[Change, list[str]]:
    """Return the change that was asked for, and what was noticed."""
    from panel.errors import StudyError
    from panel.plan.study_plan import with_session
    from panel.study.editing import with_benchmark
    from panel.study.raw_table import read_raw_file
    from panel.study.renaming import delete, people_by_code, rename
    from panel.study.saving import replayed
    from panel.study.table_cells import ENTRIES
    from panel.study.tables import TABLES

    if what.lower().endswith(".xlsx") and not words:
        return _workbook_change(seen, Path(what))
    if what.lower().endswith(".jsonl") and not words:
        script = read_raw_file(what).content
        return (lambda now: replayed(now, script)), []
    if what == "codes" and not words:
        return people_by_code, []
    if what == "session" and words:
        return (lambda now: with_session(now, words, who, len(now.table("servings")))), []
    if what == "rename" and len(words) == 3:
        return (lambda now: rename(now, *words)), []
    if what == "delete" and len(words) == 2:
        return (lambda now: delete(now, *words, why)), []
    if len(words) != 1:
        raise StudyError("Name a table and its file, a fact and its value, or a workbook: see afterfeel set --help.")
    if what == "benchmark":
        return (lambda now: with_benchmark(now, _known(now, words[0]))), []
    if what == "claims":
        return _statements(seen, words[0], who)
    if what in (*TABLES, *ENTRIES) and not (what in ENTRIES and words[0].lstrip().startswith(("[", "{"))):
        return _table_change(seen, what, words[0], whole=whole)
    return _fact_change(what, words[0]), []


def _known(study: Study, name: str) -> str:
    from panel.errors import StudyError

    if name and name not in study.prototypes:
        raise StudyError(f"The study has no prototype {name!r}; it has {', '.join(study.prototypes)}.")
    return name


def _workbook_change(seen: Study, path: Path) -> tuple[Change, list[str]]:
    from panel.study.raw_table import read_raw_file
    from panel.study.template import read_workbook

    file = read_raw_file(path)
    read = read_workbook(seen, file.content, file.name)
    return (lambda now: read_workbook(now, file.content, file.name).study), [*read.notes, *read.problems]


def _block(seen: Study, name: str, file: str) -> Pasted:
    from panel.study.pasted import read_block
    from panel.study.raw_table import decode, read_raw_file

    text = sys.stdin.read() if file == "-" else decode(read_raw_file(file).content, file)[0]
    return read_block(text, name, seen)


def _statements(seen: Study, file: str, who: str) -> tuple[Change, list[str]]:
    """Fix the statements of a file, each stamped at this moment."""
    from datetime import UTC, datetime

    from panel.claims.claim import with_statements

    read, when = _block(seen, "claims", file), datetime.now(UTC).isoformat(timespec="seconds")
    return (lambda now: with_statements(now, read.texts, who, when)), [*read.notes, *read.unknown_in_words("claims")]


def _table_change(seen: Study, name: str, file: str, *, whole: bool) -> tuple[Change, list[str]]:
    from panel.study.editing import put_block

    read = _block(seen, name, file)
    return (lambda now: put_block(now, name, read.texts, whole=whole)), [*read.notes, *read.unknown_in_words(name)]


def _fact_change(name: str, text: str) -> Change:
    from panel.study.editing import put_fact, typed_fact, without_fact

    if not text.strip():
        return lambda now: without_fact(now, name)
    try:
        value = json.loads(text) if text.lstrip().startswith(("[", "{", "true", "false")) else typed_fact(name, text)
    except ValueError as error:
        from panel.errors import StudyError

        raise StudyError(f"The value of {name} is no JSON: {error}.") from error
    return lambda now: put_fact(now, name, value)
