"""The Method page defines every figure, names its source and says what it rests on."""

from __future__ import annotations

import duckdb

from dashboards.pages.method_figures import count_sample, list_figures, read_figures

# What figures are made from and no page shows.
INSIDE = {"count_interval", "look", "measure", "observed", "served"}


def test_every_table_of_figures_has_a_definition_and_every_definition_its_tables(con):
    named = [table for figure in read_figures() for table in figure["tables"]]
    found = {name for (name,) in con.execute("select table_name from duckdb_tables() where schema_name = 'figure'").fetchall()}
    assert len(named) == len(set(named)) and set(named) == found - INSIDE


def test_every_figure_says_what_it_counts_whence_and_on_how_much(con):
    table = list_figures(con)
    assert len(table.rows) == len(read_figures()) > 15
    for link, counts, source, sample, tables in table.rows:
        assert counts.endswith(".") and source.endswith(".") and tables and link.href.endswith(".html"), link
        assert sample != "nothing yet" and sample[0].isdigit(), (link.text, sample)


def test_sample_sizes_are_those_of_the_pages(con):
    (due,) = con.execute(
        "select sum(fell_due) from figure.on_time_monthly where imo_number = '*' and duty = '*' and month_end > date '2025-10-31'"
    ).fetchone()
    figures = {figure["name"]: figure for figure in read_figures()}
    assert count_sample(con, figures["Done in time"]["sample"]).startswith(f"{due:,} services, ")
    assert count_sample(duckdb.connect(), [["unit", "units", "select null"], ["item", "items", "select 0"]]) == "nothing yet"
    assert count_sample(duckdb.connect(), [["unit", "units", "select 1"], ["item", "items", "select 0"]]) == "1 unit, no items"
