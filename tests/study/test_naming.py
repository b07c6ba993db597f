"""Words of a study for pictures and tables."""

import pandas as pd

from panel.study.naming import Naming, naming
from panel.study.study import Study


def study(**facts: float) -> Study:
    return Study(
        tables={
            "attributes": pd.DataFrame(
                {
                    "attribute": ["AF_GREASE", "LA_GREASE", "RO_ABS"],
                    "name": ["greasy film", "greasy film", ""],
                    "stage": ["after-feel", "later after-feel", "rub-out"],
                }
            ),
            "prototypes": pd.DataFrame({"prototype": ["P1", "P2"], "name": ["benchmark cream", "P2"]}),
        },
        facts=facts,
    )


def test_words_that_are_not_unique_carry_the_short_name():
    names = naming(study())
    assert names.attribute("AF_GREASE") == "greasy film, AF_GREASE"
    assert names.attribute("RO_ABS") == "RO_ABS"
    assert names.attribute("unknown") == "unknown"
    assert names.stage("LA_GREASE") == "later after-feel"
    assert names.stage("unknown") == ""


def test_prototypes_have_their_name_behind():
    names = naming(study())
    assert names.prototype("P1") == "P1 (benchmark cream)"
    assert names.prototype("P2") == "P2"
    assert names.prototype("P9") == "P9"


def test_the_scale_stands_in_headings():
    assert naming(study(scale_min=0, scale_max=100)).with_scale("Mean") == "Mean (0 to 100)"
    assert naming(study(scale_min=0, scale_max=100)).digits == 1
    assert naming(study(scale_min=0, scale_max=10)).digits == 2
    assert naming(study(scale_min=0.5, scale_max=9)).scale == "0.5 to 9"
    assert naming(study()).with_scale("Mean") == "Mean"


def test_several_scales_give_no_scale():
    tables = {"attributes": study().table("attributes").assign(scale_min=0.0, scale_max=[10.0, 100.0, 100.0])}
    names = naming(Study(tables=tables))
    assert names.scale == ""
    assert names.digits == 1


def test_without_a_study_names_are_short():
    assert Naming().attribute("AF_GREASE") == "AF_GREASE"
