"""What the commands share: arguments, opening a study, printing."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import pandas as pd

    from panel.study.shown import Shown
    from panel.study.study import Study
    from panel.views.told import Told


_SMALL = 1_000_000  # bytes


def _without_arrow(_: click.Context, __: click.Parameter, path: Path) -> Path:
    """Do without Arrow where the study is small: to load it takes longer than to read a study without it."""
    files = path.glob("*.csv") if path.is_dir() else [path]
    if "pandas" not in sys.modules and sum(file.stat().st_size for file in files if file.is_file()) <= _SMALL:
        sys.modules.setdefault("pyarrow", None)  # type: ignore[arg-type]  # Python's own way to say that it is not there
    return path


study_argument = click.argument("study", type=click.Path(path_type=Path), callback=_without_arrow)
all_option = click.option("--all", "everything", is_flag=True, help="Also what else there is to say.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")


def open_path(path: Path) -> Study:
    """Return the study at a path."""
    from panel.study.open_study import open_study

    return open_study(path)


def tell(words: object, *, err: bool = False) -> None:
    """Print words, of which none can steer the terminal: control signs and turning signs are shown as `\ufffd`."""
    from panel.words import plain_text

    click.echo("\n".join(map(plain_text, str(words).split("\n"))), err=err)


def print_json(content: dict[str, Any]) -> None:
    """Print one JSON object; frames become lists of rows. Signs that could steer a terminal are written as escapes."""
    from panel.words import plain_text

    text = _json_text(content)
    if not text.isascii():
        doubtful = {sign for sign in set(text) if sign != "\n" and plain_text(sign) != sign}
        text = text.translate({ord(sign): json.dumps(sign)[1:-1] for sign in doubtful})
    click.echo(text)


def parts_of(result: object, *names: str) -> dict[str, Any]:
    """Return these fields of a result, as data."""
    return {name: getattr(result, name) for name in names}


def told_level() -> dict[str, float]:
    """Return the level of every interval, as data."""
    from panel.stats.comparing.multiplicity import LEVEL

    return {"level": LEVEL}


def print_lines(*lines: str) -> None:
    """Print lines of text."""
    for line in lines:
        tell(line)


def print_table(table: pd.DataFrame) -> None:
    """Print a display table."""
    tell(table.to_string(index=False))
    click.echo()


def print_told(told: Told, *, everything: bool = False, brief: bool = False) -> None:
    """Print what is told of an answer: the sentence that answers, what to mind, its table; all of it if asked for.

    `brief`: one of several answers, of which only the sentence that answers and the first to mind are printed.
    """
    from panel.views.told import Picture

    print_lines(told.headline, *told.mind[: 1 if brief else None], "")
    if told.table is not None and not brief:
        print_lines(told.shown(told.table).title)
        _print_shown(told.shown(told.table))
    if not everything:
        return
    for each in told.every_drawer():
        items = [item for item in each.items if not isinstance(item, Picture) and item is not told.table]
        if not items:  # a picture, or the table that stands above
            continue
        print_lines(each.title, "")
        for item in items:
            if isinstance(item, str):
                click.echo(item)
            else:
                _print_shown(told.shown(item))
        click.echo()


def _print_shown(shown: Shown) -> None:
    if len(shown.texts):
        print_table(shown.texts)
    else:
        print_lines(shown.table.none or "None.", "")


def tell_how_days_are_given(texts: Iterable[str]) -> None:
    """Print the command for what sentences ask for: the days of the sessions."""
    from panel.checks.moments_recorded import GIVE_DAYS

    if any(GIVE_DAYS in text for text in texts):
        print_lines("""The days by command: afterfeel set STUDY dates '{"1": "2026-03-10"}'""")


# Results as plain data for other programs: numbers unrounded, what is missing as null.


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as dictionaries of plain Python values, NaN and infinity as None."""
    columns = {str(name): [_plain(value) for value in frame[name]] for name in frame.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _json_text(content: Mapping[str, Any]) -> str:
    """Return one JSON object as text; frames within it, however deep, become lists of rows."""
    import pandas as pd

    def as_plain(value: object) -> object:
        return records(value) if isinstance(value, pd.DataFrame) else str(value)

    return json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1, default=as_plain)


def _plain(value: object) -> object:
    import numpy as np
    import pandas as pd

    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return None if value is pd.NA else value
