"""What is known about emollients, attributes and cautions before anything is measured: the tables in `shared`.

Every value carries the tag of its source; `sources` says what the tag stands for. A value the user measured
herself (table `ingredient_values` of her study) comes before the value of the shared table.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pandas as pd

from panel.errors import StudyError

_PROPERTIES = (
    "viscosity_mpa_s",
    "spreading_mm2_10min",
    "surface_tension_mn_m",
    "interfacial_tension_mn_m",
    "density_g_ml",
    "melting_c",
    "molar_mass_g_mol",
    "volatile",
    "solid",
)
_NUMBERS = frozenset(
    (
        *_PROPERTIES,
        *(f"{name}_{end}" for name in _PROPERTIES for end in ("low", "high")),
        *("minutes", "early_slack", "late_slack"),
        *("least_assessors", "least_replicates", "least_people", "default_bar", "default_margin"),
    )
)


@cache
def _shared_folder() -> Path:
    """Return the folder with the shared tables: inside the installed package, else beside it in the repository."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_shared", package.parent / "shared"):
        if (folder / "emollients.csv").is_file():
            return folder
    raise StudyError(
        f"The shared tables (emollients.csv and others) were not found in {package / '_shared'} nor in "
        f"{package.parent / 'shared'}. Install the package again, or work from a complete copy of the repository."
    )


@cache
def _read(name: str) -> pd.DataFrame:
    """Read one shared table: text as it stands, the columns of numbers as float."""
    frame = pd.read_csv(_shared_folder() / f"{name}.csv", dtype=str, keep_default_na=False, encoding="utf-8")
    numbers = [column for column in frame.columns if column in _NUMBERS]
    return frame.assign(**{column: frame[column].replace("", "nan").astype(float) for column in numbers})


def shared_table(name: str) -> pd.DataFrame:
    """Return a copy of one table of `shared`, by the name of its file; its README says what each is and holds."""
    return _read(name).copy()


def ingredients() -> pd.DataFrame:
    """Return every known INCI name, emollients first: kind, function, allergen, cautions, source, note."""
    return _ingredients().copy(deep=False)


@cache
def _ingredients() -> pd.DataFrame:
    emollients = _read("emollients")
    first = pd.DataFrame(
        {
            "ingredient": emollients["ingredient"],
            "also_written": emollients["also_written"],
            "kind": "emollient",
            "function": emollients["chemistry"],
            "allergen": emollients["allergen"],
            "cautions": emollients["cautions"],
            "source": emollients["words_source"],
            "note": emollients["note"],
        },
        dtype="str",
    )
    return pd.concat([first, _read("ingredients")], ignore_index=True)


def canonical_ingredient(text: str) -> str | None:
    """Return the INCI name of the shared tables that `text` stands for, or None if it is not known.

    Capitals, spaces and punctuation do not count; words in parentheses may be left out where that leaves no doubt.
    """
    whole, short = _bare(text), _bare(_without_parentheses(text))
    full_names, short_names = _names()
    for key, names in ((whole, full_names), (whole, short_names), (short, full_names), (short, short_names)):
        if key in names:
            return names[key]
    return None


@cache
def _names() -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Return bare name to INCI name: with the words in parentheses, and without them where that is unambiguous."""
    known = ingredients()
    full: dict[str, str] = {}
    short: dict[str, set[str]] = {}
    for ingredient, also_written in zip(known["ingredient"], known["also_written"], strict=True):
        for written in (ingredient, *also_written.split(";")):
            if bare := _bare(written):
                full.setdefault(bare, ingredient)
        short.setdefault(_bare(_without_parentheses(ingredient)), set()).add(ingredient)
    return full, {bare: names.pop() for bare, names in short.items() if len(names) == 1}


def _bare(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(character for character in plain if character.isalnum())


def _without_parentheses(text: str) -> str:
    return re.sub(r"\([^()]*\)", " ", text)


def emollient_value(own: pd.DataFrame, ingredient: str, property_name: str) -> float:
    """Return a property of an ingredient, by the study's own measurement or the shared table; NaN if neither knows it.

    `own` is the table `ingredient_values` of the study, which comes first; of several measurements the latest counts.
    StudyError if `property_name` is none of `_PROPERTIES`.
    """
    if property_name not in _PROPERTIES:
        raise StudyError(f"There is no property called {property_name!r}. Known are: {', '.join(_PROPERTIES)}.")
    if measured := own_measurement(own, ingredient, property_name):
        return measured[0]
    return _shared_values(property_name).get(_same_name(ingredient), float("nan"))


@cache
def _shared_values(property_name: str) -> dict[str, float]:
    known = _read("emollients")
    return dict(zip(known["ingredient"], known[property_name].tolist(), strict=True))


def _same_name(ingredient: str) -> str:
    return canonical_ingredient(ingredient) or _bare(ingredient)


def own_measurement(own: pd.DataFrame, ingredient: str, property_name: str) -> tuple[float, str, str] | None:
    """Return the latest of a study's own measurements, its day and its method; None if there is none.

    Parameters as for `emollient_value`.
    """
    if own.empty:  # it is asked for many ingredients
        return None
    known = own.loc[own["property"].eq(property_name) & own["value"].notna()]
    mine = known.loc[[_same_name(each) == _same_name(ingredient) for each in known["ingredient"]]]
    if mine.empty:
        return None
    last = mine.sort_values("measured_on", kind="stable").iloc[-1]
    return float(last["value"]), str(last["measured_on"]), str(last["method"])


# Which way should an attribute go with a property of the blend? Said before the scores are looked at.


_SIGNS = {"more": 1, "less": -1}


def expected_directions() -> pd.DataFrame:
    """Return `attribute descriptor direction sign source remark`: does the attribute rise (+1) with it, or fall (-1)?

    A copy. The source is a tag of `panel.study.knowledge.sources`; common practice has none.
    """
    frame = _read("expected_directions")
    return frame.assign(sign=frame["direction"].map(_SIGNS).astype("int64"))
