"""May anybody apply a batch yet? The gate opens when named persons have signed every item; nothing here signs."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.plan.codes import moment
from panel.study.formulas import canonical_ingredient, ingredients
from panel.study.knowledge import shared_table
from panel.study.study import Study
from panel.study.tables import TABLES

OUTCOMES = ("signed", "not needed", "withdrawn")
RED, _AMBER, GREEN = "red", "amber", "green"

_Entry = Mapping[Hashable, Any]

_METHOD = (
    "Every item of the checklist needs a named person, a date and a document; the last entry of an item counts, one "
    "for a batch before one for the study. Red: something that is always needed is missing, withdrawn or out of date, "
    "or a reaction is not settled. Amber: what is always needed is there, but an item that a named person may declare "
    "not needed is still open. The gate is open only on green. It records sign-offs and gives none."
)


@dataclass(frozen=True, eq=False, slots=True)
class SafetyGate:
    """Which batches may be applied, and what is missing for the others.

    Parameters
    ----------
    batches
        `batch prototype state open missing frozen`: state red, amber or green; open True on green only; how many items
        are missing; the reaction that freezes the batch, empty if none does.
    items
        `batch item words scope needed outcome who role date document reason`: one row for each batch and item;
        `reason` says why an item does not count yet, empty if it does.
    notes
        What must be read beside it; the first says what this record cannot replace.
    """

    batches: pd.DataFrame
    items: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def _record_sign_off(
    signed: pd.DataFrame,
    item: str,
    *,
    who: str,
    role: str,
    date: str,
    document: str,
    batch: str = "",
    outcome: str = "signed",
    valid_until: str = "",
    note: str = "",
) -> pd.DataFrame:
    """Return the sign-offs with one more; those before stay, the last one of an item counts.

    Parameters
    ----------
    signed
        The sign-offs so far.
    item
        One of the checklist.
    who, role
        The person who signed, and what qualifies her for it.
    date
        When it was signed.
    document
        Where the signed document is found. For `not needed` and `withdrawn` the `note` with the reason is enough.
    batch
        The batch it is about; empty for all batches of the study.
    outcome
        `signed`, `not needed` or `withdrawn`.

    Raises
    ------
    StudyError
        If the item is unknown, person, date, document or reason is missing, or the item cannot be declared unneeded.
    """
    items = shared_table("safety_gate").set_index("item")
    if item not in items.index:
        raise StudyError(f"The checklist has no item {item!r}. Items are: {', '.join(items.index)}.")
    if outcome not in OUTCOMES:
        raise StudyError(f"The outcome {outcome!r} is not known. Write one of: {', '.join(OUTCOMES)}.")
    if not (who.strip() and role.strip() and date.strip()):
        raise StudyError(f"{item}: a sign-off needs a named person, her role and a date. Give all three.")
    moment(date, f"The date of {item}")
    if valid_until:
        moment(valid_until, f"The end of validity of {item}")
    if outcome == "signed" and not document.strip():
        raise StudyError(f"{item}: a sign-off needs a reference to the signed document. Say where it is found.")
    if outcome != "signed" and not note.strip():
        raise StudyError(f"{item}: {outcome!r} needs a reason. Write it into the note.")
    if outcome == "not needed" and items.loc[item, "needed"] == "always":
        raise StudyError(f"{item} is always needed and cannot be declared unneeded. It has to be signed.")
    if items.loc[item, "scope"] == "batch" and not batch.strip():
        raise StudyError(f"{item} is signed batch by batch. Name the batch.")
    return _with_row(signed, "safety", (item, batch, outcome, who, role, date, document, valid_until, note))


def with_sign_offs(study: Study, chosen: Sequence[str], batch: str = "", **facts: str) -> Study:
    """Return the study with a sign-off of each item; without a `batch`, an item of batches gets one for each of them.

    `facts` are those of `_record_sign_off`, which says what is missing.
    """
    if not chosen:
        raise StudyError("Choose the items that were signed.")
    items = shared_table("safety_gate").set_index("item")
    batches = [name for name in study.table("batches")["batch"].unique() if name]
    signed = study.table("safety")
    for item in chosen:
        by_batch = item in items.index and items.loc[item, "scope"] == "batch"
        for name in [batch] if batch else batches if by_batch else [""]:
            signed = _record_sign_off(signed, item, batch=name, **facts)
    return replace(study, tables={**study.tables, "safety": signed})


def safety_gate(study: Study, on: str) -> SafetyGate:
    """Return for which batches the gate is open.

    Parameters
    ----------
    on
        The day, or moment, that counts: what is signed later or valid no longer does not.

    Raises
    ------
    StudyError
        If that day cannot be read; a sign-off whose date cannot be read does not count.
    """
    moment(on, "The day of the test")
    batches = study.table("batches").drop_duplicates("batch")
    batches = batches.loc[batches["batch"] != "", ["batch", "prototype"]]
    checklist, signed = shared_table("safety_gate"), study.table("safety")
    frozen = unsettled_reactions(study)
    entries = signed.to_dict("records")
    rows = [
        {"batch": batch, **item, **_last(entries, item, batch, on)}
        for batch in batches["batch"]
        for item in checklist[["item", "words", "scope", "needed"]].to_dict("records")
    ]
    columns = ["batch", "item", "words", "scope", "needed", "outcome", "who", "role", "date", "document", "reason"]
    items = pd.DataFrame(rows, columns=columns, dtype="str")
    states = [_state(items.loc[items["batch"] == batch], frozen, batch) for batch in batches["batch"]]
    return SafetyGate(
        batches=batches.reset_index(drop=True).assign(
            state=pd.Series(states, dtype="str"),
            open=[state == GREEN for state in states],
            missing=[int((items.loc[items["batch"] == batch, "reason"] != "").sum()) for batch in batches["batch"]],
            frozen=pd.Series([_frozen_by(frozen, batch) for batch in batches["batch"]], dtype="str"),
        ),
        items=items,
        method=_METHOD,
        notes=(*_cautions(), *_notes(batches["batch"].tolist(), signed, checklist)),
    )


def _last(entries: Sequence[_Entry], item: _Entry, batch: str, on: str) -> dict[str, str]:
    """Return the entry that counts for an item and a batch, and why it does not count if so."""
    meant = (batch,) if item["scope"] == "batch" else ("", batch)
    about = [entry for entry in entries if entry["item"] == item["item"] and entry["batch"] in meant]
    known = [entry for entry in about if _counts(entry, on)]
    blank = dict.fromkeys(("outcome", "who", "role", "date", "document"), "")
    if not known:
        return blank | {"reason": "signed only later, or on a date that cannot be read" if about else "not signed"}
    row, of_batch = known[-1], [entry for entry in known if entry["batch"] == batch]
    # what was said of the batch holds, unless everything was withdrawn after it
    if of_batch and row["outcome"] != "withdrawn":
        row = of_batch[-1]
    return {name: str(row[name]) for name in blank} | {"reason": _reason(row, item, on)}


def _counts(entry: _Entry, on: str) -> bool:
    """Return True if an entry was made by then; a withdrawal counts also on a date that cannot be read."""
    try:
        return _same_day_or_before(entry["date"], on, "A sign-off")
    except StudyError:
        return bool(entry["outcome"] == "withdrawn")


def _holds(limit: str, on: str) -> bool:
    try:
        return _same_day_or_before(on, limit, "The end of validity")
    except StudyError:
        return False


def _same_day_or_before(text: str, limit: str, what: str) -> bool:
    """Return True if a moment is not after the limit; a limit without a time of day holds until its end."""
    end = moment(limit, what)
    found = moment(text, what)
    return found.date() <= end.date() if len(limit.strip()) <= len("2025-03-14") else found <= end


def _reason(row: _Entry, item: _Entry, on: str) -> str:
    """Return why an entry does not count, empty if it does; a table written by hand is not trusted blindly."""
    if row["outcome"] == "withdrawn":
        return "withdrawn"
    if row["outcome"] == "not needed":
        return "" if item["needed"] != "always" and row["note"] else "cannot be declared unneeded"
    if row["outcome"] != "signed":
        return "outcome not understood"
    if not (row["who"] and row["document"]):
        return "no person or no document"
    if row["valid_until"] and not _holds(row["valid_until"], on):
        return "out of date"
    return ""


def _state(items: pd.DataFrame, frozen: pd.DataFrame, batch: str) -> str:
    missing = items.loc[items["reason"] != "", "needed"]
    if (missing == "always").any() or batch in set(frozen["batch"]):
        return RED
    return _AMBER if len(missing) else GREEN


def _frozen_by(frozen: pd.DataFrame, batch: str) -> str:
    rows = frozen.loc[frozen["batch"] == batch].to_dict("records")
    return "; ".join(f"the reaction of {row['assessor'] or 'somebody'} on {row['when']} is not settled" for row in rows)


def _cautions() -> list[str]:
    """Return the usual cautions before anybody applies a sample; what the record cannot replace comes first.

    What is said under everything (`always`) is not said twice.
    """
    known = shared_table("cautions")
    shown = known["applies"] == "before anybody applies a sample"
    words = known.loc[shown].set_index("caution")["words"]
    return [str(words["record_only"]), *(str(text) for name, text in words.items() if name != "record_only")]


def _notes(batches: Sequence[str], signed: pd.DataFrame, checklist: pd.DataFrame) -> Iterator[str]:
    strange = sorted(set(signed["item"]) - set(checklist["item"]))
    if strange:
        yield f"Sign-offs for items that the checklist does not have do not count: {', '.join(strange)}."
    elsewhere = sorted(set(signed["batch"]) - set(batches) - {""})
    if elsewhere:
        yield f"Sign-offs name batches that are not in the table of batches: {', '.join(elsewhere)}."
    if not batches:
        yield "No batches are recorded, so the gate is open for none. Fill in the table of batches."


# Who must not get which prototype? What an assessor avoids, against what the formulas contain.
#
# Where it cannot be told, nobody is served: a word that is not understood, or a prototype without a formula,
# blocks the
# person concerned until somebody has settled it.


_PAIR_COLUMNS = ("assessor", "prototype", "avoid", "ingredient", "reason")

_NOTHING = ("", "-", "none", "no", "nothing", "n/a", "no known", "none known")
_SHORTEST = 4  # letters of a word that is looked for inside names; "nut" would also find coconut


def match_allergens(
    study: Study, assessors: Iterable[str] | None = None, *, also: Iterable[str] = ()
) -> dict[str, pd.DataFrame]:
    """Return who must not get what, as three tables by name.

    Parameters
    ----------
    assessors
        Whom to look at; by default everybody in the table of assessors, consumers too.
    also
        Further prototypes to be served, such as a warm-up; without a formula they are forbidden to whoever avoids
        something.

    Returns
    -------
    forbidden
        `assessor prototype avoid ingredient reason`: one row for each ingredient that forbids a pair.
    not_understood
        `assessor avoid`: words of the table of assessors that no ingredient or allergen answers to.
    not_known
        `prototype ingredient`: ingredients of which it is not known whether they hold an allergen; they forbid nothing.
    """
    prototypes = list(dict.fromkeys([*study.prototypes, *(name for name in also if name)]))
    lines = study.table("formulas")
    lines = lines.loc[(lines["ingredient"] != "") & ~(lines["percent"] == 0), ["prototype", "ingredient"]]
    contents = [
        (prototype, name, _allergens_holds(name)) for prototype, name in lines.drop_duplicates().itertuples(index=False)
    ]
    without = [name for name in prototypes if name not in set(lines["prototype"])]
    known = ingredients()
    groups = {name: group for name, group in zip(known["ingredient"], known["allergen"], strict=True) if group}
    forbidden: list[tuple[str, str, str, str, str]] = []
    strange = []
    for assessor, word in _avoided(study, assessors):
        forbidden += [(assessor, name, word, "", f"avoids {word}, and {name} has no formula") for name in without]
        allergens, names = _understood(word, groups)
        if not allergens and not names:
            strange.append((assessor, word))
            forbidden += [
                (assessor, name, word, "", f"avoids {word!r}, which is not understood") for name in prototypes
            ]
        for prototype, ingredient, held in contents:
            named = len(_bare(word)) >= _SHORTEST and _bare(word) in _bare(ingredient)
            if named or held & names or {groups.get(name) for name in held} & allergens:
                forbidden.append((assessor, prototype, word, ingredient, f"avoids {word}: {ingredient}"))
    unknown = [(prototype, ingredient) for prototype, ingredient, held in contents if not held]
    pairs = pd.DataFrame(forbidden, columns=list(_PAIR_COLUMNS), dtype="str").drop_duplicates(ignore_index=True)
    return {
        "forbidden": pairs,
        "not_understood": pd.DataFrame(strange, columns=["assessor", "avoid"], dtype="str"),
        "not_known": pd.DataFrame(unknown, columns=["prototype", "ingredient"], dtype="str"),
    }


def _avoided(study: Study, assessors: Iterable[str] | None) -> list[tuple[str, str]]:
    """Return each person and each word of what she avoids."""
    table = study.table("assessors")
    wanted = set(table["assessor"]) if assessors is None else set(assessors)
    return [
        (str(assessor), word)
        for assessor, cell in zip(table["assessor"], table["avoid"], strict=True)
        if assessor in wanted
        for word in _words(str(cell))
    ]


def _words(cell: str) -> Iterator[str]:
    """Return the words of a cell: separated by ; and, unless that breaks the name of an ingredient, by , / and."""
    for part in cell.split(";"):
        pieces = [part] if canonical_ingredient(part) else re.split(r"[,/&]|\band\b", part)
        yield from [piece.strip() for piece in pieces if piece.strip().casefold() not in _NOTHING]


def _allergens_holds(ingredient: str) -> set[str]:
    """Return the known ingredients that a line of a formula stands for: one, or those that a blend names."""
    one = canonical_ingredient(ingredient)
    if one:
        return {one}
    text = _bare(ingredient)
    return {name for name in ingredients()["ingredient"] if len(_bare(name)) > _SHORTEST and _bare(name) in text}


def _understood(word: str, groups: dict[str, str]) -> tuple[set[str], set[str]]:
    """Return the allergens and the ingredients that a word stands for; both empty if it is not understood."""
    bare = _bare(word)
    also_called = shared_table("allergen_words")
    allergens = {group for group in groups.values() if _bare(group) == bare}
    for called, meant in zip(also_called["word"], also_called["allergen"], strict=True):
        if _bare(called) == bare:
            allergens |= set(meant.split("; "))
    ingredient = canonical_ingredient(word)
    if ingredient:
        # an ingredient that somebody reacts to stands for its whole group: one nut for all of them
        return allergens | ({groups[ingredient]} if ingredient in groups else set()), {ingredient}
    if allergens or len(bare) < _SHORTEST:
        return allergens, set()
    known = ingredients()
    names = {
        name
        for name, tags in zip(known["ingredient"], known["cautions"], strict=True)
        if bare in _bare(name) or bare in {_bare(tag) for tag in tags.split(";")}
    }
    return allergens, names


def _bare(text: str) -> str:
    """Return small letters and digits, without the plural s and without words such as allergy."""
    words = re.sub(r"\b(?:allergy|allergic|to|all|any|oils?|products?|derived)\b", " ", text.casefold())
    return "".join(re.sub(r"s\b", "", word) for word in re.findall(r"[a-z0-9]+", words))


# What happened on somebody's skin: a record of adverse reactions, and the batches it freezes.


SEVERITIES = ("mild", "moderate", "serious")


def record_reaction(
    known: pd.DataFrame,
    *,
    when: str,
    who: str,
    signs: str,
    severity: str,
    action: str,
    assessor: str = "",
    prototype: str = "",
    batch: str = "",
    session: str = "",
    seen_by: str = "",
) -> pd.DataFrame:
    """Return the entries with a new reaction. Until it is settled its batches are frozen.

    Parameters
    ----------
    when, who
        Moment of the entry, and the named person who makes it.
    signs
        What was seen or felt, in plain words, such as `burning after 4 min, red patch of 3 cm`.
    severity
        `mild`, `moderate` or `serious`, as judged by the person who writes it; a physician may judge otherwise.
    action
        What was done: rinsed, photograph with consent, sent to a physician ...
    prototype, batch
        What was applied. Without a batch all batches of the prototype are frozen, without both all batches.

    Raises
    ------
    StudyError
        If the moment, the person, the signs, the severity or the action is missing or not understood.
    """
    if not (when.strip() and who.strip() and signs.strip() and action.strip()):
        raise StudyError("A reaction is recorded with time, person, signs and what was done. Give all four.")
    moment(when, "The time of the reaction")
    if severity not in SEVERITIES:
        raise StudyError(f"The severity {severity!r} is not known. Write one of: {', '.join(SEVERITIES)}.")
    number = str(1 + max((int(text) for text in known["reaction"] if text.isdigit()), default=0))
    entry = dict.fromkeys(TABLES["reactions"].column_names, "") | {
        "reaction": number,
        "when": when,
        "who": who,
        "assessor": assessor,
        "prototype": prototype,
        "batch": batch,
        "session": session,
        "signs": signs,
        "severity": severity,
        "action": action,
        "seen_by": seen_by,
        "settled": "no",
    }
    return _with_row(known, "reactions", entry)


def settle_reaction(
    known: pd.DataFrame, reaction: str, *, when: str, who: str, action: str, document: str, seen_by: str = ""
) -> pd.DataFrame:
    """Return the entries with one more that settles a reaction and frees its batches; nothing is changed or deleted.

    Raises
    ------
    StudyError
        If there is no such reaction, or the moment, the person, the reason or the document is missing.
    """
    about = known.loc[known["reaction"] == reaction]
    if about.empty:
        raise StudyError(
            f"There is no reaction {reaction!r} on record. Known are: {', '.join(known['reaction'].unique())}."
        )
    if not (when.strip() and who.strip() and action.strip() and document.strip()):
        raise StudyError(
            "A reaction is settled by a named person, with time, what was concluded and the document. Give all four."
        )
    moment(when, "The time of settling")
    entry = {str(name): str(value) for name, value in about.iloc[0].items()}
    entry |= {"when": when, "who": who, "action": action, "document": document, "seen_by": seen_by, "settled": "yes"}
    return _with_row(known, "reactions", entry)


def unsettled_reactions(study: Study) -> pd.DataFrame:
    """Return `reaction when assessor batch severity` of what is not settled: a row for each batch it freezes."""
    entries = study.table("reactions")
    batches = study.table("batches")
    rows = []
    for number, about in entries.groupby("reaction", sort=False):
        first, last = about.iloc[0], about.iloc[-1]
        if last["settled"] == "yes":
            continue
        # a batch or prototype that is not recorded freezes all that it may be
        for concerned in (batches["batch"] == first["batch"], batches["prototype"] == first["prototype"]):
            if concerned.any():
                frozen = batches.loc[concerned, "batch"]
                break
        else:
            frozen = batches["batch"]
        rows += [(number, first["when"], first["assessor"], batch, first["severity"]) for batch in frozen.unique()]
    return pd.DataFrame(rows, columns=["reaction", "when", "assessor", "batch", "severity"], dtype="str")


def when_to_stop() -> str:
    """Return the words that are shown while a sample is on the skin."""
    known = shared_table("cautions").set_index("caution")["words"]
    return str(known["stop_and_refer"])


def _with_row(known: pd.DataFrame, table: str, row: Sequence[str] | Mapping[str, str]) -> pd.DataFrame:
    columns = list(TABLES[table].column_names)
    return pd.concat([known[columns], pd.DataFrame([row], columns=columns, dtype="str")], ignore_index=True)
