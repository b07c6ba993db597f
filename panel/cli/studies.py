"""Commands about the study itself: import, check, app."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from panel.cli.shared import (
    json_option,
    open_path,
    print_findings,
    print_json,
    study_argument,
)

if TYPE_CHECKING:
    from panel.study.scores_import import ImportedScores
    from panel.study.study import RawFile


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--assessor", default="", metavar="C", help="Column with the assessors.")
@click.option("--prototype", default="", metavar="C", help="Column with the prototypes.")
@click.option("--replicate", default="", metavar="C", help="Column with the replicates.")
@click.option("--session", default="", metavar="C", help="Column with the sessions.")
@click.option("--position", default="", metavar="C", help="Column with the places in the serving order.")
@click.option("--attribute", default="", metavar="C", help="Long table: column with the attributes.")
@click.option("--score", default="", metavar="C", help="Long table: column with the scores.")
@click.option(
    "--decimal", type=click.Choice([".", ","]), default=None, help="Decimal sign; decided by column if not given."
)
@click.option(
    "--fill-down", is_flag=True, help="A blank assessor, prototype, attribute or session is the one above it."
)
@click.option("--benchmark", default="", metavar="PROTOTYPE", help="The prototype the others are compared with.")
@click.option("--sheet", default="", help="Sheet of a workbook; the first one if not given.")
@click.option("--scale-min", type=float, default=None, help="Lowest possible score.")
@click.option("--scale-max", type=float, default=None, help="Highest possible score.")
@click.option("--title", default="", help="What the study is called; the name of the file if not given.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Study folder to make.")
@click.option("--overwrite", is_flag=True, help="Replace the study that is there.")
@json_option
def import_scores(
    file: Path,
    decimal: str | None,
    fill_down: bool,
    benchmark: str,
    sheet: str,
    scale_min: float | None,
    scale_max: float | None,
    title: str,
    out: Path,
    overwrite: bool,
    as_json: bool,
    **columns: str,
) -> None:
    """Make a study folder from any CSV or XLSX table of scores, long or wide.

    Columns that are not named are guessed from their headings; what was used is printed.
    """
    from panel.checks.all_checks import check_study
    from panel.checks.finding import findings_table
    from panel.study.folder import write_study
    from panel.study.scores_import import study_from_scores

    raw, imported = _read_file(file, sheet, columns, decimal or "", fill_down=fill_down)
    study = study_from_scores(imported, raw, title or file.stem, scale_min, scale_max, benchmark)
    write_study(study, out, overwrite=overwrite)
    found = check_study(study)
    content = {
        "rows": len(study.scores),
        "attributes": study.attributes,
        "prototypes": study.prototypes,
        "benchmark": study.benchmark,
        "assessors": study.assessors,
        "sha256": raw.sha256,
        "done": imported.notes,
        "findings": findings_table(found),
    }
    if as_json:
        print_json(content)
        return
    for sentence in imported.notes:
        click.echo(sentence)
    click.echo(f"The study is in {out}; the file itself is kept in it (SHA-256 {raw.sha256}).")
    print_findings(found)


def _read_file(
    file: Path, sheet: str, columns: dict[str, str], decimal: str, *, fill_down: bool
) -> tuple[RawFile, ImportedScores]:
    """Read a table of scores, columns not named being guessed."""
    from dataclasses import replace

    from panel.study.layout import guess_layout
    from panel.study.raw_table import raw_table, read_raw_file
    from panel.study.scores_import import read_scores

    raw = read_raw_file(file)
    table = raw_table(raw, sheet)
    layout = replace(guess_layout(table, columns), decimal=decimal, fill_down=fill_down)
    return raw, read_scores(table, layout)


@click.command()
@study_argument
@json_option
def check(study: Path, as_json: bool) -> None:
    """Say what is wrong or worth knowing before believing the study."""
    from panel.checks.all_checks import check_study
    from panel.checks.finding import findings_table

    found = check_study(open_path(study))
    if as_json:
        print_json({"findings": findings_table(found)})
    else:
        print_findings(found)
    if any(finding.severity == "stop" for finding in found):
        sys.exit(1)


@click.command()
@click.argument("study", type=click.Path(path_type=Path), required=False)
@click.option("--port", type=int, default=8501, show_default=True, help="Port on this computer.")
@click.option("--browser/--no-browser", default=True, help="Open a browser window.")
def app(study: Path | None, port: int, browser: bool) -> None:
    """Open the app, on STUDY or on the demo study; it answers on this computer only."""
    from panel.app.launch import launch

    sys.exit(launch(str(study) if study else None, port, browser=browser))
