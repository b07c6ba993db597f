"""Commands that give the results away: report, why, archive."""

from __future__ import annotations

from pathlib import Path

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument

_seed_option = click.option("--seed", type=int, default=1, show_default=True, help="Seed of everything that is drawn.")
_force_option = click.option(
    "--force", "--overwrite", "overwrite", is_flag=True, help="Replace the file that is there."
)
_MOST_ROWS = 40  # rows printed; `--json` has them all


@click.command()
@study_argument
@click.option("--out", required=True, type=click.Path(path_type=Path), help="File: .pdf, .docx, .html or .xlsx.")
@_force_option
@_seed_option
@json_option
def report(study: Path, out: Path, overwrite: bool, seed: int, as_json: bool) -> None:
    """Write the evidence file; the ending of the file says in which form."""
    import hashlib

    from panel.report.contents.evidence import evidence_report
    from panel.report.forms import form_of
    from panel.study.safe_write import refuse_existing, write_file

    form = form_of(out)
    refuse_existing(out, overwrite=overwrite)
    made = evidence_report(open_path(study), rng_seed=seed)
    content = form.make(made)
    write_file(out, content, overwrite=overwrite)
    gaps = [{"part": section.number, "heading": section.heading, "gap": gap} for section, gap in made.gaps()]
    digest = hashlib.sha256(content).hexdigest()
    if as_json:
        print_json({"path": str(out), "sha256": digest, "data_sha256": made.data_hash, "seed": seed, "gaps": gaps})
        return
    print_lines(f"The evidence file is in {out} (SHA-256 {digest}).", "")
    if gaps:
        print_lines("It names these gaps:", *(f"  {gap['part']} {gap['heading']}: {gap['gap']}" for gap in gaps))


@click.command()
@study_argument
@click.argument("number_id", metavar="NUMBER-ID")
@_seed_option
@json_option
def why(study: Path, number_id: str, seed: int, as_json: bool) -> None:
    """Say where a number of the evidence file comes from, such as D-AF_GREASE-P4-P1-estimate."""
    import pandas as pd

    from panel.report.trace import why as trace_back
    from panel.views.decision.evidence_words import trace_headline, trace_lines, what_is_behind
    from panel.views.drawing.plain_data import records

    found = trace_back(open_path(study), number_id, rng_seed=seed)
    if as_json:
        (row,) = records(pd.DataFrame([found.row]))
        content = {
            "number_id": found.number_id,
            "value": row[found.column],
            "column": found.column,
            "table": found.table,
            "row": row,
            "method": found.method,
            "seed": found.seed,
            "rows": [row for rows in found.rows for row in records(rows)],
        }
        print_json(content)
        return
    print_lines(trace_headline(found.number_id, found.value), "")
    print_lines(*trace_lines(found.table, found.column, found.method), "")
    for rows in found.rows:
        print_lines(what_is_behind(rows))
        if len(rows):
            print_table(rows.head(_MOST_ROWS))
        if len(rows) > _MOST_ROWS:
            print_lines(f"{len(rows) - _MOST_ROWS} more; --json gives them all.")


@click.command()
@study_argument
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Zip file to write.")
@_force_option
@_seed_option
@json_option
def archive(study: Path, out: Path, overwrite: bool, seed: int, as_json: bool) -> None:
    """Write everything about a study into one zip: the study, the evidence file in four forms, checksums."""
    from panel.report.archive import write_archive
    from panel.study.safe_write import refuse_existing

    refuse_existing(out, overwrite=overwrite)
    digest = write_archive(open_path(study), out, overwrite=overwrite, rng_seed=seed)
    if as_json:
        print_json({"path": str(out), "sha256": digest, "seed": seed})
        return
    print_lines(f"The archive is in {out} (SHA-256 {digest}).")
