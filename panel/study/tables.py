"""Which tables a study has, which columns each table has, and what a row of it is."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

DESCRIPTION = "datapackage.json"
"""The file of a study folder that describes its tables and states its facts."""

# How a column and a table of a study are described, and the columns that several tables share.


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a study table, or one fact of the whole study: its name, its kind, and what it holds.

    A column is text, number, integer or date; the kinds of facts are those of `panel.study.facts.KINDS`.
    """

    name: str
    kind: str
    meaning: str
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a study: what a row is, its columns, the columns that together name a row, whether it only grows."""

    name: str
    row: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    grows: bool = False

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns in their order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """Return the column called `name`; KeyError if the table has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def _text(name: str, meaning: str, *, required: bool = False, choices: tuple[str, ...] = ()) -> Column:
    """Return a column of texts."""
    return Column(name, "text", meaning, required, choices)


def _number(name: str, meaning: str, *, required: bool = False) -> Column:
    """Return a column of numbers."""
    return Column(name, "number", meaning, required)


_PROTOTYPE = _text("prototype", "short name of the prototype", required=True)
_ASSESSOR = _text("assessor", "code of the person, never a name", required=True)
_ATTRIBUTE = _text("attribute", "short name of the attribute", required=True)
_SESSION = _text("session", "which sitting")
_POSITION = Column("position", "integer", "place in the serving order, 1 is first")


# What is prepared before anybody scores: prototypes, batches, formulas, attributes, assessors, servings.


PREPARED = (
    Table(
        "prototypes",
        "one prototype",
        (
            _PROTOTYPE,
            _text("name", "what it is called in words"),
            _text("role", "its part in the study", choices=("prototype", "benchmark", "reference", "untreated")),
            _text("note", "anything worth keeping"),
        ),
        key=("prototype",),
    ),
    Table(
        "batches",
        "one making of a prototype",
        (
            _text("batch", "batch number", required=True),
            _PROTOTYPE,
            Column("made_on", "date", "date, or date and time, of making"),
            Column("tested_on", "date", "date, or date and time, of the first test"),
            _number("size_g", "batch size in g"),
            _number("ph", "pH"),
            _number("viscosity_mpa_s", "viscosity in mPa s"),
            _text("viscosity_method", "spindle, speed and temperature"),
            _text("note", "anything worth keeping"),
        ),
        key=("batch",),
    ),
    Table(
        "formulas",
        "one ingredient in one prototype",
        (
            _PROTOTYPE,
            _text("ingredient", "INCI name", required=True),
            Column("percent", "number", "per cent by mass", required=True),
            _text("phase", "phase of the formula, A, B, C ..."),
            _text(
                "kind",
                "what it does in the formula",
                choices=("emollient", "emulsifier", "structurant", "humectant", "other"),
            ),
        ),
    ),
    Table(
        "attributes",
        "one attribute",
        (
            _ATTRIBUTE,
            _text("name", "what it is called in words"),
            _text(
                "stage",
                "when it is judged",
                choices=("appearance", "pick-up", "rub-out", "after-feel", "later after-feel", "any"),
            ),
            _number(
                "minutes", "minutes after the end of rubbing, or after the moment that its name or the study states"
            ),
            _text("definition", "what is judged"),
            _text("procedure", "how it is judged"),
            _text("low_end", "words at the low end of the scale"),
            _text("high_end", "words at the high end of the scale"),
            _number("scale_min", "lowest possible score"),
            _number("scale_max", "highest possible score"),
            _text("direction", "what is wanted", choices=("more", "less", "target", "describe")),
            _number("target_low", "lower end of the target window"),
            _number("target_high", "upper end of the target window"),
            _number("margin", "smallest difference that matters on this attribute, where it is not the study's"),
            _number("weight", "how much it counts in a decision"),
            _text("must_have", "whether a prototype outside the window is out", choices=("yes", "no")),
            _text("partner", "the instrument reading that goes with it"),
            _text("unit", "unit of the scores where something is measured, such as s for seconds"),
            Column(
                "test_order",
                "integer",
                "place in the order of testing, fixed before the first score: 1 is primary; what shares a number is "
                "tested together, the next only if all before differ; without a number last",
            ),
            Column("test_order_at", "date", "when that place was fixed; filled in on saving"),
        ),
        key=("attribute",),
    ),
    Table(
        "assessors",
        "one person, by code",
        (
            _ASSESSOR,
            _text("kind", "trained assessor or consumer", choices=("trained", "consumer")),
            _text("group", "a group the person belongs to"),
            _text("avoid", "allergens to keep away from this person, separated by ;"),
        ),
        key=("assessor",),
    ),
    Table(
        "servings",
        "one sample put before one person",
        (
            _text("session", "which sitting", required=True),
            _ASSESSOR,
            Column("position", "integer", "place in the serving order, 1 is first", required=True),
            _PROTOTYPE,
            _text("code", "three-digit blind code", required=True),
            _text("site", "where on the skin"),
        ),
        key=("session", "assessor", "position"),
    ),
)


# What people and instruments say: scores, answers, readings, and what runs over time.


CANNOT_JUDGE = "cannot judge"
"""Flag of a score that the assessor could not give."""

COLLECTED = (
    Table(
        "scores",
        "one score",
        (
            _ASSESSOR,
            _PROTOTYPE,
            _ATTRIBUTE,
            Column("score", "number", "the score given", required=True),
            _SESSION,
            _text("replicate", "which repetition"),
            _POSITION,
            _text("batch", "batch number"),
            Column("recorded_at", "date", "date and time of entry"),
            _text("source", "typed, scanned, ballot, imported or rehearsal; or the file, of one brought in later"),
            Column("raw_line", "integer", "line of the file it came in with, its heading counted"),
            _text("flag", f"early, late, no clock, out of order, or {CANNOT_JUDGE}"),
        ),
    ),
    Table(
        "answers",
        "one consumer answer",
        (
            _ASSESSOR,
            _PROTOTYPE,
            _text("question", "short name of the question", required=True),
            _text(
                "kind",
                "kind of question",
                required=True,
                choices=(
                    "liking",
                    "just_about_right",
                    "check_all",
                    "agreement",
                    "preference",
                    "paired",
                    "triangle",
                    "duo_trio",
                    "three_afc",
                    "tetrad",
                ),
            ),
            _text(
                "answer",
                "the answer given: for preference and paired the prototype chosen (preference: or 'no preference'); "
                "for triangle, duo_trio, three_afc and tetrad 1 right, 0 wrong",
                required=True,
            ),
            _SESSION,
            _POSITION,
            _text(
                "versus",
                "the other prototype of a choice between two; position 1: prototype tried first, 2: versus tried first",
            ),
            _text("replicate", "which repetition"),
        ),
    ),
    Table(
        "readings",
        "one instrument reading",
        (
            _PROTOTYPE,
            _text("measure", "what was measured", required=True),
            _text("unit", "unit of the value", required=True),
            _number("value", "the value read", required=True),
            _text("batch", "batch number"),
            _text("repeat", "which repetition"),
            _number("temperature_c", "temperature in degrees Celsius"),
            _text("note", "anything worth keeping"),
        ),
    ),
    Table(
        "curves",
        "one point of a measured curve",
        (
            _PROTOTYPE,
            _text("kind", "kind of curve", required=True, choices=("flow", "force")),
            _number("x", "value along the curve", required=True),
            _text("x_unit", "unit of x", required=True),
            _number("y", "value measured", required=True),
            _text("y_unit", "unit of y", required=True),
            _text("repeat", "which repetition"),
        ),
    ),
    Table(
        "courses",
        "one point of one person's course of intensity over time",
        (
            _ASSESSOR,
            _PROTOTYPE,
            _ATTRIBUTE,
            _number("seconds", "seconds after the start", required=True),
            _number("score", "intensity at that moment", required=True),
            _SESSION,
            _text("replicate", "which repetition"),
        ),
    ),
    Table(
        "dominances",
        "one moment at which another sensation became dominant for one person",
        (
            _ASSESSOR,
            _PROTOTYPE,
            _number("seconds", "seconds after the start", required=True),
            _text("attribute", "the sensation dominant from then on; 'stop' at the end", required=True),
            _SESSION,
            _text("replicate", "which repetition"),
        ),
    ),
)


# What is put on record beside the data: corrections, safety, unblindings, own values, decisions, claims.


_RECORDED = (
    Table(
        "corrections",
        "one change to a score, never deleted",
        (
            Column("when", "date", "date and time of the change", required=True),
            _text("who", "who made it", required=True),
            _text("table", "which table", required=True),
            _text("key", "which row, as column=value pairs separated by ;", required=True),
            _text("old", "the value before"),
            _text("new", "the value after; empty sets the score aside"),
            _text("why", "the reason", required=True),
        ),
        grows=True,
    ),
    Table(
        "safety",
        "one entry of the safety record, made by a named person",
        (
            _text("item", "item of the checklist", required=True),
            _text("batch", "batch it is for; empty for the whole study"),
            _text("outcome", "what the person stated", required=True, choices=("signed", "not needed", "withdrawn")),
            _text("who", "who stated it", required=True),
            _text("role", "in which role", required=True),
            Column("date", "date", "on which day", required=True),
            _text("document", "the document it rests on"),
            Column("valid_until", "date", "until when it counts"),
            _text("note", "anything worth keeping"),
        ),
        grows=True,
    ),
    Table(
        "reactions",
        "one entry about an adverse reaction",
        (
            _text("reaction", "number of the reaction", required=True),
            Column("when", "date", "when it was seen", required=True),
            _text("who", "who wrote it down", required=True),
            _text("assessor", "code of the person"),
            _text("prototype", "which prototype"),
            _text("batch", "which batch"),
            _text("session", "in which sitting"),
            _text("signs", "what was seen", required=True),
            _text("severity", "how grave", required=True, choices=("mild", "moderate", "serious")),
            _text("action", "what was done", required=True),
            _text("seen_by", "qualified person who saw it"),
            _text("settled", "whether it is settled", choices=("yes", "no")),
            _text("document", "the document about it"),
        ),
        grows=True,
    ),
    Table(
        "unblindings",
        "one opening of the key",
        (
            Column("when", "date", "when the key was opened", required=True),
            _text("who", "who opened it", required=True),
            _text("what", "what was seen", required=True),
            _text("why", "for which reason", required=True),
            _text("locked", "whether the data were locked", required=True, choices=("yes", "no")),
            _text("seal", "seal over this and the entries before", required=True),
        ),
        grows=True,
    ),
    Table(
        "ingredient_values",
        "one value of an ingredient that the user measured herself; it comes before the table value",
        (
            _text("ingredient", "INCI name", required=True),
            _text("property", "which property, named as in the emollient table", required=True),
            _number("value", "the value measured", required=True),
            Column("measured_on", "date", "date of the measurement", required=True),
            _text("method", "how it was measured", required=True),
        ),
    ),
    Table(
        "decisions",
        "one decision about the prototypes, made by a named person; a later change is a new row",
        (
            _text("decision", "number of the decision", required=True),
            _text("chosen", "the prototype chosen; none if none was", required=True),
            _text("runner_up", "the one that came next"),
            _text("reason", "why", required=True),
            _text("not_established", "what the evidence does not establish", required=True),
            _text("who", "who decided", required=True),
            _text("role", "in which role"),
            Column("date", "date", "when", required=True),
            _text("data_hash", "SHA-256 of the study that was decided on, without its decisions", required=True),
            _text("seal", "seal over this and the entries before"),
        ),
        grows=True,
    ),
    Table(
        "claims",
        "one sentence somebody wants to say",
        (
            _text("claim", "the sentence", required=True),
            _text("kind", "kind of claim", required=True),
            _text("prototype", "which prototype it is about"),
            _text("versus", "what it is compared with"),
            _text("attribute", "which attribute it is about"),
            _text("question", "which consumer question it rests on"),
            _number(
                "minutes",
                "minutes after the end of rubbing, or after the moment that the attribute or the study states",
            ),
            _number("margin", "smallest difference that matters"),
            _number("bar", "value that must be reached; a share in per cent where answers are counted"),
            _number("bar_panel", "value the trained panel must stay below, for an absolute negative"),
            _text("competitors", "what nothing is better than, or the range, separated by ;"),
            _text("direction", "which way the sentence says it goes", choices=("more", "less")),
            _text("sides", "one-sided or two-sided test of a difference", choices=("one", "two")),
            _text("ingredient", "INCI name of the ingredient that gets the credit"),
            _text("session_before", "the sitting before, for a change over time"),
            _text("session_after", "the sitting after, for a change over time"),
            _text("family", "claims of one family are adjusted together"),
            _text("media", "where it is to be said"),
            _text("territory", "in which countries it is to be said"),
            _text("owner", "who wants to say it"),
            Column("stamped_at", "date", "when sentence, margin and bar were stamped"),
            _text("stamped_by", "who stamped them"),
            _text("stamp", "seal over the claim as it was stamped"),
            _text("chain", "seal over this stamp and the one before"),
            Column("withdrawn_at", "date", "when it was withdrawn"),
            _text("withdrawn_by", "who withdrew it"),
            _text("withdrawn_because", "why it was withdrawn"),
        ),
        grows=True,
    ),
)


# Which tables a study has, which columns each table has, and what a row of it is.


TABLES = MappingProxyType({table.name: table for table in (*PREPARED, *COLLECTED, *_RECORDED)})

__all__ = ["TABLES", "Column", "Table"]


def heading(column: Column) -> str:
    """Return the heading of a column as people write it: `Viscosity in mPa s`, `Batch size in g`."""
    words = spoken(column.name)
    return words if words == "pH" else words[0].upper() + words[1:]


def spoken(name: str) -> str:
    """Return what a column is called inside a sentence: target from, for target_low."""
    return _HEADINGS.get(name) or name.replace("_", " ")


_HEADINGS = MappingProxyType(
    {
        "viscosity_mpa_s": "viscosity (mPa s)",
        "size_g": "batch size (g)",
        "temperature_c": "temperature (\u00b0C)",
        "ph": "pH",
        "percent": "per cent",
        "ingredient": "ingredient (INCI)",
        "low_end": "words at the low end",
        "high_end": "words at the high end",
        "scale_min": "lowest score",
        "scale_max": "highest score",
        "direction": "wanted",
        "versus": "compared with",
        "target_low": "target from",
        "target_high": "target to",
    }
)
