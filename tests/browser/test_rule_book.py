"""The rule book as the pages speak of it, and twelve months against the twelve before."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import pytest

from dashboards.rule_book import Rule, RuleBook
from dashboards.standing import compare_years


def make_rule(months: int, duty: str = "look", counts: str = "unit", in_any: bool = True) -> Rule:
    return Rule(f"x-{duty}", duty, duty, counts, months, "C", in_any)


@pytest.mark.parametrize(
    ("months", "said"), [(1, "[C] every month"), (18, "[C] every 18 months"), (12, "[C] every year"), (120, "[C] every 10 years")]
)
def test_rule_says_how_often(months, said):
    assert make_rule(months).mark == said


def test_rule_book_names_orders_and_groups():
    book = RuleBook(
        (make_rule(60, "sample", "group", False), make_rule(120, "test"), make_rule(1, "look"), make_rule(12, "service"))
    )
    assert sorted(["sample", "test", "look", "service", "*"], key=book.order_duty) == ["*", "look", "service", "test", "sample"]
    assert book.name_any() == "any of the three duties" and book.list_any() == "look, service or test"
    assert book.is_group("sample") and not book.is_group("test") and book.say_subjects("sample", 2) == "2 sample groups"
    assert RuleBook((make_rule(1, "look"),)).name_any() == "look"


def test_years_are_compared_from_month_to_month_and_only_when_whole():
    def make_months(number: int) -> list[SimpleNamespace]:
        ends = [(2026 * 12 + 9 - k) for k in range(number)][::-1]
        return [
            SimpleNamespace(duty="*", month_end=date(m // 12, m % 12 + 1, 14), overdue_unit_days=m // 12 - 2020, unit_days=100)
            for m in ends
        ]

    pair = compare_years(make_months(30))
    assert pair.since == date(2025, 11, 1)
    assert (pair.now_pct, pair.before_pct) == (pytest.approx(70 / 12), pytest.approx(58 / 12))
    assert compare_years(make_months(23)) is None and compare_years([]) is None
