"""No verdict and no reason depends on how fine the scale of the panel is."""

from dataclasses import replace

from pandas.api.types import is_float_dtype

from panel.answers import Answers
from panel.claims.judge import CLAIMS
from panel.study.folder import read_folder
from tests.fine_scale import finer, without_numbers
from tests.report.evidence_studies import DEMO


def test_no_verdict_and_no_reason_depends_on_how_fine_the_scale_is():
    study = read_folder(DEMO)
    claims = study.table("claims").assign(stamp="", stamped_at="", stamped_by="")  # a stamp is over the margin as well
    study = replace(study, tables={**study.tables, "claims": claims})
    coarse, fine = (Answers(each).ask(CLAIMS) for each in (study, finer(study)))
    assert len(set(coarse.claims["verdict"])) > 1
    for name in ("claims", "reasons", "needs", "findings", "numbers", "gaps", "bearing"):
        told, other = (getattr(result, name) for result in (coarse, fine))
        words = [column for column in told if not is_float_dtype(told[column])]
        assert words
        assert [*map(without_numbers, other[words].to_numpy().ravel())] == [
            *map(without_numbers, told[words].to_numpy().ravel())
        ], name
