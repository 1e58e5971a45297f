"""Method: definitions, formulas with their sources, the rule book in force, cautions.

In: duty.rule, duty.satisfied_by, duty.provision; the texts of method_texts.toml. Out: method.html.
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
from dashboards.pages import method_figures, rule_tables, rule_words

RULES_SQL = """
    WITH kept AS (
        SELECT rule_id, string_agg(DISTINCT coalesce(kind, CASE WHEN is_examination THEN 'an examination' END, 'any ' || record), ', '
            ORDER BY coalesce(kind, CASE WHEN is_examination THEN 'an examination' END, 'any ' || record)) AS satisfied_by
        FROM duty.satisfied_by GROUP BY rule_id)
    SELECT r.duty, r.counts, r.interval_months, r.grace_months, r.first_basis, kept.satisfied_by, p.*
    FROM duty.rule AS r JOIN duty.provision AS p USING (rule_id) LEFT JOIN kept USING (rule_id) ORDER BY r.duty, r.rank, r.rule_id"""


def read_texts() -> dict:
    """The page's fixed texts: sections of terms and meanings."""
    return tomllib.loads(files("dashboards").joinpath("pages", "method_texts.toml").read_text(encoding="utf-8"))


def fill_text(text: str, context: Context) -> str:
    """A fixed text with what only the rule book knows."""
    return text.replace("{any_duty}", context.book.name_any()).replace("{any_list}", context.book.list_any())


def write_rule(rule: Any) -> tuple:
    """One rule as a row."""
    grace = f"; {words.say_count(rule.grace_months, 'month')} of grace" if rule.grace_months else ""
    less = f"; {rule_tables.LESS}: {rule.loosens}" if rule.loosens else ""
    return (
        Anchor(words.say_capital(rule.title or words.say_slug(rule.duty)), f"rule-{rule.rule_id}"),
        rule.interval_months,
        "sample group" if rule.counts == "group" else "unit",
        rule_words.say_scope(rule),
        (rule.satisfied_by or "").replace("_", " ") + grace + less,
        words.say_slug(rule.first_basis),
        rule_tables.say_source(rule),
        rule_tables.say_certainty(rule.certainty),
        rule_tables.say_layer(rule),
        rule.layer,
        rule.effective_from,
        rule.effective_until,
        rule.rule_id,
        rule.breach_label,
        rule.regime,
        rule.loosens,
    )


def list_rules(rules: list) -> Table:
    """What must be done, how often, and where that is written."""
    columns = name_columns(
        "duty=Duty:anchor; interval_months=Months:count; counts=Counted by; scope=Covers:long; satisfied_by=Satisfied by:long; "
        "first_basis=Without a record, from; source=Source and clause:long; certainty=Certainty; in_force=Layer:page_text; layer=Layer:text twin; "
        "effective_from=From:date twin; effective_until=Until:date twin; "
        "rule_id=Rule:text twin; breach_label=A breach is of:text twin; regime=Set of rules:text twin; loosens=Asks less:text twin"
    )  # fmt: skip
    rows = tuple(write_rule(r) for r in rules)
    return Table(
        "rules",
        "Duties of this fleet: each day is judged by the rule in force on it; 0 months means at once",
        columns,
        rows,
        empty="No rule is in force, so nothing can fall due. Check the rule book of this run.",
    )


def write_answer(rules: list, kinds: list) -> str:
    """How many rules, how many of them from a text that was read."""
    read = sum(1 for r in [*rules, *kinds] if r.certainty == "P")
    return Markup(
        "Lateness on this site follows from <strong>{}</strong> about duties; fitness, places and numbers from {} more. Of all these "
        "rules {} {} from a published text that was read. A due date that a report states is never taken over unseen."
    ).format(
        words.say_count(len(rules), "rule"),
        words.say_number(len(kinds)),
        words.say_number(read),
        words.say_verb(read, "is", "are"),
    )


def list_sections(con: duckdb.DuckDBPyConnection, context: Context, rules: list, kinds: list) -> list[Section]:
    """The rule book: first what asks less, then duties, then a table for each other kind."""
    marks = Definitions("The marks", tuple((f"[{mark}]", meaning) for mark, meaning in words.CERTAINTY.items()))
    about = Definitions(
        "What the rules leave to judgement", tuple((words.say_capital(r.title or r.duty), r.about) for r in rules if r.about)
    )
    trust = "A rule marked from memory or common practice is to be checked against your own copy of the text before anybody relies on it."
    layers = (
        "Baseline, then flag, then company. A rule may replace another; of several left for one duty one that is nowhere laxer governs, "
        "else each is asked, and what falls due first counts."
    )
    tables = tuple(rule_tables.list_kind(kinds, kind) for kind in rule_tables.KINDS)
    loosened = rule_tables.list_loosened(rule_tables.read_loosened(con, context), context)
    return [
        Section("loosened", "Rules that ask less", (loosened,), layers, is_wide=True),
        Section("rules", "The rule book", (list_rules(rules), marks, about), trust, is_wide=True),
        Section("layers", "Limits, grounds, places, numbers", tables, "What binds a unit or vessel on this date.", is_wide=True),
    ]


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
    rules, kinds, texts = select_rows(con, RULES_SQL), rule_tables.read_kinds(con, context), read_texts()
    sections = list_sections(con, context, rules, kinds)
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
    remark = "Formulas in full and their references stand above. A figure that rests on little says so where it stands."
    sections.append(Section("figures", "The figures", (method_figures.list_figures(con),), remark, is_wide=True))
    sections.append(tell_run(context))
    return Page(
        "method.html", "Method", "How is each figure counted, and by which rules?", write_answer(rules, kinds), tuple(sections)
    )
