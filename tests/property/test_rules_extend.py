"""A rule added to the rule book is carried through spans and figures without further code."""

from __future__ import annotations

import pytest

from pipeline.duties import rules
from tests.conftest import VESSEL_A

ADDED = """
[[rule]]
rule_id = "try-wheeled-examination"
duty = "wheeled_examination"
title = "wheeled examination"
counts = "group"
forms = ["wheeled"]
interval_months = 60
first_basis = "earliest_made_on"
satisfied_by = [{ record = "service", kind = "repair" }]
in_any = false
source = "a made-up rule of this test"
clause = "none"
certainty = "C"
about = "none"

[[rule]]
rule_id = "try-portable-only"
duty = "portable_only"
title = "portable only"
counts = "unit"
forms = ["portable"]
interval_months = 6
first_basis = "service_start"
satisfied_by = [{ record = "service", kind = "recharge" }]
in_any = false
source = "a made-up rule of this test"
clause = "none"
certainty = "C"
about = "none"
"""


@pytest.fixture
def longer_rule_book(monkeypatch):
    kept = rules._regime_bytes
    monkeypatch.setattr(rules, "_regime_bytes", lambda name: kept(name) + ADDED.encode())


def test_each_duty_counts_what_its_rule_asks_of(longer_rule_book, exports, run_on, small_fleet):
    texts = {
        **small_fleet,
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on
            U1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31
            U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01
            W1,{VESSEL_A},powder,wheeled,50,2018-06-01,2020-02-01""",
    }
    _, con = run_on(exports(texts))
    units = dict(
        con.execute(
            "select duty, units from figure.overdue_monthly where month_end = '2026-05-10' and imo_number = '*'"
        ).fetchall()
    )
    assert units == {
        "*": 3, "onboard_check": 3, "annual_service": 3, "pressure_test": 3, "sample_discharge": 2, "wheeled_examination": 1,
        "portable_only": 2,
    }  # fmt: skip
    listed = dict(con.execute("select duty, count(*) from figure.duty_now group by duty").fetchall())
    assert listed == {duty: count for duty, count in units.items() if duty != "*"}


@pytest.mark.parametrize(
    "text, key",
    [
        ('colour = "red"', "colour"),
        ("interval_months = 0", "interval_months"),
        ('interval_months = "12"', "interval_months"),
        ('certainty = "sure"', "certainty"),
        ('satisfied_by = [{ record = "dream" }]', "satisfied_by"),
        ('satisfied_by = [{ record = "service", kind = "polish" }]', "satisfied_by.kind"),
    ],
)
def test_a_slip_in_a_rule_is_one_sentence(text, key):
    from pipeline.errors import UserError

    name = text.split(" =")[0]
    lines = [line for line in ADDED.split("[[rule]]")[1].splitlines() if not line.startswith(name)]
    with pytest.raises(UserError, match=key) as caught:
        rules.read_regime("try.toml", ("[[rule]]\n" + "\n".join(lines) + f"\n{text}\n").encode())
    assert caught.value.slug == "bad-rule" and "try.toml" in str(caught.value)


def test_a_rule_that_lacks_a_key_is_refused():
    from pipeline.errors import UserError

    with pytest.raises(UserError, match="clause"):
        rules.read_regime("try.toml", ADDED.replace('clause = "none"\n', "", 1).encode())


def test_the_macro_for_due_dates_is_what_the_spans_use():
    text = rules.files("pipeline.duties").joinpath("spans.sql").read_text(encoding="utf-8")
    assert "due_date(basis_on, interval_months)" in text and "to_months" not in text
