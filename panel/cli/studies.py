"""Commands about the study itself: import, check, app."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import click

from panel.cli.shared import (
    json_option,
    open_path,
    parts_of,
    print_json,
    print_lines,
    print_table,
    study_argument,
    tell,
    tell_how_days_are_given,
)
from panel.errors import StudyError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from panel.checks.finding import Finding
    from panel.study.raw_table import RawTable
    from panel.study.scores_import import ImportedScores
    from panel.study.study import RawFile, Study


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--assessor", default="", metavar="C", help="Column with the assessors.")
@click.option("--prototype", default="", metavar="C", help="Column with the prototypes.")
@click.option("--replicate", default="", metavar="C", help="Column with the replicates.")
@click.option("--session", default="", metavar="C", help="Column with the sessions.")
@click.option("--moment", default="", metavar="C", help="Column with when each row was judged, such as 2 min.")
@click.option("--position", default="", metavar="C", help="Column with the places in the serving order.")
@click.option("--attribute", default="", metavar="C", help="Long table: column with the attributes.")
@click.option(
    "--score",
    "scored",
    multiple=True,
    metavar="C",
    help="Column with scores: of a long table, or one more of a wide one.",
)
@click.option(
    "--decimal", type=click.Choice([".", ","]), default=None, help="Decimal sign; decided by column if not given."
)
@click.option("--sheet", default="", help="Sheet of a workbook; the first one if not given.")
@click.option("--heading", type=click.IntRange(min=0), default=0, metavar="LINE", help="Line with the headings.")
@click.option("--scale-min", type=float, default=None, help="Lowest possible score.")
@click.option("--scale-max", type=float, default=None, help="Highest possible score.")
@click.option("--benchmark", default="", metavar="PROTOTYPE", help="Prototype the others are compared with.")
@click.option("--survey", is_flag=True, help="Answers of consumers: a row for each person, or person and product.")
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    metavar="QUESTION=KIND",
    help="Survey: what a question is, if not seen; QUESTION=NAME=KIND to name it; or product=NAME, session=TEST.",
)
@click.option("--fill-down", is_flag=True, help="A blank name means the name above it.")
@click.option("--title", default="", help="What the study is called; the name of the file if not given.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Study folder to make.")
@click.option("--overwrite", is_flag=True, help="Replace the study that is there.")
@json_option
def import_scores(
    file: Path,
    decimal: str | None,
    sheet: str,
    heading: int,
    scale_min: float | None,
    scale_max: float | None,
    title: str,
    out: Path,
    overwrite: bool,
    as_json: bool,
    benchmark: str,
    fill_down: bool,
    survey: bool,
    scored: tuple[str, ...],
    kinds: tuple[str, ...],
    **columns: str,
) -> None:
    """Make a study folder from any CSV or XLSX table of scores, long or wide.

    Columns that are not named are guessed from their headings; what was used is printed.
    """
    from panel.checks.all_checks import check_study
    from panel.checks.finding import findings_table
    from panel.study.editing import with_benchmark
    from panel.study.folder import write_study
    from panel.study.scores_import import study_from_scores
    from panel.study.study import Study
    from panel.study.survey import with_survey

    if survey:
        own = {"heading": heading, "fill-down": fill_down, "score": scored, "decimal": decimal, **columns}
        _refuse_for_survey(
            {**own, "assessor": "", "scale-min": scale_min is not None, "scale-max": scale_max is not None}
        )
        raw, table, asked, session = survey_of(file, columns["assessor"], kinds, sheet=sheet)
        begun = Study({}, {"title": title or file.stem})
        made = with_benchmark(with_survey(begun, table, asked, raw, session), benchmark)
        write_study(made, out, overwrite=overwrite, what=f"The study was replaced by an import of {file.name}.")
        _tell_survey(made, table, asked, out, as_json=as_json)
        return
    raw, imported = read_file(file, sheet, heading, columns, decimal or "", scored=scored, fill_down=fill_down)
    study = study_from_scores(imported, raw, title or file.stem, scale_min, scale_max, benchmark)
    write_study(study, out, overwrite=overwrite, what=f"The study was replaced by an import of {file.name}.")
    found, done = check_study(study), study.facts["import"]["done"]
    if as_json:
        content = {"rows": len(study.scores)} | parts_of(study, "attributes", "prototypes", "assessors")
        print_json(content | {"sha256": raw.sha256, "done": done, "findings": findings_table(found)})
        return
    for sentence in done:
        tell(sentence)
    tell(f"The study is in {out}; the file itself is kept in it (SHA-256 {raw.sha256}).")
    _print_findings(found)


def _refuse_for_survey(options: Mapping[str, object]) -> None:
    """Raise StudyError if options are given that only a table of scores is read with."""
    from panel.words import first_few

    if given := [f"--{option}" for option, value in options.items() if value]:
        raise StudyError(f"A survey is read without {first_few(given)}. Leave it out; see --kind.")


def _tell_survey(made: Study, table: RawTable, asked: pd.DataFrame, out: Path, *, as_json: bool) -> None:
    from panel.study.scores_used import agreement_words

    if as_json:
        print_json({"answers": len(made.table("answers")), "prototypes": made.prototypes, "columns": asked})
        return
    print_table(asked)
    where = f"The study is in {out}; the file itself is kept in it (SHA-256 {made.raw_files[-1].sha256})."
    usual, odd = agreement_words(made) if "agreement" in {*asked["kind"]} else ("", [])
    print_lines(*table.notes, *filter(None, (usual, *odd)), where, "A column without a kind was not read; see --kind.")


def survey_of(
    file: Path, person: str, kinds: Sequence[str], prototypes: Sequence[str] = (), sheet: str = ""
) -> tuple[RawFile, RawTable, pd.DataFrame, str]:
    """Return a survey's file, its table, what its columns ask, with the kinds named as QUESTION=KIND, and its test."""
    from panel.study.questions import with_scale, without_columns
    from panel.study.raw_table import read_raw_file
    from panel.study.survey import KINDS, as_said, read_survey, survey_table

    raw = read_raw_file(file)
    named = [tuple(map(str.strip, words.rpartition("=")[::2])) for words in kinds]
    about, session = (next((of for what, of in named if what == word and of not in KINDS), "") for word in _OF_ALL)
    person = person or next((column for column, kind in named if kind == "person"), "")
    laid_out = survey_table(raw, sheet)
    table, asked = read_survey(laid_out, person, prototypes, about)
    if lists := _left_out(laid_out, asked, [question for question, kind in named if not kind]):
        table, asked = read_survey(without_columns(laid_out, lists), person, prototypes, about)
    known = [("product", about), ("session", session), *((head, "") for head in lists)]
    for question, kind in (each for each in named if each not in known):
        kind, _, scale = kind.partition(" ")
        meant = _meant(asked, question)
        if not meant.any() and "=" in question:  # QUESTION=NAME=KIND, such as what answers are too much of
            question, name = map(str.strip, question.rsplit("=", 1))
            meant = _meant(asked, question)
            asked.loc[meant, "question"] = name
        if kind not in ("", *KINDS) or not meant.any():
            no_kind = f"no kind {kind!r}; the kinds are {', '.join(KINDS)}"
            what = no_kind if meant.any() else f"no question {question!r}"
            raise StudyError(
                f"{file.name} has {what}. Write QUESTION=KIND, such as: 'It feels light=agreement'; QUESTION=NAME=KIND "
                "to name it after what is too much, such as: 'It is=thickness=just_about_right'; product=NAME where "
                "all of it is about one; session='home use' for the test they answered in; QUESTION='agreement 1-7' "
                "where it was asked on seven steps."
            )
        if scale:
            table, asked = with_scale(table, asked, meant, scale)
        told = meant & ((asked["kind"] != kind) | asked["noticed"].str.startswith("not read") | bool(scale))
        notes = [as_said(table, kind, *row) for row in asked.loc[told, ["column", "question"]].to_numpy()]
        asked.loc[told, "noticed"] = notes if kind else "left out, as was said"
        asked.loc[meant, "kind"] = kind
    return raw, table, asked, session


_OF_ALL = ("product", "session")  # what may be said of a whole survey


def _left_out(laid_out: RawTable, asked: pd.DataFrame, questions: Sequence[str]) -> list[str]:
    """Return the headings of columns to be left out that stand for several questions, as a list of words does."""
    return [head for head in questions if head in laid_out.header and not _meant(asked, head).any()]


def _meant(asked: pd.DataFrame, question: str) -> pd.Series:
    """Return which columns of a survey ask a question, named as it is asked or as its heading."""
    from panel.study.knowledge import plain_words
    from panel.study.questions import asked_words, typed_question, without_leads

    named = {plain_words(words) for words in (question, typed_question(without_leads([asked_words(question)])[0]))}
    return asked[["question", "column"]].map(plain_words).isin(named).any(axis=1)


def read_file(
    file: Path,
    sheet: str = "",
    heading: int = 0,
    columns: Mapping[str, str] = MappingProxyType({}),
    decimal: str = "",
    *,
    scored: Sequence[str] = (),
    fill_down: bool = False,
) -> tuple[RawFile, ImportedScores]:
    """Read a table of scores, columns not named being guessed."""
    from dataclasses import replace

    from panel.study.raw_table import OWN_FILE, read_raw_file
    from panel.study.score_sheets import score_table
    from panel.study.scores_import import guess_layout, read_scores

    raw = read_raw_file(file)
    table = score_table(raw, sheet, heading, OWN_FILE)
    layout = guess_layout(table, columns, scored)
    return raw, read_scores(table, replace(layout, decimal=decimal, fill_down=fill_down))


@click.command()
@study_argument
@json_option
def glance(study: Path, as_json: bool) -> None:
    """Say the whole job at a glance: what came out, what to settle, what may be said, what next."""
    from dataclasses import fields

    from panel.answers import Answers
    from panel.checks.finding import findings_table
    from panel.views.glance import in_short, tell_glance

    told = tell_glance(Answers(open_path(study)))
    if as_json:
        held = {each.name: getattr(told, each.name) for each in fields(told)}
        print_json(held | {"settle": findings_table(told.settle)})
        return
    print_lines(told.headline, told.about, "")
    for title, lines in (
        ("Settle first", [in_short(finding) for finding in told.settle]),
        ("Nearest first", told.leaders),
        ("May be said", [*told.may, *([told.may_not] if told.may_not else [])]),
        ("Next", [told.step]),
    ):
        if lines:
            print_lines(title, *(f"  {line}" for line in lines), "")
    tell_how_days_are_given([told.may_not])


@click.command()
@study_argument
@json_option
def check(study: Path, as_json: bool) -> None:
    """Say what is wrong or worth knowing before believing the study."""
    from panel.checks.all_checks import check_study
    from panel.checks.finding import findings_table, gravest_first
    from panel.checks.structure import check_folder

    found = gravest_first((*check_study(open_path(study)), *check_folder(study)))
    if as_json:
        print_json({"findings": findings_table(found)})
    else:
        _print_findings(found)
    if any(finding.severity == "stop" for finding in found):
        sys.exit(1)


def _print_findings(found: tuple[Finding, ...]) -> None:
    from panel.study.naming import Naming
    from panel.study.shown import shown
    from panel.views.planning.study import FINDINGS

    if not found:
        tell("Nothing stands out.")
    for row in shown(FINDINGS, found, Naming()).to_dict("records"):
        tell(f"{row['How grave']} | {row['Where']}\n  {row['What']}\n  {row['What to do']}")


@click.command("remove-person", short_help="Remove what is known of one person.")
@study_argument
@click.argument("person")
@click.option("--who", required=True, metavar="NAME", help="Who removes it; it is written into the study.")
@click.option("--why", "reason", required=True, metavar="WORDS", help="The reason, without the code of the person.")
def remove_person(study: Path, person: str, who: str, reason: str) -> None:
    """Remove all that a study folder knows of PERSON, by code, on request; the reason is kept.

    The results are marked, and the journal begins anew. It cannot be undone.
    """
    from panel.study.saving import remove_person as remove
    from panel.views.planning.study import what_was_removed

    if not study.is_dir():
        raise StudyError(
            f"{study} is no folder. Save the study as a folder first; then a person can be removed from it."
        )
    removed = remove(study, person, who=who, why=reason)
    print_lines(*what_was_removed(*removed))


_MOST_CHANGES = 20  # printed; --all prints the rest


@click.command()
@study_argument
@click.option("--undo", type=int, default=None, metavar="NUMBER", help="Take this change back, as a new change.")
@click.option("--who", default="", metavar="NAME", help="Who takes it back.")
@click.option("--why", "reason", default="", metavar="WORDS", help="Why it is taken back.")
@click.option("--all", "everything", is_flag=True, help="All changes, with what stood before and after.")
@click.option("--script", is_flag=True, help="All changes as a script; in a copy it is run by: afterfeel set.")
@json_option
def history(
    study: Path, undo: int | None, who: str, reason: str, everything: bool, script: bool, as_json: bool
) -> None:
    """Say who changed what in a study folder, and when; the last change first."""
    from panel.study.folder import read_journal
    from panel.study.journal import read_lines
    from panel.study.naming import Naming
    from panel.study.saving import journal_faults, journal_rows
    from panel.study.saving import undo as take_back
    from panel.study.shown import shown
    from panel.views.planning.study import CHANGED_ROWS, HISTORY, what_changed

    if not study.is_dir():
        raise StudyError(f"{study} is no folder. Only a study folder has a history.")
    if undo is not None:
        take_back(study, undo, who=who, why=reason)
    if script:
        for entry in read_lines(read_journal(study)[0] or b""):
            click.echo(json.dumps(entry))
        return
    rows, faults = journal_rows(study), journal_faults(study)
    if as_json:
        print_json({"changes": rows, "faults": faults})
        return
    print_lines(what_changed(rows), *faults, "")
    if len(rows):
        changes = shown(HISTORY, rows, Naming())
        print_table(changes if everything else changes.head(_MOST_CHANGES))
    if everything and len(rows):
        print_table(shown(CHANGED_ROWS, rows, Naming()))


@click.command()
@click.argument("study", type=click.Path(path_type=Path), required=False)
@click.option("--port", type=int, default=8501, show_default=True, help="Port on this computer.")
@click.option("--browser/--no-browser", default=True, help="Open a browser window.")
@click.option(
    "--folder",
    "folders",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Where studies may be opened and saved (again for more). Your home folder and this one if none is named.",
)
def app(study: Path | None, port: int, browser: bool, folders: tuple[Path, ...]) -> None:
    """Open the app, on STUDY or on the demo study; it answers on this computer only."""
    from panel.app.launch import launch

    sys.exit(launch(str(study) if study else None, port, browser=browser, folders=folders, tell=tell))


_seed_option = click.option("--seed", type=int, default=1, show_default=True, help="Seed of everything that is drawn.")
_force_option = click.option(
    "--force", "--overwrite", "overwrite", is_flag=True, help="Replace the file that is there."
)
_date_option = click.option(
    "--date",
    "made_on",
    default="",
    metavar="YEAR-MONTH-DAY",
    help="Day of making that stands in the file; today if none.",
)
_MOST_IDS = 12
_MOST_ROWS = 40  # rows printed; `--json` has them all


@click.command()
@study_argument
@click.option("--out", required=True, type=click.Path(path_type=Path), help="File: .pdf, .docx, .html or .xlsx.")
@_force_option
@_seed_option
@_date_option
@json_option
def report(study: Path, out: Path, overwrite: bool, seed: int, made_on: str, as_json: bool) -> None:
    """Write the evidence file; the ending of the file says in which form."""
    import hashlib

    from panel.report.archive import writer_of
    from panel.report.contents.evidence import evidence_report, mended_at
    from panel.study.safe_write import refuse_existing, write_file

    write = writer_of(out)
    refuse_existing(out, overwrite=overwrite)
    made = evidence_report(open_path(study), rng_seed=seed, made_on=made_on)
    content = write(made)
    write_file(out, content, overwrite=overwrite)
    gaps = [
        {"part": part.number, "heading": part.heading, "gap": gap, "command": mended_at(part.number, gap)[1]}
        for part, gap in made.gaps()
    ]
    digest = hashlib.sha256(content).hexdigest()
    if as_json:
        print_json({"path": str(out), "sha256": digest, "data_sha256": made.data_hash, "seed": seed, "gaps": gaps})
        return
    print_lines(f"The evidence file is in {out} (SHA-256 {digest}).", "")
    if gaps:
        lines = [f"  {gap['part']} {gap['heading']}: {gap['gap']} ({gap['command']})" for gap in gaps]
        print_lines("It names these gaps, each with the command that mends it:", *lines)


@click.command()
@study_argument
@click.argument("number_id", metavar="NUMBER-ID")
@_seed_option
@json_option
def why(study: Path, number_id: str, seed: int, as_json: bool) -> None:
    """Say where a number of the evidence file comes from: D12 as it stands on paper, or D-AF_GREASE-P4-P1-estimate."""
    import pandas as pd

    from panel.cli.shared import records
    from panel.report.trace import why as trace_back
    from panel.views.decision.claims import trace_lines, what_is_behind

    found = trace_back(open_path(study), number_id, rng_seed=seed)
    if as_json:
        (row,) = records(pd.DataFrame([found.row]))
        content = parts_of(found, "number_id", "column", "table", "method", "seed", "others")
        behind = [each for rows in found.rows for each in records(rows)]
        print_json(content | {"value": row[found.column], "row": row, "rows": behind})
        return
    head, *lines = trace_lines(found.number_id, found.value, found.table, found.column, found.method)
    print_lines(head, "", *lines, "")
    if found.others:
        more = f" and {len(found.others) - _MOST_IDS} more" if len(found.others) > _MOST_IDS else ""
        print_lines(f"Other numbers of this row: {', '.join(found.others[:_MOST_IDS])}{more}.", "")
    for rows in found.rows:
        print_lines(what_is_behind(rows))
        if len(rows):
            print_table(rows.head(_MOST_ROWS))
        if len(rows) > _MOST_ROWS:
            print_lines(f"{len(rows) - _MOST_ROWS} more; --json gives them all.")


@click.command()
@study_argument
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Zip file to write.")
@click.option("--without-people", is_flag=True, help="New codes; no allergies, reactions, names or imported files.")
@_force_option
@_seed_option
@_date_option
@json_option
def archive(
    study: Path, out: Path, without_people: bool, overwrite: bool, seed: int, made_on: str, as_json: bool
) -> None:
    """Write everything about a study into one zip: the study, the evidence file in four forms, checksums."""
    from panel.report.contents.evidence import write_archive
    from panel.study.people import without_people as nobody
    from panel.study.safe_write import refuse_existing

    refuse_existing(out, overwrite=overwrite)
    opened = open_path(study)
    kept = nobody(opened) if without_people else opened
    digest = write_archive(kept, out, overwrite=overwrite, rng_seed=seed, made_on=made_on)
    if as_json:
        print_json({"path": str(out), "sha256": digest, "seed": seed})
        return
    print_lines(f"The archive is in {out} (SHA-256 {digest}).")
