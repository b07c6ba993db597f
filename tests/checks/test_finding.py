import pytest

from panel.checks.finding import Finding, findings_table


def test_a_severity_is_one_of_three():
    with pytest.raises(ValueError, match=r"severity must be one of .*'stop', 'warning', 'note'.*, not 'grave'"):
        Finding("grave", "kind", "where", "message", "advice")


def test_the_table_puts_the_gravest_first_and_keeps_the_order_within():
    findings = [
        Finding(severity, kind, "w", "m", "a") for severity, kind in (("note", "1"), ("stop", "2"), ("note", "3"))
    ]
    table = findings_table(findings)
    assert list(table.columns) == ["severity", "kind", "where", "message", "advice"]
    assert table["kind"].tolist() == ["2", "1", "3"]
    assert (table.dtypes == "str").all()


def test_no_findings_give_an_empty_table():
    assert list(findings_table([]).columns) == ["severity", "kind", "where", "message", "advice"]
