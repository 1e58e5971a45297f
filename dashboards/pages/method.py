"""Method: definitions, formulas with their sources, the rule book in force, cautions.

In: duty.rule, duty.satisfied_by; the texts of method_texts.toml. Out: method.html.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Anchor, Context, Definitions, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages import rule_tables

RULES_SQL = """
    SELECT r.rule_id, r.duty, r.title, r.counts, r.interval_months, r.first_basis, r.anchor, r.source, r.clause, r.certainty,
        r.breach_label, r.about,
        array_to_string(list_sort(list(DISTINCT coalesce(s.kind, CASE WHEN s.is_examination THEN 'an examination' END, 'any ' || s.record))), ', ') AS satisfied_by
    FROM duty.rule AS r LEFT JOIN duty.satisfied_by AS s USING (rule_id) GROUP BY ALL ORDER BY r.duty, r.rule_id"""


def read_texts() -> dict:
    """The page's fixed texts: sections of terms and meanings."""
    return tomllib.loads(files("dashboards").joinpath("pages", "method_texts.toml").read_text(encoding="utf-8"))


def fill_text(text: str, context: Context) -> str:
    """A fixed text with what only the rule book knows."""
    return text.replace("{any_duty}", context.book.name_any()).replace("{any_list}", context.book.list_any())


def say_certainty(mark: str | None) -> str:
    """'P: published text read'."""
    return f"[{mark}] {words.CERTAINTY.get(mark, 'not marked')}" if mark else "not marked"


def write_rule(rule: Any) -> tuple:
    """One rule as a row."""
    return (
        Anchor(words.say_capital(rule.title or words.say_slug(rule.duty)), f"rule-{rule.rule_id}"),
        rule.interval_months,
        "sample group" if rule.counts == "group" else "unit",
        (rule.satisfied_by or "").replace("_", " "),
        words.say_slug(rule.first_basis),
        f"{rule.source}, {rule.clause}" if rule.clause else rule.source,
        say_certainty(rule.certainty),
        rule.breach_label,
        rule.rule_id,
    )


def list_rules(rules: list) -> Table:
    """What must be done, how often, and where that is written."""
    columns = name_columns(
        "duty=Duty:anchor; interval_months=Months:count; counts=Counted by; satisfied_by=Satisfied by:long; "
        "first_basis=Without a record, from; source=Source and clause:long; certainty=Certainty; "
        "breach_label=A breach is of; rule_id=Rule:code"
    )  # fmt: skip
    rows = tuple(write_rule(r) for r in rules)
    return Table(
        "rules",
        "The rule book in force on this date",
        columns,
        rows,
        empty="No rule is in force, so nothing can fall due. Check the rule book of this run.",
    )


def write_answer(rules: list, context: Context) -> str:
    """How many rules, how many of them from a text that was read."""
    read = sum(1 for r in rules if r.certainty == "P")
    return Markup(
        "Lateness on this site follows from <strong>{}</strong>, {} of them from a published text that was read, and from the "
        "records received; a due date that a report states is never taken over unseen."
    ).format(words.say_count(len(rules), "rule"), read)


def tell_run(context: Context) -> Section:
    """What this site was made from."""
    received = words.say_date(context.known_at) if context.known_at else "the time of the run: everything"
    run = (
        ("As of", words.say_date(context.as_of)),
        ("Records received by", received),
        ("Program", f"firekpi {context.version}"),
        ("Rule book", context.rule_book_hash),
    )
    remark = "The same records, dates and rule book give the same site, byte for byte."
    return Section("run", "This run", (Definitions("", run),), remark)


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rules, texts = select_rows(con, RULES_SQL), read_texts()
    marks = Definitions("The marks", tuple((f"[{mark}]", meaning) for mark, meaning in words.CERTAINTY.items()))
    about = Definitions(
        "What the rules leave to judgement", tuple((words.say_capital(r.title or r.duty), r.about) for r in rules if r.about)
    )
    sections = [
        Section(
            "rules",
            "The rule book",
            (list_rules(rules), marks, about),
            (
                "A rule marked from memory or common practice is to be checked against your own copy of the text "
                "before anybody relies on it."
            ),
            is_wide=True,
        ),
        Section(
            "layers",
            "Limits, reasons, places",
            (rule_tables.list_loosened(con), rule_tables.list_kinds(con)),
            "Baseline, then flag, then company; of several rules for one duty the shortest governs.",
            is_wide=True,
        ),
    ]
    for name, part in texts.items():
        sections.append(
            Section(
                name,
                part["heading"],
                (
                    Definitions(
                        "", tuple((fill_text(i["term"], context), fill_text(i["meaning"], context)) for i in part["item"])
                    ),
                ),
                part.get("remark", ""),
            )
        )
    sections.append(tell_run(context))
    return Page(
        "method.html", "Method", "How is each figure counted, and by which rules?", write_answer(rules, context), tuple(sections)
    )
