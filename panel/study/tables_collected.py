"""What people and instruments say: scores, answers, readings, and what runs over time."""

from __future__ import annotations

from panel.study.columns import ASSESSOR, ATTRIBUTE, POSITION, PROTOTYPE, SESSION, Column, Table, number, text

CANNOT_JUDGE = "cannot judge"
"""Flag of a score that the assessor could not give."""

COLLECTED = (
    Table(
        "scores",
        "one score",
        (
            ASSESSOR,
            PROTOTYPE,
            ATTRIBUTE,
            Column("score", "number", "the score given", required=True),
            SESSION,
            text("replicate", "which repetition"),
            POSITION,
            text("batch", "batch number"),
            Column("recorded_at", "date", "date and time of entry"),
            text("source", "typed, scanned, ballot, imported or rehearsal"),
            text("flag", f"early, late, no clock, or {CANNOT_JUDGE}"),
        ),
    ),
    Table(
        "answers",
        "one consumer answer",
        (
            ASSESSOR,
            PROTOTYPE,
            text("question", "short name of the question", required=True),
            text(
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
            text(
                "answer",
                "the answer given: for preference and paired the prototype chosen (preference: or 'no preference'); "
                "for triangle, duo_trio, three_afc and tetrad 1 right, 0 wrong",
                required=True,
            ),
            SESSION,
            POSITION,
            text(
                "versus",
                "the other prototype of a choice between two; position 1: prototype tried first, 2: versus tried first",
            ),
            text("replicate", "which repetition"),
        ),
    ),
    Table(
        "readings",
        "one instrument reading",
        (
            PROTOTYPE,
            text("measure", "what was measured", required=True),
            text("unit", "unit of the value", required=True),
            number("value", "the value read", required=True),
            text("batch", "batch number"),
            text("repeat", "which repetition"),
            number("temperature_c", "temperature in degrees Celsius"),
            text("note", "anything worth keeping"),
        ),
    ),
    Table(
        "curves",
        "one point of a measured curve",
        (
            PROTOTYPE,
            text("kind", "kind of curve", required=True, choices=("flow", "force")),
            number("x", "value along the curve", required=True),
            text("x_unit", "unit of x", required=True),
            number("y", "value measured", required=True),
            text("y_unit", "unit of y", required=True),
            text("repeat", "which repetition"),
        ),
    ),
    Table(
        "courses",
        "one point of one person's course of intensity over time",
        (
            ASSESSOR,
            PROTOTYPE,
            ATTRIBUTE,
            number("seconds", "seconds after the start", required=True),
            number("score", "intensity at that moment", required=True),
            SESSION,
            text("replicate", "which repetition"),
        ),
    ),
    Table(
        "dominances",
        "one moment at which another sensation became dominant for one person",
        (
            ASSESSOR,
            PROTOTYPE,
            number("seconds", "seconds after the start", required=True),
            text("attribute", "the sensation dominant from then on; 'stop' at the end", required=True),
            SESSION,
            text("replicate", "which repetition"),
        ),
    ),
)
