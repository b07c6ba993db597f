"""May this study be trusted? All checks together."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from panel.checks.batches import YOUNGEST_HOURS, check_batches, swap_findings
from panel.checks.confounds import find_confounds, untold_findings
from panel.checks.finding import Finding, Proposal, gravest_first, read_dates
from panel.checks.formulas import check_formulas
from panel.checks.moments_recorded import broken_chain, claim_seal, first_broken_link, order_of_testing
from panel.checks.scores import check_scores
from panel.checks.sound_study import sound_study, with_one_name_each
from panel.checks.structure import check_raw_files, check_structure
from panel.errors import StudyError
from panel.plan.codes import moment
from panel.plan.safety import safety_gate
from panel.study.editing import put_table, texts_of_table
from panel.study.knowledge import agreeing_end, heading_words, is_called
from panel.study.naming import naming
from panel.study.people import REMOVED, WITHOUT_PEOPLE
from panel.study.renaming import with_row_corrected
from panel.study.scores_used import (
    agreement_read,
    agrees_from_unused,
    named_rows,
    not_understood,
    stated_differences,
    stated_end,
)
from panel.study.study import SOURCES, Study, is_rehearsed
from panel.study.tables import TABLES
from panel.words import counted, first_few, format_list


def check_study(study: Study) -> tuple[Finding, ...]:
    """Return everything worth knowing before believing the study, the gravest first.

    Within one severity the order is rehearsal, structure, formulas, batches, scores,
    confounds, planned differences, order of testing, stamps of claims, answers. The same study gives the same
    findings in the same order. Nothing is repaired, and no content of the tables makes it raise.
    """
    sound = sound_study(study)
    meant = with_one_name_each(sound)
    confounds = find_confounds(meant)
    findings = [
        *_check_rehearsed(study),
        *_check_removed(study),
        *_check_remarks(study),
        *check_structure(study, sound),
        *check_raw_files(study),
        *check_formulas(meant),
        *check_batches(meant, confounds),
        *check_scores(meant),
        *untold_findings(confounds),
        *swap_findings(confounds),
        *_check_planned_differences(sound),
        *_check_order_of_testing(sound),
        *_names_calculated(sound),
        *_check_claim_stamps(sound),
        *_check_agreement(study),
        *_answers_alike(sound),
        *_answered_again(sound),
        *_check_understood(study),
    ]
    return gravest_first(_in_her_words(sound, naming(sound).attributes, findings))


def _check_claim_stamps(study: Study) -> Iterator[Finding]:
    """Give a finding for a broken chain of stamps, and for each claim that no longer fits its own."""
    claims = study.table("claims")
    broken = first_broken_link(claims)
    if broken is not None:
        yield Finding(
            "warning",
            "stamp_chain_broken",
            f"claims, row {broken + 1}, column chain",
            broken_chain(broken),
            "Go back to the table of claims as it was stamped. Otherwise both claims beside the break are exploratory.",
        )
    for number, row in enumerate(claims.to_dict("records"), start=1):
        if row["stamp"] and claim_seal(row) != row["stamp"]:
            yield Finding(
                "warning",
                "claim_changed_after_stamp",
                f"claims, row {number}, column stamp",
                f"Claim {number} was changed after it was stamped: it no longer fits its seal.",
                "Go back to the words, margin and bar that were stamped, or stamp the new ones as another claim.",
            )


def _check_order_of_testing(study: Study) -> list[Finding]:
    """Return a finding for each place in the order of testing that does not count."""
    return [
        Finding(
            "warning",
            "order_fixed_late",
            f"attributes, {name}",
            f"The place of {study.attribute_words(name)} in the order of testing does not count: {why}.",
            "It is tested after all whose place was fixed in time. Fix the order before the first score, and record "
            "when scores are given, or state the days of the test.",
        )
        for name, why in order_of_testing(study)[1].items()
    ]


def _check_agreement(study: Study) -> Iterator[Finding]:
    """Give a finding for statements answered in numbers of which nothing says which end agrees, or both ends do."""
    where = "questions, columns low_end and high_end"
    for at, turned, by, names in agreement_read(study):
        listed = first_few([f"“{name}”" for name in names])
        if not by:
            message = f"{at} is read as full agreement with {listed}, and nothing in the study says so."
            advice = "Write the words at the low and the high end as people read them; if 1 agrees, the counts turn."
            yield Finding("warning", "agreement_not_stated", where, message, advice)
        elif turned:
            message = f"{at} is read as full agreement with {listed}, as the study says."
            yield Finding("note", "agreement_from_one", where, message, "Look at a ballot if you are not sure.")
    for row in texts_of_table(study, "questions").to_dict("records"):
        ends = agreeing_end(row["low_end"], row["high_end"])
        if stated_end(row) and ends not in (0, stated_end(row)):
            message = (
                f"The answers to “{row['question']}” are kept with {row['agrees']} as full agreement, and the words at "
                f"its ends say {ends}. They are read with {row['agrees']}."
            )
            yield Finding("warning", "agreement_contradicted", where, message, "Put right the ends or `agrees`.")
    for question in agrees_from_unused(study):
        message = f"The `agrees_from` of “{question}” is no step beyond the middle of its scale."
        advice = "It is not used: all steps beyond the middle agree. Fewer of them may be said to, never more."
        yield Finding("warning", "agreement_from_unused", "questions, column agrees_from", message, advice)


def _check_understood(study: Study) -> Iterator[Finding]:
    """Give a finding for each question some answers to which are no step of its scale."""
    answers, lost = named_rows(study, "answers"), not_understood(study)
    for (kind, question), rows in lost.groupby(["kind", "question"], sort=False):
        asked = answers.loc[(answers["kind"] == kind) & (answers["question"] == question), "answer"]
        given = int(asked.str.strip().ne("").sum())
        each = [f"{text!r} ({n})" for text, n in Counter(rows["answer"]).most_common()]
        one = len(rows) == 1
        stay = f"{'It counts' if one else 'They count'} as not agreeing."
        stay = stay if kind == "agreement" else f"{'It is' if one else 'They are'} left out."
        stay = "So it cannot be told how many agree." if kind == "agreement" and 2 * len(rows) > given else stay
        were = "was" if one else "were"
        told = f"{len(rows)} of {counted(given, 'answer')} to “{question}” {were} not understood"
        message = f"{told}: {first_few(each)}. {stay}"
        advice = "Put right the answer in the table of answers, or in the file of the survey, and bring it in again."
        if kind == "agreement":
            advice += " There a number before the words is the step of the scale, such as 4 - agree."
        yield Finding("warning", "answers_not_understood", f"answers, question “{question}”", message, advice)


_ROW_OF_SCORES = re.compile(r"\bscores, row (\d+)")


def _in_her_words(study: Study, called: Mapping[str, str], findings: Iterable[Finding]) -> list[Finding]:
    """Return findings that name attributes in words, and beside a row of scores the line of her own file.

    What a message quotes stands in a file as it is; a short name that is a word, or that something else has, stays.
    """
    record = study.facts.get("import")
    file = str(record.get("file") or "the imported file") if isinstance(record, dict) else "the imported file"
    lines, sources = study.scores["raw_line"].to_numpy(dtype=float), study.scores["source"].to_numpy()
    words = {short: name for short, name in called.items() if name != short}
    # an attribute ends its place; a person, session or row may be called by the same sign
    last = re.compile(rf"(, (?:attribute )?)({'|'.join(map(re.escape, words))})(?=$|;)")

    others = {*study.prototypes, *study.assessors, *study.table("batches")["batch"]}
    codes = sorted((short for short in words if not short.islower() and short not in others), key=len, reverse=True)
    anywhere = re.compile(rf"(?<![\w'“])({'|'.join(map(re.escape, codes))})(?![\w'”])")

    def named(text: str) -> str:
        return anywhere.sub(lambda found: words[found[1]], text) if codes else text

    def told(found: re.Match[str]) -> str:
        row = int(found[1]) - 2
        line = lines[row] if 0 <= row < len(lines) else np.nan
        own = file if np.isnan(line) or sources[row] in SOURCES else sources[row]
        return found[0] if np.isnan(line) else f"{found[0]} (line {line:.0f} of {own})"

    def where(finding: Finding) -> str:
        place = finding.where
        if words and place.startswith(("scores", "attributes")):
            place = last.sub(lambda found: found[1] + words[found[2]], place)
        return _ROW_OF_SCORES.sub(told, place)

    return [
        replace(each, where=where(each), message=named(each.message), advice=named(each.advice)) for each in findings
    ]


# What a finding proposes, and the study once that is done.


def _answers_alike(sound: Study) -> Iterator[Finding]:
    """Return questions of one kind that got the same answers from the same people to the same prototypes."""
    answers = sound.table("answers")
    key = ["kind", "assessor", "prototype", "versus", "answer"]
    asked = [(name, rows[key].sort_values(key)) for name, rows in answers.groupby("question", sort=False)]
    same: dict[str, list[str]] = {}
    for name, rows in asked:
        n, shares = len(rows), rows["answer"].value_counts(normalize=True)
        if float((shares**2).sum()) ** n * len(asked) ** 2 < _BY_CHANCE:  # that two questions agree throughout
            same.setdefault(rows.to_csv(index=False), []).append(str(name))
    for names in same.values():
        if len(names) > 1:
            asked_of = answers.loc[answers["question"] == names[0], "assessor"]
            people = counted(asked_of.nunique(), "person", "people")
            told = format_list([repr(name) for name in names])
            message = f"The answers to {told} are the same, of {people} to every prototype."
            advice = (
                "If they were brought twice under two names, take the rows of one out of the table answers (page Edit, "
                "Answers of consumers); until then each counts as a question of its own."
            )
            yield Finding("warning", "answers_alike", f"answers, question {names[-1]}", message, advice)


def _answered_again(sound: Study) -> Iterator[Finding]:
    """Give a finding for answers of one person to one question about the same samples that nothing tells apart."""
    answers = sound.table("answers")
    pair = [str(sorted(each)) for each in zip(answers["prototype"], answers["versus"], strict=True)]
    key = answers[["question", "kind", "assessor", "session", "replicate"]].assign(pair=pair)
    again = answers.loc[key.duplicated() & (answers["answer"] != "")]
    if again.empty:
        return
    first, people = again.iloc[0], counted(again["assessor"].nunique(), "person", "people")
    come = "comes" if len(again) == 1 else "come"
    message = (
        f"{counted(len(again), 'answer')} of {people} {come} after another to the same question about the same "
        f"samples, in one session and repetition, such as that of {first['assessor']} to {first['question']!r}. "
        "Choices count each time, of liking the mean, of other answers the first."
    )
    advice = (
        "If ballots were brought twice, take the rows of one out of the table answers (page Edit, Answers of "
        "consumers); if people were asked again, name the repetition in the column replicate."
    )
    yield Finding("warning", "answered_again", f"answers, row {again.index[0] + 2}", message, advice)


_BY_CHANCE = 0.001  # a setting: how likely a coincidence in a study may be at most


def with_proposal(study: Study, finding: Finding, *, who: str = "", when: str = "") -> Study:
    """Return the study with what a finding proposes.

    A score is never overwritten: it gets a written correction by `who` at `when` (ISO 8601), with the finding as its
    reason.

    Raises
    ------
    StudyError
        If the finding proposes nothing, a cell no longer holds what was found, or a correction lacks a name.
    """
    if not finding.proposals:
        raise StudyError(f"Nothing is proposed for this. {finding.advice}")
    for table in dict.fromkeys(proposal.table for proposal in finding.proposals):
        texts = texts_of_table(study, table)
        for proposal in [each for each in finding.proposals if each.table == table]:
            rows = _rows_meant(texts, proposal)
            if (table, proposal.column) == ("scores", "score"):
                about = {"who": who, "why": finding.message, "when": when}
                study = with_row_corrected(study, rows[0] + 2, new=proposal.value, **about)
            else:
                texts.loc[rows, proposal.column] = proposal.value
                texts = _without_bare_twins(table, texts, proposal)
        if not texts.equals(texts_of_table(study, table)):
            study = put_table(study, table, texts)
    return study


def _rows_meant(texts: pd.DataFrame, proposal: Proposal) -> list[int]:
    """Return the rows of a table whose cell a proposal is about; StudyError if it holds something else by now."""
    held = np.flatnonzero(texts.get(proposal.column, pd.Series(dtype="str")) == proposal.found)
    rows = [row for row in held.tolist() if not proposal.row or row == proposal.row - 2]
    if not rows:
        raise StudyError(
            f"{proposal.found} no longer stands in {proposal.table}, column {proposal.column}. Check the study again."
        )
    return rows


def _without_bare_twins(table: str, texts: pd.DataFrame, proposal: Proposal) -> pd.DataFrame:
    """Return a list of names without the rows that say nothing more than an earlier one of the same name."""
    if TABLES[table].key != (proposal.column,):
        return texts
    same = np.flatnonzero(texts[proposal.column] == proposal.value)
    bare = [row for row in same[1:] if texts.iloc[row].isin(["", *texts.iloc[same[0]]]).all()]
    return texts.drop(index=texts.index[bare]).reset_index(drop=True)


# Was this study rehearsed? Then nothing in it is evidence.


def _check_rehearsed(study: Study) -> list[Finding]:
    """Return a finding if the scores, or some of them, were drawn by a program."""
    if not is_rehearsed(study):
        return []
    return [
        Finding(
            "warning",
            "study_rehearsed",
            "the whole study",
            "This study is a rehearsal: its scores were drawn by a program.",
            "Use it to try things out. It says nothing about the prototypes, and no claim can rest on it.",
        )
    ]


# Were people taken out of this study?


def _check_removed(study: Study) -> Iterator[Finding]:
    """Return a finding for each person whose data were removed, and one for a study given away without its people."""
    listed = study.facts.get(REMOVED)
    for entry in listed if isinstance(listed, list) else []:
        facts = entry if isinstance(entry, dict) else {}
        rows = facts.get("rows")
        told = ", ".join(f"{name} {count}" for name, count in rows.items()) if isinstance(rows, dict) else "not told"
        when, who, why = (str(facts.get(name, "not told")) for name in ("when", "who", "why"))
        yield Finding(
            "warning",
            "person_removed",
            REMOVED,
            f"The data of one person were removed on {when} by {who}: {why}. Rows taken out: {told}.",
            "Results from before that day rest on more people; work them out again before they are cited.",
        )
    if study.facts.get(WITHOUT_PEOPLE):
        words = (
            "This is a copy without people: codes are new, and reactions, allergies, names and reasons are left out."
        )
        advice = "Ask those who made the study for what is left out; sign-offs here name nobody and open nothing."
        yield Finding("note", "without_people", "the whole study", words, advice)


# What was written beside the scores of the imported file?


def _check_remarks(study: Study) -> Iterator[Finding]:
    """Return a finding for remarks with a word of a reaction or an injury, which it does not repeat, and for others."""
    record = study.facts.get("import")
    listed = record.get("remarks") if isinstance(record, dict) else None
    said = [each for each in listed if isinstance(each, dict)] if isinstance(listed, list) else []
    told: dict[bool, list[tuple[str, str]]] = {True: [], False: []}
    for each in said:
        where, text = f"line {each.get('line')}, column {each.get('column')!r}", str(each.get("text"))
        told[any(is_called(word, "reaction") for word in heading_words(text).split())].append((where, text))
    if hurt := told[True]:
        yield Finding(
            "warning",
            "remark_of_reaction",
            first_few([where for where, _ in hurt]),
            f"{counted(len(hurt), 'remark')} beside the scores may tell of a reaction or an injury.",
            "Read it in the file and ask the person. What happened on somebody's skin belongs into the record of "
            "reactions (afterfeel reaction STUDY, or the page on safety), which freezes the batch until it is settled.",
        )
    if other := told[False]:
        yield Finding(
            "note",
            "remarks",
            first_few([where for where, _ in other]),
            f"Remarks stand beside the scores: {first_few([f'“{text}”' for _, text in other], _REMARKS)}.",
            "They change nothing. Correct or set aside the scores that one of them explains, with it as the reason.",
        )


_REMARKS = 6  # that are told


# Can the differences that the study says were planned be read?


def _names_calculated(study: Study) -> list[Finding]:
    """Return names that a spreadsheet program takes for formulas when it opens a file of the study."""
    listed = [*study.prototypes, *study.attributes, *study.assessors, *study.table("batches")["batch"]]
    names = [name for name in dict.fromkeys(map(str, listed)) if name.startswith(("=", "+", "-", "@"))]
    message = f"{first_few(names)}: a spreadsheet program that opens a file of the study takes such names for formulas."
    advice = "Give names that begin with a letter or a figure, before the files are opened elsewhere."
    return [Finding("warning", "name_calculated", "the lists of names", message, advice)] if names else []


def _check_planned_differences(study: Study) -> list[Finding]:
    """Return one finding for each planned difference that cannot be read."""
    return [
        Finding("warning", "planned_difference_not_read", "planned_differences", what, advice)
        for what, advice in stated_differences(study)[1]
    ]


# Which prototypes are ready for the panel: a batch that is old enough, measured, like the others, and cleared?


def readiness(study: Study, on: str) -> pd.DataFrame:
    """Return which batches can be put before the panel at a moment, a row for each and for a prototype without any.

    A batch is ready when the safety gate is open for it, it will be at least 24 h old, and its pH and its viscosity,
    with the method, are known.

    Parameters
    ----------
    on
        Day, or day and time, of the test.

    Returns
    -------
    DataFrame
        `prototype batch age_hours ph viscosity_mpa_s gate ready missing`. `age_hours` is the youngest the batch can be
        at that moment: where a time of day is not given, the least favourable one is taken. `gate` is the colour of the
        safety gate, `missing` says in words what keeps the batch from being ready, empty if nothing does.

    Raises
    ------
    StudyError
        If that moment cannot be read.
    """
    moment(on, "The day of the test")
    of_batch = safety_gate(study, on).batches.set_index("batch")
    batches = study.table("batches").drop_duplicates("batch")
    batches = batches.loc[(batches["batch"] != "") & (batches["prototype"] != "")].assign(tested_on=on)
    made, tested = read_dates(batches["made_on"]), read_dates(batches["tested_on"])
    latest = made.values + np.where(made.has_time, np.timedelta64(0, "s"), np.timedelta64(24 * 3600, "s"))
    age = np.asarray((tested.values - latest) / np.timedelta64(1, "h"), dtype=float)
    rows = batches[["prototype", "batch", "ph", "viscosity_mpa_s"]].assign(
        age_hours=age, gate=batches["batch"].map(of_batch["state"])
    )
    rows["missing"] = [
        _missing(row, method) for row, method in zip(rows.to_dict("records"), batches["viscosity_method"], strict=True)
    ]
    without = [name for name in study.prototypes if name not in set(rows["prototype"])]
    none = pd.DataFrame({"prototype": without, "batch": "", "gate": "red", "missing": "no batch"}, dtype="str")
    rows = pd.concat([rows, none], ignore_index=True) if without else rows.reset_index(drop=True)
    rows["ready"] = rows["missing"] == ""
    columns = ["prototype", "batch", "age_hours", "ph", "viscosity_mpa_s", "gate", "ready", "missing"]
    return rows[columns]


def _missing(row: Mapping[Hashable, Any], method: str) -> str:
    """Return what keeps a batch from being ready, in words."""
    age = row["age_hours"]
    missing = []
    if row["gate"] != "green":
        missing.append("the safety gate is closed")
    if np.isnan(age):
        missing.append("its age is not known")
    elif age < YOUNGEST_HOURS:
        missing.append(f"it may be only {max(age, 0):.0f} h old, under {YOUNGEST_HOURS:.0f} h")
    if np.isnan(row["ph"]):
        missing.append("its pH is not known")
    if np.isnan(row["viscosity_mpa_s"]):
        missing.append("its viscosity is not known")
    elif not method:
        missing.append("how its viscosity was measured is not known")
    return "; ".join(missing)
