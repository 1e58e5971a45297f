"""The report of a pack, to read and to print. In: the database, its subject marked. Out: one HTML page and the PDF of it."""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from importlib.resources import files
from types import SimpleNamespace
from typing import Any

import duckdb
import jinja2
from markupsafe import Markup

from pipeline import __version__
from pipeline.errors import UserError
from pipeline.evidence.subject import run_file
from pipeline.evidence.tables import Span
from pipeline.explain import CAUTION
from pipeline.intake.received import write_time
from pipeline.tell import say_count

SAYS = "It says what records say: whether a unit is fit, only who looks at it can tell."
ROLES = ("For the company", "For the vessel", "Auditor or inspector")


def read_part(name: str) -> str:
    return files("pipeline.evidence").joinpath("report", name).read_text(encoding="utf-8")


def render_report(con: duckdb.DuckDBPyConnection, span: Span, known_at: datetime) -> str:
    """The page, without script and without anything from outside it."""
    run_file(con, "report/places.sql", {})
    vessel = select(con, "summary", span)[0]
    sections = tomllib.loads(read_part("sections.toml"))["section"]
    for section in sections:
        section.setdefault("remark", "")
        section["rows"] = [[show(cell) for cell in vars(row).values()] for row in select(con, section["name"], span)]
    env = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return env.from_string(read_part("page.html")).render(
        title=f"IMO {span.imo_number}: fire extinguishers on {span.as_of}, as known at {write_time(known_at)}",
        style=Markup(read_part("style.css")),
        imo_number=span.imo_number,
        known_at=write_time(known_at),
        vessel=vessel,
        answer=write_answer(vessel, span),
        facts=list_facts(con, vessel, span, known_at),
        caution=f"{CAUTION} {SAYS}",
        sections=sections,
        roles=ROLES,
    )


def select(con: duckdb.DuckDBPyConnection, name: str, span: Span) -> list[SimpleNamespace]:
    """The rows of report/<name>.sql; columns without a name of their own are told apart by their place."""
    sql = read_part(f"{name}.sql")
    cursor = con.execute(sql, {key: value for key, value in span._asdict().items() if f"${key}" in sql})
    names = [f"{number}-{column[0]}" if name != "summary" else column[0] for number, column in enumerate(cursor.description)]
    return [SimpleNamespace(**dict(zip(names, row, strict=True))) for row in cursor.fetchall()]


def show(cell: Any) -> str:
    """A cell as the report writes it: dates as 2026-10-31, nothing for none."""
    if cell is None:
        return ""
    return f"{cell:,}" if isinstance(cell, int) and abs(cell) > 9999 else str(cell)


def write_answer(vessel: SimpleNamespace, span: Span) -> str:
    """The state on the day in a sentence."""
    if not vessel.units:
        return f"On {span.as_of} no unit is aboard by these records."
    parts = [
        f"{say_count(vessel.overdue_units, 'unit')} overdue on at least one duty ({say_count(vessel.overdue_items, 'item')}, sample groups among them)",
        f"{say_count(vessel.unknown_items, 'item')} without a due date, for want of a record to count from",
        f"{say_count(vessel.unfit_units, 'unit')} unfit or to condemn by the rules in force, {vessel.condemn_units} of them to condemn",
        f"{say_count(vessel.open_findings, 'open finding')}",
    ]
    return f"On {span.as_of}, of {say_count(vessel.units, 'unit')} aboard ({vessel.in_service} in service): {'; '.join(parts)}."


def list_facts(con: duckdb.DuckDBPyConnection, vessel: SimpleNamespace, span: Span, known_at: datetime) -> list[tuple[str, str]]:
    """What the report rests on."""
    book, engine = con.execute("select rule_book_hash, duckdb_version from intake.run").fetchone()
    number = con.execute("select count(*) from pack_number").fetchone()[0]
    facts: list[tuple[str, str | date | None]] = [
        ("State of", span.as_of),
        ("As known at", write_time(known_at)),
        ("Period told in full", f"{span.from_on} to {span.as_of}"),
        ("Vessel type", vessel.vessel_type),
        ("Flag", vessel.flag),
        ("Gross tonnage", vessel.gross_tonnage),
        ("Built", vessel.built_year),
        ("Newest record", vessel.last_record_on),
        ("Exports enclosed", number),
        ("Rule book", book[:16]),
        ("Made with", f"firekpi {__version__}, DuckDB {engine}"),
    ]
    return [(term, show(value)) for term, value in facts if value is not None]


def print_pdf(html: str, span: Span) -> bytes:
    """The page on A4; the same page and fonts give the same bytes. Raises UserError no-printer where Pango is missing."""
    try:
        from weasyprint import HTML  # late: it needs libraries of the system, and only this needs it
    except (ImportError, OSError) as error:
        raise UserError("no-printer", why=str(error).splitlines()[0]) from error
    identifier = f"firekpi {span.imo_number} {span.as_of}".encode()
    return HTML(string=html, url_fetcher=refuse_fetch).write_pdf(pdf_identifier=identifier)


def refuse_fetch(url: str, *rest, **more):
    """Nothing is ever fetched: the page holds all it needs."""
    raise ValueError(f"the report asks for {url}")
