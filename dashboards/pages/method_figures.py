"""Each figure with its definition, its source and what it rests on here. In: method_figures.toml, figure.*. Out: a table of the Method page."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import duckdb

from dashboards import words
from dashboards.blocks import Link, Table, name_columns


def read_figures() -> list[dict]:
    """Name, page, tables, counts, source and sample of each figure."""
    return tomllib.loads(files("dashboards").joinpath("pages", "method_figures.toml").read_text(encoding="utf-8"))["figure"]


def count_sample(con: duckdb.DuckDBPyConnection, sample: list[list[str]]) -> str:
    """'3,659 services, 72 months of vessels'; 'nothing yet' where there is none of any."""
    found = [(one, several, con.execute(query).fetchone()) for one, several, query in sample]
    sizes = [(int(row[0]) if row and row[0] is not None else 0, one, several) for one, several, row in found]
    return ", ".join(words.say_count(*size) for size in sizes) if any(size[0] for size in sizes) else "nothing yet"


def list_figures(con: duckdb.DuckDBPyConnection) -> Table:
    """One row a figure."""
    columns = name_columns(
        "figure=Figure:link; counts=What it counts:long; source=Formula and source:long; sample=Rests here on:long; tables=Tables:text twin"
    )
    rows = tuple(
        (Link(f["name"], f["page"]), f["counts"], f["source"], count_sample(con, f["sample"]), " ".join(f["tables"]))
        for f in read_figures()
    )
    return Table("figures", "Each figure: definition, source, sample size on the date of the page", columns, rows)
