"""Which scores an analysis uses: those that came in, after written corrections and rules recorded beforehand."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import chain
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.stats.comparing.multiplicity import below
from panel.stats.orders.order_designs import chance_by_lot
from panel.study.knowledge import agreeing_end, chosen_by, worded, wordings
from panel.study.numbers_read import read_numbers, typed_number
from panel.study.study import Numbered, Study, kept
from panel.words import first_few

_SET_ASIDE_COLUMNS = ["row", "assessor", "prototype", "attribute", "session", "replicate", "score", "why"]


@dataclass(frozen=True, eq=False)
class ScoresUsed:
    """The scores an analysis uses, those it does not use and why.

    Parameters
    ----------
    set_aside
        Scores that were there and are not used: columns `row` (line in the file), who and what, `score`, `why`.
    corrected
        Scores whose value was changed by a written correction, same columns.
    numbered
        The scores without blanks and without those set aside, corrected ones with the new value; whose they are, and of
        what, as numbers.
    """

    set_aside: pd.DataFrame
    corrected: pd.DataFrame
    numbered: Numbered

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The scores that are used, with all columns of their table."""
        return self.numbered.frame


@kept
def scores_used(study: Study, *, rules: bool = True) -> ScoresUsed:
    """Return the scores an analysis of `study` uses.

    A blank is no score. A correction with a new value replaces the score, one without sets it aside. Where the
    study's facts hold the rule `set_aside_outside_scale`, scores outside their scale are set aside; without
    that rule they stay in. `rules=False` leaves corrections and rules out, to show both analyses side by side.
    """
    by_rule = rules and any(rule.get("rule") == "set_aside_outside_scale" for rule in _rules(study))
    corrected = rules and "scores" in study.listed("corrections", "table")[0]
    whole = study.numbered.rows
    lacking = _lacking(study.numbered, "scores")
    named = whole if lacking is None else whole.loc[~lacking]
    if not corrected and not (by_rule and _outside_scale(study, named).any()):
        known = named["score"].notna().to_numpy()
        nothing = _nothing().copy(deep=False)
        return ScoresUsed(nothing, nothing, _numbered(study, named if known.all() else named.loc[known]))
    frame = named_rows(study, "scores")
    why = pd.Series("", index=frame.index, dtype="str")
    changed = pd.Series("", index=frame.index, dtype="str")
    frame, why, changed = _with_corrections(study, frame, why, changed)
    if by_rule:
        outside = _outside_scale(study, frame) & (why == "")
        why = why.mask(outside, "outside the scale, by the rule recorded beforehand")
    before = study.scores["score"].loc[frame.index]
    used = frame.loc[frame["score"].notna() & (why == "")]
    return ScoresUsed(
        set_aside=_listed(frame.assign(score=before), why, before.notna() & (why != "")),
        corrected=_listed(frame.assign(score=before), changed, changed != ""),
        numbered=_numbered(study, used),
    )


def _numbered(study: Study, rows: pd.DataFrame) -> Numbered:
    """Return the scores that are used with their numbers: those of the study where all are."""
    whole = study.numbered
    return whole if rows is whole.rows else whole.beside(rows) if len(rows) == len(whole) else Numbered(rows)


_NEEDED = {
    "scores": ("assessor", "prototype", "attribute"),
    "answers": ("assessor", "prototype", "question"),
    "courses": ("assessor", "prototype", "attribute"),
    "dominances": ("assessor", "prototype"),
}


def named_rows(study: Study, table: str) -> pd.DataFrame:
    """Return the rows of a table of collected answers that say whose they are, and of what; others are in no analysis.

    A blank would be taken for one more person, prototype or session. A blank session is one only where other rows, of
    the same question, name theirs.
    """
    return _named_answers(study) if table == "answers" else _named_rows(study, table)


@kept
def _named_answers(study: Study) -> pd.DataFrame:
    """Return the answers that are used, those to a statement always as points of 1 to 5 with 5 as full agreement."""
    frame, agreed, steps = _named_rows(study, "answers"), full_agreement(study), agreement_steps(study)
    other = {*steps, *(name for name in agreed if agreed[name] == 1)}
    turned = frame["kind"].eq("agreement") & frame["question"].isin(other)
    if not turned.any():
        return frame
    own = frame.loc[turned]
    points = zip(own["question"], own["answer"], read_numbers(own["answer"].tolist()).values, strict=True)
    kept_ = [_point(text, at, steps.get(name, _FIVE), agreed.get(name, FULL)) for name, text, at in points]
    return frame.assign(answer=frame["answer"].mask(turned, pd.Series(kept_, index=own.index, dtype="str")))


Steps = tuple[int, int, int]
_FIVE: Steps = (1, 5, 4)


def _point(text: str, at: float, steps: Steps, full: int) -> str:
    """Return the point of 1 to 5 of an answer on a scale of its own: 4 and 5 agree; as it is where it is no step."""
    low, high, least = steps
    if not (low <= at <= high and at == int(at)):
        return text if np.isnan(at) else f"{text} on {low} to {high}"
    at = at if full == FULL else low + high - at
    if steps == _FIVE:
        return f"{at:g}"
    if 2 * at >= low + high:
        return "3" if at < least else "5" if at == high else "4"
    return "1" if at == low and high - low > 2 else "2"


@kept
def agreement_steps(study: Study) -> dict[str, Steps]:
    """Return lowest, highest and least agreeing step of each statement on another scale than 1 to 5, 4 and 5 agreeing.

    Counted from the end that disagrees. Those beyond the middle agree, or of them what `agrees_from` says.
    """
    found = {}
    for name, row in _statements(study).items():
        low, high = _scale_of(row)
        beyond = range((low + high) // 2 + 1, high + 1)
        found[name] = (low, high, least if (least := _agrees_from(row)) in beyond else beyond[0])
    return {name: steps for name, steps in found.items() if steps != _FIVE}


def agrees_from_unused(study: Study) -> list[str]:
    """Return the statements of which `agrees_from` does not lie beyond the middle of the scale."""
    used = agreement_steps(study)
    stated = {name: _agrees_from(row) for name, row in _statements(study).items() if row.get("agrees_from")}
    return [name for name, least in stated.items() if least != used.get(name, _FIVE)[2]]


def _agrees_from(row: Mapping[str, Any]) -> int:
    """Return the least step that an entry says to agree, counted from the end that disagrees; 0 for none."""
    stated = str(row.get("agrees_from", "")).strip()
    least = int(stated) if stated.isdecimal() else 0
    return sum(_scale_of(row)) - least if least and _agreeing_end(row) == 1 else least


def _scale_of(row: Mapping[Any, Any]) -> tuple[int, int]:
    """Return the ends of the scale that an entry of `questions` states, 1 and 5 where it states none."""
    ends = re.fullmatch(r"([01])\s*(?:-|\u2013|to)\s*(\d{1,2})", str(row.get("scale", "")).strip())
    return (int(ends[1]), int(ends[2])) if ends and int(ends[2]) - int(ends[1]) > 1 else (1, FULL)


def _statements(study: Study) -> dict[str, Mapping[str, Any]]:
    """Return the first entry of `questions` about each statement."""
    stated: Any = study.facts.get("questions")
    if isinstance(stated, Mapping):
        stated = [{"question": name, **about} for name, about in stated.items() if isinstance(about, Mapping)]
    rows = [row for row in stated if isinstance(row, Mapping)] if isinstance(stated, list | tuple) else []
    return {str(row.get("question", "")): row for row in reversed(rows) if row.get("kind", "agreement") in _OF_IT}


_OF_IT = ("", "agreement")


@kept
def full_agreement(study: Study) -> dict[str, int]:
    """Return which end is full agreement with each statement of which the study says it: 1 the lowest, 5 the highest.

    An entry of `questions` says so by `agrees`, else by the words at its ends; of several the first one.
    """
    ends = {name: _agreeing_end(row) for name, row in _statements(study).items()}
    return {name: at for name, at in ends.items() if at}


def agreement_read(study: Study) -> list[tuple[int, bool, str, list[str]]]:
    """Return the statements that were answered: the answer read as full agreement, if it is the lowest, who says so.

    Those without a word about it come last, with nobody; without it the highest is read so.
    """
    answers, said, entries = _named_rows(study, "answers"), full_agreement(study), _statements(study)
    asked = list(dict.fromkeys(answers.loc[answers["kind"] == "agreement", "question"].astype("str")))
    groups: dict[tuple[int, bool, str], list[str]] = {}
    for name in asked:
        row, turned = entries.get(name, {}), said.get(name) == 1
        by = (_BY_WORDS if stated_end(row) and not turned else _BY_STUDY) if name in said else ""
        groups.setdefault((_scale_of(row)[not turned], turned, by), []).append(name)
    order = sorted(groups, key=lambda group: (not group[2], group[1]))
    return [(*group, groups[group]) for group in order]


_BY_STUDY, _BY_WORDS = "as the study says", "as its answers in words or the table of questions say"


def not_understood(study: Study) -> pd.DataFrame:
    """Return `kind question prototype assessor answer` of answers on a scale that are none of its steps."""
    frame = named_rows(study, "answers")
    frame = frame.loc[frame["kind"].isin(ANSWER_ENDS)]
    kinds = [
        rows.loc[answer_points(rows["answer"], *ANSWER_ENDS[str(kind)], allowed=kind == "agreement")[2]]
        for kind, rows in frame.groupby("kind", sort=False)
    ]
    found = pd.concat(kinds or [frame]).sort_index()[["kind", "question", "prototype", "assessor"]]
    return found.assign(answer=study.table("answers")["answer"].reindex(found.index))


ANSWER_ENDS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"liking": (1.0, 9.0), "just_about_right": (1.0, 5.0), "check_all": (0.0, 1.0), "agreement": (1.0, 5.0)}
)
"""Lowest and highest answer of each kind on a scale, as `named_rows` gives them."""


def answer_points(texts: pd.Series, low: float, high: float, *, allowed: bool) -> tuple[np.ndarray, ...]:
    """Return answers as numbers, which say 'don't know' where that is `allowed`, and which are there but neither."""
    code, distinct = pd.factorize(texts.astype("str").str.strip())
    bare = [str(text).casefold().replace("\u2019", "'").replace("\u2018", "'") for text in distinct]
    unknown = np.array([allowed and word in _DONT_KNOW for word in bare], dtype=bool)
    read = read_numbers(["" if skip else str(word) for word, skip in zip(distinct, unknown, strict=True)])
    value = read.values.copy()
    value[~((value >= low) & (value <= high) & (value == np.rint(value)))] = np.nan
    return value[code], unknown[code], (np.isnan(value) & ~unknown & ~read.missing)[code]


_DONT_KNOW = ("don't know", "dont know", "do not know", "no opinion")


def question_words(study: Study, question: str) -> str:
    """Return the sentence as the consumers saw it; the short name where it is not recorded."""
    return str(next((row.get("words", question) for row in asked(study) if row.get("question") == question), question))


def how_chosen(study: Study) -> tuple[str, str]:
    """Return what people would do with the one they chose: keep, in the workshop; empty where asked otherwise.

    Also where several such questions were asked, since a sentence does not say which of them it tells.
    """
    answers = study.table("answers")
    asked_of = answers.loc[answers["kind"] == "preference", "question"].unique()
    words = question_words(study, str(asked_of[0])) if len(asked_of) == 1 else ""
    return chosen_by(words)


def how_said(study: Study, question: str) -> str:
    """Return what was answered by those who agreed: yes, where nothing else but no could be."""
    ends = (str(row.get("high_end", "")) for row in asked(study) if row.get("question") == question)
    if worded(next(ends, ""), wordings("check_all")) == "1":
        return "said yes"
    return f"agreed ({told})" if (told := steps_words(study, question)) else "agreed or agreed strongly"


def steps_words(study: Study, question: str) -> str:
    """Return which answers count as agreeing where it is not 4 and 5 of 1 to 5: 5 to 7 of 1 to 7; else nothing."""
    if question not in agreement_steps(study):
        return ""
    low, high, least = agreement_steps(study)[question]
    ends = (low, low + high - least) if full_agreement(study).get(question) == 1 else (least, high)
    return f"{' to '.join(map(str, dict.fromkeys(ends)))} of {low} to {high}"


def asked(study: Study) -> list[dict[str, object]]:
    """Return the wording of the questions as recorded in the study."""
    stated = study.facts.get("questions", [])
    return [row for row in stated if isinstance(row, dict)] if isinstance(stated, list) else []


FULL = 5  # the point that agrees wholly, where 1 does not


def agreement_words(study: Study) -> tuple[str, list[str]]:
    """Return which point was read as full agreement: what is usual and said, and what is to mind about it."""
    read, usual, odd = agreement_read(study), "", []
    for at, turned, by, names in read:
        said = f"{at} read as full agreement" + (f" with {first_few(names)}" if len(read) > 1 else "")
        if by and not turned:
            usual += f" {said}, {by}."
        else:
            odd.append(said + (f", {by}." if by else ". Nothing in the study says so."))
    for name in chain(*(names for *_, names in read)):
        usual += f" With {name} {told} count as agreeing." if (told := steps_words(study, name)) else ""
    return usual.strip(), odd


def _agreeing_end(row: Mapping[str, Any]) -> int:
    """Return the end that an entry says is full agreement: 1 the lowest, 5 the highest; 0 where it states none."""
    return stated_end(row) or agreeing_end(str(row.get("low_end", "")), str(row.get("high_end", "")))


def stated_end(row: Mapping[Any, Any]) -> int:
    """Return the end that `agrees` of an entry says is full agreement: 1 the lowest, 5 the highest; 0 for none."""
    stated = dict(zip(map(str, _scale_of(row)), (1, FULL), strict=True))
    return stated.get(str(row.get("agrees", "")), 0)


def _named_rows(study: Study, table: str) -> pd.DataFrame:
    frame = study.table(table)
    lacking = _lacking(study.numbered if table == "scores" else Numbered(frame), table)
    return frame if lacking is None else frame.loc[~lacking]


def _lacking(numbered: Numbered, table: str) -> np.ndarray | None:
    """Return the rows of a table that do not say whose they are, or of what; None where all say it."""
    found = [blank for column in _NEEDED[table] if (blank := _blank(*numbered[column])) is not None]
    if len(numbered["session"][1]) > 1 and (session := _blank(*numbered["session"])) is not None:
        of_answers = table == "answers"
        question = numbered.rows[["kind", "question"]].apply(tuple, axis=1) if of_answers else np.zeros(len(session))
        found.append(session & ~pd.Series(session).groupby(np.asarray(question)).transform("all").to_numpy())
    return np.logical_or.reduce(found) if found else None


def _blank(code: np.ndarray, names: Sequence[Any]) -> np.ndarray | None:
    """Return which cells are blank, None where none is."""
    blank = np.array([not str(name).strip() for name in names], dtype=bool) | pd.isna(np.array(names, dtype=object))
    return blank[code] if blank.any() else None


def _outside_scale(study: Study, scores: pd.DataFrame) -> pd.Series:
    """Return True for each score below the lowest or above the highest possible one."""
    code, names = _numbered(study, scores)["attribute"]
    limits = np.array([limits or (-np.inf, np.inf) for limits in study.scales(names)]).reshape(-1, 2)
    values = scores["score"].to_numpy(dtype=float)
    outside = (values < limits[code, 0]) | (values > limits[code, 1])
    return pd.Series(outside, index=scores.index, dtype=bool)


def _rules(study: Study) -> list[dict[str, str]]:
    stated = study.facts.get("rules", [])
    return [rule for rule in stated if isinstance(rule, dict)] if isinstance(stated, list) else []


def _with_corrections(
    study: Study, frame: pd.DataFrame, why: pd.Series, changed: pd.Series
) -> tuple[pd.DataFrame, pd.Series, pd.Series]:
    """Apply the corrections of the scores table in their order; the last one on a score counts."""
    corrections = study.table("corrections")
    corrections = corrections.loc[corrections["table"] == "scores"]
    if corrections.empty:
        return frame, why, changed
    frame, why, changed = frame.copy(), why.copy(), changed.copy()
    new = read_numbers(corrections["new"]).values
    for (_, row), value in zip(corrections.iterrows(), new, strict=True):
        chosen = _rows_of_key(frame, str(row["key"]))
        reason = f"{row['why']} ({row['who']}, {row['when']})"
        if np.isnan(value):
            why.loc[chosen] = reason
        else:
            frame.loc[chosen, "score"] = float(value)
            why.loc[chosen] = ""
            changed.loc[chosen] = reason
    return frame, why, changed


def rows_corrected(study: Study) -> set[int]:
    """Return the rows of the scores, counted from 0, that a written correction names."""
    corrections = study.table("corrections")
    keys = corrections.loc[corrections["table"] == "scores", "key"]
    return {int(row) for key in keys for row in np.flatnonzero(_rows_of_key(study.scores, str(key)))}


def _rows_of_key(frame: pd.DataFrame, key: str) -> pd.Series:
    """Return True for the rows that `key` names: `column=value` pairs separated by `;`, none if it names none."""
    chosen = pd.Series(data=True, index=frame.index)
    for pair in key.split(";"):
        column, _, value = pair.partition("=")
        if column.strip() not in frame.columns:
            return pd.Series(data=False, index=frame.index)
        cells, told = frame[column.strip()], value.strip()
        told += ".0" if told.isdecimal() and pd.api.types.is_float_dtype(cells) else ""  # a line is 724, not 724.0
        chosen &= cells.astype("str").str.strip() == told
    return chosen


@cache
def _nothing() -> pd.DataFrame:
    """Return the list of no scores."""
    kinds = dict.fromkeys(_SET_ASIDE_COLUMNS, "str") | {"row": "int64", "score": "float64"}
    return pd.DataFrame({column: pd.Series(dtype=kind) for column, kind in kinds.items()})


def _listed(frame: pd.DataFrame, why: pd.Series, chosen: pd.Series) -> pd.DataFrame:
    rows = frame.loc[chosen].assign(row=lambda part: part.index + 2, why=why[chosen])
    return rows[_SET_ASIDE_COLUMNS].reset_index(drop=True)


# How is a score corrected or set aside without being lost? By a written correction; the score itself stays.


PLACE_COLUMNS = ("assessor", "session", "replicate", "prototype", "attribute")
_PLACE_WORDS = "assessor, session, replicate, prototype and attribute"


def with_correction(study: Study, place: Mapping[str, str], *, new: str, who: str, why: str, when: str) -> Study:
    """Return the study with one more row in its table of corrections.

    Parameters
    ----------
    place
        Which score: `assessor`, `prototype`, `attribute` and, where the scores have them, `session`, `replicate`.
    new
        The right value as text, with a decimal point or comma; empty sets the score aside.
    who, why, when
        Who corrects it, for what reason, and when (ISO 8601).

    Raises
    ------
    StudyError
        If `who` or `why` is missing, the place names no score or more than one, or `new` is no number.
    """
    if not who.strip() or not why.strip():
        raise StudyError("A correction needs a name and a reason. Write who corrects the score, and why.")
    value = typed_number(new, "The new score")
    key = "; ".join(f"{column}={place[column].strip()}" for column in PLACE_COLUMNS if place.get(column))
    chosen = _rows_of_key(study.scores, key)
    if chosen.sum() != 1:
        if not chosen.any():
            raise StudyError(f"'{key}' names no score of this study. Choose {_PLACE_WORDS} so that they name one.")
        rows = (chosen.to_numpy().nonzero()[0] + 2).tolist()
        raise StudyError(
            f"'{key}' names {len(rows)} scores of this study, in rows {first_few(rows)}. Choose {_PLACE_WORDS} so that "
            f"they name one, or name its row (afterfeel set STUDY correct row={rows[-1]} new=...)."
        )
    row = {
        "when": when,
        "who": who.strip(),
        "table": "scores",
        "key": key,
        "old": _value_before(study, int(chosen.to_numpy().argmax())),
        "new": _written(value),
        "why": why.strip(),
    }
    corrections = study.table("corrections")
    longer = pd.concat([corrections, pd.DataFrame([row], dtype="str")], ignore_index=True).fillna("").astype("str")
    return replace(study, tables={**study.tables, "corrections": longer})


def _value_before(study: Study, row: int) -> str:
    """Return the value of a score before this correction: that of the last one before it, else the score itself."""
    earlier = study.table("corrections")
    earlier = earlier.loc[earlier["table"] == "scores"]
    for key, new in zip(earlier["key"].iloc[::-1], earlier["new"].iloc[::-1], strict=True):
        if _rows_of_key(study.scores, key).iloc[row]:
            return str(new)
    score = float(study.scores["score"].iloc[row])
    return "" if math.isnan(score) else _written(score)


def _written(value: float | None) -> str:
    """Return a number so that it is read back as the same one: three decimals alone look like a thousands mark."""
    if value is None:
        return ""
    text = repr(value)
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text


# Which differences between prototypes were planned before the scores were seen? The study's fact of that name.


HOW = (
    "Write it into planned_differences as a row: prototype P2, versus P1, attribute AF_GREASE; without an attribute it "
    "holds for all."
)
_KEYS = ("prototype", "versus", "attribute")


def stated_differences(study: Study) -> tuple[tuple[tuple[str, str, str], ...], tuple[tuple[str, str], ...]]:
    """Return the differences that `study` says were planned, and of those that cannot be read what is wrong.

    Each difference is prototype, versus and attribute, empty where it was planned on every attribute. Each
    problem is what is wrong and what to do. Nothing that is stated makes it raise.
    """
    stated = study.facts.get("planned_differences", [])
    if not isinstance(stated, list):
        return (), (("The planned differences are not a list, so none is read.", HOW),)
    kept: list[tuple[str, str, str]] = []
    problems = []
    for number, entry in enumerate(stated, start=1):
        why, advice = _why_not(study, entry, kept)
        if why:
            problems.append((f"Planned difference {number} is not read: {why}.", advice))
        else:
            kept.append(_difference(entry))
    return tuple(kept), tuple(problems)


def _difference(entry: dict[str, Any]) -> tuple[str, str, str]:
    prototype, versus, attribute = (str(entry.get(key, "")) for key in _KEYS)
    return prototype, versus, attribute


def _why_not(study: Study, entry: Any, kept: list[tuple[str, str, str]]) -> tuple[str, str]:
    """Return why an entry cannot be read and what to do, both empty if it can."""
    if not isinstance(entry, dict):
        return "it is no object with a prototype and a versus", HOW
    unknown = [str(key) for key in entry if key not in _KEYS]
    if unknown:
        return f"{unknown[0]!r} has no meaning here", "Use prototype, versus and, if need be, attribute."
    needed = {key: entry.get(key, "" if key == "attribute" else None) for key in _KEYS}
    wrong = [key for key, value in needed.items() if not isinstance(value, str) or (key != "attribute" and not value)]
    if wrong:
        return f"its {wrong[0]} is missing or no text", HOW
    prototype, versus, attribute = _difference(entry)
    for name in (prototype, versus):
        if name not in study.prototypes:
            return f"the study has no prototype {name!r}", f"Choose among {', '.join(study.prototypes)}."
    if prototype == versus:
        return f"{prototype} is compared with itself", "Name another prototype under versus."
    if attribute and attribute not in study.attributes:
        return f"the study has no attribute {attribute!r}", f"Choose among {', '.join(study.attributes)}."
    if any(_same((prototype, versus, attribute), earlier) for earlier in kept):
        return "it is stated before, and counts once", "Take one of the two out."
    return "", ""


def _same(one: tuple[str, str, str], other: tuple[str, str, str]) -> bool:
    """Return whether two differences ask the same, either way round, or one holds the other."""
    return {*one[:2]} == {*other[:2]} and (one[2] == other[2] or not one[2] or not other[2])


# Which serving and which batch each score comes from.


def serving_of_score(study: Study, scores: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Return the position and the site of the serving behind each score, as far as they are known."""
    key = ["session", "assessor", "prototype"]
    servings = study.table("servings")
    if servings.empty:
        return scores["position"], pd.Series("", index=scores.index, dtype="str")
    served = list(zip(*(servings[name].tolist() for name in key), strict=True))
    times = Counter(served)
    place = {serving: row for row, serving in enumerate(served) if times[serving] == 1}
    rows = np.array([place.get(own, -1) for own in zip(*(scores[name].tolist() for name in key), strict=True)], np.intp)
    position = pd.Series(np.append(servings["position"].to_numpy(float), np.nan)[rows], index=scores.index)
    site = pd.array([*servings["site"].tolist(), ""], dtype="str").take(
        rows
    )  # the last is that of a score without serving
    return scores["position"].fillna(position), pd.Series(site, index=scores.index, name="site")


@kept
def orders_uneven(study: Study) -> bool:
    """Return whether the orders of serving tie prototypes to positions more than orders drawn by lot would.

    In fewer than one drawing of twenty, that is, and by the orders alone: no score is asked. A person who keeps one
    order counts once. False where some position is not known.
    """
    used = scores_used(study).numbered
    position, place = pd.factorize(serving_of_score(study, used.frame)[0])
    if len(place) < 2 or (position < 0).any():
        return False
    of_person = [used[column][0] for column in ("assessor", "session", "replicate")]
    sitting = pd.factorize(pd.MultiIndex.from_arrays(of_person))[0]
    served = pd.DataFrame({"who": of_person[0], "sitting": sitting, "what": used["prototype"][0], "place": position})
    served = served.drop_duplicates().sort_values(["sitting", "place", "what"])
    orders = served.groupby("sitting")[["who", "what", "place"]].agg(tuple)
    once = served["sitting"].isin(orders.index[~orders.duplicated()])
    return bool(below(chance_by_lot(*served.loc[once, ["sitting", "what", "place"]].to_numpy().T)))


def batch_of_score(study: Study, scores: Numbered) -> tuple[np.ndarray, list[str]]:
    """Return the number of the batch each score comes from: as named, else the only one of its prototype, else empty.

    Where only some scores of a prototype name their batch, and it has several, none of them counts as named.
    """
    own: dict[str, set[str]] = {}
    for name, batch in zip(*study.listed("batches", "prototype", "batch"), strict=True):
        if name and batch:
            own.setdefault(name, set()).add(batch)
    named, batches = scores["batch"]
    if not own and batches in ([], [""]):
        return named, batches
    prototype, names = scores["prototype"]
    words = list(dict.fromkeys(["", *batches, *(batch for some in own.values() for batch in some)]))
    number = {word: place for place, word in enumerate(words)}
    single = [number[next(iter(own[name]))] if len(own.get(name, ())) == 1 else 0 for name in names]
    batch_named = np.array([number[word] for word in batches], dtype=np.intp)[named]
    code = np.where(batch_named > 0, batch_named, np.array(single, dtype=np.intp)[prototype])
    unsure = np.bincount(prototype, code == 0, minlength=len(names)) > 0
    code, there = pd.factorize(np.where(unsure[prototype], 0, code))
    return code, [words[place] for place in there]
