"""Sentences on the demo in free voices: shop page, social post, dossier, trade magazine, teacher.

By two writers who saw nothing but what was tested and found, verdicts first (common practice, no source): 80 of the 120
true ones were refused when first read, none of the 120 others was supported. Then, by who wrote the rules that read
them, what those might let through, and some true ones (`sentences_freely_attacked`). Those refused now stand in
`sentences_lost.csv`.
"""

import csv
from functools import cache
from pathlib import Path

import pytest

from panel.claims.judge import judge_drafts
from panel.claims.verdict import AS_WORDED
from tests.blend_studies import DEMO
from tests.claims.claim_studies import newly_refused

FREELY, ATTACKED = "sentences_told_freely.csv", "sentences_freely_attacked.csv"


@cache
def told(file):
    """Return each row of a file beside whether it may be said."""
    with Path(__file__).with_name(file).open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    drafts = judge_drafts(DEMO, rows)
    return [(row, draft.verdict in AS_WORDED) for row, draft in zip(rows, drafts, strict=True)]


@pytest.mark.parametrize("file", [FREELY, ATTACKED])
def test_nothing_that_may_not_be_said_is_supported(file):
    refused = [(row["claim"], said) for row, said in told(file) if row["verdict"] == "refused"]
    assert len(refused) >= NEVER[file]
    assert [claim for claim, said in refused if said] == []


@pytest.mark.parametrize("file", [FREELY, ATTACKED])
def test_true_sentences_that_were_read_are_read_still(file):
    assert newly_refused(file, told(file)) == []
    assert sum(said for _, said in told(file)) >= READ[file]


NEVER, READ = {FREELY: 120, ATTACKED: 310}, {FREELY: 45, ATTACKED: 90}
