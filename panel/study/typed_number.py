"""What number did somebody type into a field? Read as in a file: a decimal point or comma, never guessed."""

from __future__ import annotations

import math

from panel.errors import StudyError
from panel.study.numbers_read import read_numbers


def typed_number(text: str, what: str) -> float | None:
    """Return the number in a typed text; None if the text is empty.

    Raises
    ------
    StudyError
        If it is no number, or could be two; the message begins with `what`.
    """
    read = read_numbers([text])
    if not read.reasons:
        return None if math.isnan(read.values[0]) else float(read.values[0])
    reason = read.reasons[0]
    if reason.startswith("could be "):
        readings = reason.removeprefix("could be ").partition(":")[0]
        raise StudyError(
            f"{what} cannot be read: {text.strip()!r} could be {readings}. Write it one of these two ways."
        )
    raise StudyError(f"{what} cannot be read: {text.strip()!r} is {reason}. Write it with digits, such as 7.5 or 7,5.")
