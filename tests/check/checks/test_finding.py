from bite.check.finding import Finding, Severity, worst_first


def test_worst_first_keeps_the_order_of_equals():
    given = [Finding("a", Severity.OK, ""), Finding("b", Severity.FAIL, ""), Finding("c", Severity.WARN, "")]
    given += [Finding("d", Severity.FAIL, ""), Finding("e", Severity.NOTE, "")]
    assert [f.code for f in worst_first(given)] == ["b", "d", "c", "e", "a"]
