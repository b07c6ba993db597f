"""Commands that change a study as the editors do: a workbook, `set` for tables, facts and names, the safety record."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, parts_of, print_json, print_lines, study_argument, tell
from panel.errors import StudyError

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
@click.option("--sheet", default="", help="Sheet of a workbook that is read; the first one if not given.")
@click.option("--assessor", default="", metavar="C", help="Column with who answered or scored, of a survey or a sheet.")
@click.option("--whole", is_flag=True, help="The file is the whole table: rows that are not in it go.")
@click.option("--who", default="", help="Who makes the change, for the journal.")
@click.option("--why", default="", help="Why something is taken out, or joined.")
@click.option("--try", "only_try", is_flag=True, help="Say what would change, and change nothing.")
@json_option
def set_in_study(
    study: Path,
    what: str,
    words: tuple[str, ...],
    whole: bool,
    who: str,
    why: str,
    only_try: bool,
    as_json: bool,
    **read: str,
) -> None:
    """Change a study folder as the editors do.

    \b
    afterfeel set STUDY TABLE FILE.csv         rows of a table, or - for standard input
    afterfeel set STUDY sheet FILE             a table of scores, into a study that was begun without any
    afterfeel set STUDY survey FILE [QUESTION=KIND ...] [session='home use']   answers of consumers, beside the scores
    afterfeel set STUDY claims FILE.csv --who NAME   statements, fixed and stamped now
    afterfeel set STUDY FILE.xlsx              a filled workbook (see: afterfeel template)
    afterfeel set STUDY FACT VALUE             a fact; an empty VALUE takes it out
    afterfeel set STUDY benchmark PROTOTYPE    what the others are compared with
    afterfeel set STUDY rename KIND OLD NEW [--why REASON]   everywhere, also a session; a slip of a name there joins it
    afterfeel set STUDY delete KIND NAME --why REASON
    afterfeel set STUDY codes                  codes in place of names of people
    afterfeel set STUDY codes forget --who NAME --why REASON   names also out of journal and imported files, for good
    afterfeel set STUDY session P1 P2 --who NAME   one more session with these prototypes
    afterfeel set STUDY correct assessor=A1 prototype=P1 attribute=X [session=1] new=33 --who NAME --why REASON
    afterfeel set STUDY correct row=98 new=33 --who NAME --why REASON   the row that the check names; new= sets it aside
    afterfeel set STUDY correct row=98-107 new= --who NAME --why REASON   all of a line that was copied
    afterfeel set STUDY decision chosen=P4 not_established=WORDS [role=WORDS] --who NAME --why REASON
    afterfeel set STUDY withdraw NUMBER --who NAME --why REASON    a statement; it stays in the table
    afterfeel set STUDY also-said ATTRIBUTE WORDS --who NAME       everyday words for more of it, as the study's own
    afterfeel set STUDY predict P9 'INGREDIENT=PERCENT' ...        what a blend will feel like, before it is made
    afterfeel set STUDY proposal 330 [ROW] --who NAME      what a finding proposes for a cell with 330
    afterfeel set STUDY FILE.jsonl             all that a journal lists (see: afterfeel history --script)
    """  # noqa: D301  # click wants the character itself
    from panel.study.editing import changes_between, new_problems, told_together
    from panel.study.open_study import open_study
    from panel.study.saving import save
    from panel.study.table_cells import ENTRIES, study_changes
    from panel.study.tables import TABLES

    seen = open_study(study)
    if what == "codes" and words == ("forget",) and not only_try:
        _forget(study, who, why)
        return
    change, notes = _change_of(seen, what, words, who=who, why=why, whole=whole, **read)
    after = change(seen)
    if not only_try and study_changes(seen, after):
        told = f"Set by command: {' '.join([what, *words])}. {why}".strip()
        after = save(study, seen, change, who=who, what=told)
    changed = changes_between(seen, after)
    tables = [name for name in (*TABLES, *ENTRIES) if name == what or name in set(changed["table"])]
    problems = new_problems(seen, after, tables, what)
    if as_json:
        wrong = [parts_of(each, "table", "column", "message", "advice") | {"row": each.line} for each in problems]
        saved = bool(len(changed)) and not only_try
        print_json({"changed": changed, "problems": wrong, "notes": notes, "saved": saved})
        return
    _tell(changed.to_dict("records"), told_together(problems), notes, only_try=only_try)


_NAMES_STAY = (
    "The journal keeps the names beside the codes, and so do imported files. To take both out for good: afterfeel set "
    "STUDY codes forget --who NAME --why REASON. The journal then begins anew."
)


def _forget(study: Path, who: str, why: str) -> None:
    from panel.study.saving import forget_names
    from panel.words import counted, format_list

    changes, files = forget_names(study, who=who, why=why)
    print_lines(
        f"Everybody has a code. The journal of {counted(changes, 'change')} before was taken out and begins anew.",
        *([f"Taken out whole, because they name people or may: {format_list(files)}."] if files else []),
        "Notes, reasons and copies made before may still name people. Look for them too.",
    )


def _tell(changed: list[dict[Any, Any]], problems: list[str], notes: list[str], *, only_try: bool) -> None:
    from panel.words import counted

    done = f"{counted(len(changed), 'row')} {'would change' if only_try else 'changed'}."
    print_lines(*notes, done if changed else "Nothing changes: the study holds that already.")
    few = len(changed) <= _FEW_ROWS
    told = (f"{c['table']}, {c['key']}: before '{c['before']}'; now '{c['after']}'." for c in changed)
    print_lines(*([_SEALS.sub("", line) for line in told] if few else _by_table(changed)))
    if problems:
        tell(f"To look at ({len(problems)}):", err=True)
        for sentence in problems[:_MOST_SHOWN]:
            tell(f"  {sentence}", err=True)


_FEW_ROWS = 6  # that are printed one by one
# nobody reads them; --json has them
_SEALS = re.compile(r"(?:; )?\b(?:stamp|chain|seal|sha256|data_hash)=[0-9a-f]{40,}")


def _by_table(changed: list[dict[Any, Any]]) -> list[str]:
    """Return how many rows of each table are new, changed or gone, and what the first of them are called."""
    from panel.words import counted, first_few

    lines = []
    for table in dict.fromkeys(c["table"] for c in changed):
        own = [c for c in changed if c["table"] == table]
        new, gone = (sum(c[side] == "nothing" for c in own) for side in ("before", "after"))
        counts = {"new": new, "gone": gone, "changed": len(own) - new - gone}
        said = ", ".join(f"{number:,} {what}" for what, number in counts.items() if number)
        first = first_few(list(dict.fromkeys(c["key"].partition(";")[0] for c in own)), 2)
        lines.append(f"  {table}: {counted(len(own), 'row')} ({said}), such as {first}.")
    return [*lines, "  --json gives each of them."]


def _change_of(
    seen: Study, what: str, words: tuple[str, ...], *, who: str, why: str, whole: bool, sheet: str, assessor: str
) -> tuple[Change, list[str]]:
    from panel.plan.study_plan import with_session
    from panel.study.editing import with_benchmark
    from panel.study.people import left_as_codes, new_codes
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
        return people_by_code, [*filter(None, [left_as_codes(seen)]), _NAMES_STAY] if new_codes(seen) else []
    if what == "session" and words:
        return (lambda now: with_session(now, words, who, len(now.table("servings")))), []
    if what == "rename" and len(words) == 3:
        return (lambda now: rename(now, *words, why)), []
    if what == "delete" and len(words) == 2:
        return (lambda now: delete(now, *words, why)), []
    if what == "sheet" and len(words) == 1:
        return _sheet(seen, Path(words[0]), sheet, assessor)
    if what == "survey" and words:
        return _survey(seen, Path(words[0]), words[1:], sheet, assessor)
    if what in _ON_RECORD and words:
        return _ON_RECORD[what](seen, words, who, why), []
    if len(words) != 1:
        raise StudyError("Name a table and its file, a fact and its value, or a workbook: see afterfeel set --help.")
    if what == "benchmark":
        return (lambda now: with_benchmark(now, _known(now, words[0]))), []
    if what == "claims":
        return _statements(seen, words[0], who, sheet)
    if what in (*TABLES, *ENTRIES) and not (what in ENTRIES and words[0].lstrip().startswith(("[", "{"))):
        return _table_change(seen, what, words[0], whole=whole, sheet=sheet)
    return _fact_change(what, words[0])


def _named(words: tuple[str, ...]) -> dict[str, str]:
    pairs = [word.partition("=") for word in words]
    if wrong := [word for word, (_, sign, _) in zip(words, pairs, strict=True) if not sign]:
        raise StudyError(f"{wrong[0]!r} is not understood. Write it as NAME=VALUE: see afterfeel set --help.")
    return {name.strip(): value.strip() for name, _, value in pairs}


def _correction(_seen: Study, words: tuple[str, ...], who: str, why: str) -> Change:
    from panel.study.renaming import with_row_corrected
    from panel.study.scores_used import PLACE_COLUMNS, with_correction

    place, when = _named(words), _moment()
    new, row = place.pop("new", ""), place.pop("row", "")
    first, several, last = row.partition("-")
    if row and (place or not first.isdecimal() or (several and not last.isdecimal())):
        raise StudyError(
            "Name scores by rows alone, as the check does (row=98, row=98-107), or one by whose it is and of what."
        )
    if several and new:
        raise StudyError("Several rows can only be set aside together (new=). Correct each by its own row.")

    def corrected(now: Study) -> Study:
        for each in range(int(first), int(last or first) + 1):
            now = with_row_corrected(now, each, new=new, who=who, why=why, when=when)
        return now

    if row:
        return corrected
    if unknown := [name for name in place if name not in PLACE_COLUMNS]:
        raise StudyError(
            f"A score is not found by {unknown[0]}. Name: {', '.join(PLACE_COLUMNS)}; or row=NUMBER; new=VALUE."
        )
    return lambda now: with_correction(now, place, new=new, who=who, why=why, when=when)


def _decision(seen: Study, words: tuple[str, ...], who: str, why: str) -> Change:
    from panel.models.decision.decide import with_decision

    asked = ("chosen", "not_established", "role", "runner_up")
    typed = _named(words)
    if unknown := [name for name in typed if name not in asked]:
        raise StudyError(f"A decision has no {unknown[0]}. It has: {', '.join(asked)}; the reason goes into --why.")
    facts = {name: typed.get(name, "") for name in asked}
    when = _moment()
    return lambda now: with_decision(now, **facts, reason=why, who=who, date=when, seen=seen)


def _withdrawal(_seen: Study, words: tuple[str, ...], who: str, why: str) -> Change:
    from panel.claims.time_stamp import with_withdrawn

    if len(words) != 1 or not words[0].isdecimal():
        raise StudyError("Name the statement by its number, as afterfeel claim prints it.")
    when = _moment()
    return lambda now: with_withdrawn(now, int(words[0]), who=who, when=when, why=why)


def _prediction(seen: Study, words: tuple[str, ...], _who: str, _why: str) -> Change:
    from panel.answers import PREDICTION, Answers
    from panel.models.emollients.predictions import keep_prediction, study_targets, what_if
    from panel.study.numbers_read import typed_number

    model, day = Answers(seen).need(PREDICTION), _moment()[:10]
    blend = {name: typed_number(text, name) or 0.0 for name, text in _named(words[1:]).items()}
    told = what_if(model, blend, study_targets(seen))
    return lambda now: keep_prediction(now, model, told, words[0], day)


def _also_said(_seen: Study, words: tuple[str, ...], who: str, _why: str) -> Change:
    from panel.claims.judge import with_also_said

    if len(words) < 2:
        raise StudyError("Name the attribute and its other words: see afterfeel set --help.")
    return lambda now: with_also_said(now, words[0], " ".join(words[1:]), who)


def _proposed(seen: Study, words: tuple[str, ...], who: str, _why: str) -> Change:
    from panel.checks.all_checks import check_study, with_proposal

    found, row = words[0], words[1] if len(words) > 1 else ""
    meant = [
        finding
        for finding in check_study(seen)
        if any(each.found == found and row in ("", str(each.row)) for each in finding.proposals)
    ]
    if len(meant) != 1:
        which = "No finding proposes" if not meant else f"{len(meant)} findings propose"
        raise StudyError(f"{which} something for {found!r}. Name what stands there and its row: see afterfeel check.")
    when = _moment()
    return lambda now: with_proposal(now, meant[0], who=who, when=when)


_ON_RECORD = {
    "proposal": _proposed,
    "correct": _correction,
    "decision": _decision,
    "withdraw": _withdrawal,
    "predict": _prediction,
    "also-said": _also_said,
}


def _moment() -> str:
    from datetime import UTC, datetime

    return datetime.now(UTC).isoformat(timespec="seconds")


def _known(study: Study, name: str) -> str:
    if name and name not in study.prototypes:
        raise StudyError(f"The study has no prototype {name!r}; it has {', '.join(study.prototypes)}.")
    return name


def _workbook_change(seen: Study, path: Path) -> tuple[Change, list[str]]:
    from panel.study.raw_table import read_raw_file
    from panel.study.template import read_workbook

    file = read_raw_file(path)
    _, notes, problems = read_workbook(seen, file.content, file.name)
    return (lambda now: read_workbook(now, file.content, file.name)[0]), [*notes, *problems]


def _block(seen: Study, name: str, file: str, sheet: str) -> Pasted:
    from panel.study.pasted import read_block
    from panel.study.raw_table import read_raw_file

    return read_block(sys.stdin.read() if file == "-" else read_raw_file(file), name, seen, sheet)


def _statements(seen: Study, file: str, who: str, sheet: str) -> tuple[Change, list[str]]:
    from panel.claims.time_stamp import with_statements

    read, when = _block(seen, "claims", file, sheet), _moment()
    return (lambda now: with_statements(now, read.texts, who, when)), [*read.notes, *read.unknown_in_words("claims")]


def _sheet(seen: Study, file: Path, sheet: str, assessor: str) -> tuple[Change, list[str]]:
    from panel.cli.studies import read_file
    from panel.study.open_study import with_scores
    from panel.study.scores_import import study_from_scores

    raw, imported = read_file(file, sheet, columns={"assessor": assessor})
    made = study_from_scores(imported, raw, file.stem)
    return (lambda now: with_scores(now, made)), list(with_scores(seen, made).facts["import"]["done"])


def _survey(seen: Study, file: Path, kinds: tuple[str, ...], sheet: str, assessor: str) -> tuple[Change, list[str]]:
    from panel.cli.studies import survey_of
    from panel.study.scores_used import agreement_words
    from panel.study.survey import with_survey
    from panel.words import first_few

    raw, table, asked, session = survey_of(file, assessor, kinds, seen.prototypes, sheet)
    rows = asked.to_dict("records")
    told = [f"{row['column']}: {' '.join(filter(None, [row['kind'], row['noticed']])) or 'not read'}" for row in rows]
    after = with_survey(seen, table, asked, raw, session)
    usual, odd = agreement_words(after) if "agreement" in {*asked["kind"]} else ("", [])
    kept = {*after.table("answers")["question"]}
    before = [name for name in seen.table("answers")["question"].unique() if name not in kept]
    again = [f"Brought in before under another name, which is replaced: {first_few(before)}."] if before else []
    read = [*again, *filter(None, (usual, *odd))]
    return (lambda now: with_survey(now, table, asked, raw, session)), [*table.notes, *told, *read]


def _table_change(seen: Study, name: str, file: str, *, whole: bool, sheet: str) -> tuple[Change, list[str]]:
    from panel.study.editing import put_block
    from panel.study.open_study import scores_of_folder
    from panel.study.pasted import cells_kept

    read = _block(seen, name, file, sheet)
    kept = [] if whole else cells_kept(seen, name, read.texts)
    notes = [*read.notes, *read.unknown_in_words(name), *kept]

    def put(now: Study) -> Study:
        now, texts = scores_of_folder(now, Path(file), read.texts) if name == "scores" else (now, read.texts)
        return put_block(now, name, texts, whole=whole)

    return put, notes


def _fact_change(name: str, text: str) -> tuple[Change, list[str]]:
    from panel.study.editing import put_fact, typed_fact, with_facts
    from panel.study.facts import strange_in

    if not text.strip():
        return (lambda now: with_facts(now, {name: None})), []
    try:
        value = json.loads(text) if text.lstrip().startswith(("[", "{", "true", "false")) else typed_fact(name, text)
    except ValueError as error:
        raise StudyError(f"The value of {name} is no JSON: {error}.") from error
    return (lambda now: put_fact(now, name, value)), strange_in(name, value)


# The safety record: what a named person signed, and what happened on somebody's skin. It records; it approves nothing.


_who_option = click.option("--who", required=True, metavar="NAME", help="The named person.")


@click.command("sign-off", short_help="Record what a named person signed.")
@study_argument
@click.argument("items", nargs=-1, required=True)
@_who_option
@click.option("--role", required=True, metavar="WORDS", help="What qualifies this person to sign these items.")
@click.option("--document", default="", metavar="WORDS", help="The signed document, and where it is.")
@click.option("--date", "day", default="", metavar="YEAR-MONTH-DAY", help="When it was signed; today if not given.")
@click.option("--batch", default="", help="The batch it is about; all batches if not given.")
@click.option("--outcome", default="signed", show_default=True, help="signed, not needed or withdrawn.")
@click.option("--valid-until", default="", metavar="YEAR-MONTH-DAY", help="Where it is limited.")
@click.option("--note", default="", metavar="WORDS", help="A note; the reason if not signed.")
def sign_off(study: Path, items: tuple[str, ...], day: str, batch: str, **facts: str) -> None:
    """Record in a study folder that a named person signed ITEMS of the safety checklist.

    It is about a document that a qualified person signed. Nothing is approved here.
    """
    from panel.plan.safety import with_sign_offs
    from panel.words import counted

    on, done = {"date": day or _moment()[:10], **facts}, f"{counted(len(items), 'sign-off')} recorded."
    _on_record(study, lambda now: with_sign_offs(now, items, batch, **on), done, facts["who"])


@click.command(short_help="Write down a reaction on the skin, or settle one.")
@study_argument
@_who_option
@click.option("--signs", default="", metavar="WORDS", help="What was seen or felt, and where.")
@click.option(
    "--action", required=True, metavar="WORDS", help="What was done; what was concluded where one is settled."
)
@click.option("--severity", default="", help="mild, moderate or serious.")
@click.option("--assessor", default="", help="Code of the person.")
@click.option("--batch", default="", help="Batch that was applied; all batches are frozen if not given.")
@click.option("--session", default="", help="Session.")
@click.option("--seen-by", default="", metavar="NAME", help="Qualified person who saw it.")
@click.option("--when", default="", metavar="MOMENT", help="When it was seen; now if not given.")
@click.option("--settle", "number", default="", metavar="REACTION", help="Settle this reaction instead.")
@click.option("--document", default="", metavar="WORDS", help="Document about a reaction that is settled.")
def reaction(study: Path, number: str, document: str, when: str, **facts: str) -> None:
    """Write down in a study folder what happened on somebody's skin; the batches are frozen until it is settled."""
    from dataclasses import replace

    from panel.plan.safety import record_reaction, settle_reaction, when_to_stop

    seen = when or _moment()

    def change(now: Study) -> Study:
        known = now.table("reactions")
        if number:
            settled = {name: facts[name] for name in ("who", "action", "seen_by")}
            known = settle_reaction(known, number, when=seen, document=document, **settled)
        else:
            known = record_reaction(known, when=seen, **facts)
        return replace(now, tables={**now.tables, "reactions": known})

    if not number:
        tell(when_to_stop(), err=True)
    done = "The reaction is settled." if number else "The reaction is on record and its batches are frozen."
    _on_record(study, change, done, facts["who"])


def _on_record(folder: Path, change: Change, done: str, who: str) -> None:
    """Save a change of the safety record, and let the ballots that are prepared follow."""
    from panel.store.ballot import tell_ballots
    from panel.study.saving import save

    save(folder, open_path(folder), change, who=who, what=done)
    print_lines(done, *filter(None, [tell_ballots(folder)]))
