"""How a source writes. In: a dialect TOML and canonical rows. Out: source cells, and what of each row the source tells.

The inverse of the pipeline's reading, from the same TOML but with its own unit factors, so that a wrong factor shows.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from pathlib import Path

FACTORS = {  # one source unit in canonical units, and decimals written; exact by definition
    "lb": (0.45359237, 2), "oz": (0.028349523125, 1), "us_gal": (3.785411784, 3), "psi": (0.45359237 * 9.80665 / 64.516, 1),
    "in": (25.4, 4), "ft": (0.3048, 1), "fraction": (100, 3), "g": (0.001, 0), "ml": (0.001, 0), "mpa": (10, 2), "kpa": (0.01, 0),
}  # fmt: skip
DATE_COLUMN = re.compile(r"_on$|^(laid_up|landed)_(from|to)$")
NUMBER_COLUMN = re.compile(r"_(l|kg|mm|bar|s|m|pct|c)$|_mm_measured$")
KEYS = {
    "vessel": ("imo_number",),
    "unit": ("unit_id", "imo_number", "in_service_on"),
    "inspection": ("unit_id", "inspected_on"),
    "service": ("unit_id", "serviced_on", "kind"),
    "finding": ("unit_id", "found_on", "component", "defect"),
    "spare": ("imo_number", "counted_on", "agent", "charge_l", "charge_kg"),
    "station": ("imo_number", "position_no"),
}


def read_styles(folder: Path) -> dict[str, dict]:
    """Every dialect TOML of a folder by name."""
    specs = (tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*.toml")))
    return {spec["name"]: spec for spec in specs}


def plain_style(table: str, columns: list[str]) -> dict:
    """The style of a canonical file: its own names, commas, ISO dates."""
    return {"name": f"canonical {table}", "table": [{"name": table, "columns": {name: name for name in columns}}]}


def list_headers(spec: dict) -> list[str]:
    """Headers of a source in the order the dialect names them; ignored ones last."""
    headers: dict[str, None] = {}
    for feed in spec["table"]:
        if "when" in feed:
            headers[feed["when"]["column"]] = None
        for source in feed["columns"].values():
            header = source if isinstance(source, str) else source.get("from")
            if header:
                headers[header] = None
        headers |= dict.fromkeys(feed.get("wide", {}).get("columns", {}))
    return [*headers, *spec.get("ignore_columns", [])]


def fill_cells(spec: dict, rows: list[tuple[str, dict]]) -> tuple[dict[str, str], list[dict]]:
    """Cells of one record that tells these (table, canonical row) pairs, and the columns it tells of each."""
    cells: dict[str, str] = {}
    told: list[dict] = []
    for feed in spec["table"]:
        for table, row in rows:
            if table == feed["name"]:
                cells |= write_feed(spec, feed, row)
                told.append(tell_columns(feed, row))
        wide = feed.get("wide")
        if wide:
            cells = {header: wide["none_words"][0] for header in wide["columns"]} | cells
    assert len(told) == len(rows), f"{spec['name']} can't tell {[table for table, _ in rows]}"
    return cells, told


def write_feed(spec: dict, feed: dict, row: dict) -> dict[str, str]:
    """Cells that one canonical row fills."""
    new: dict[str, str] = {}
    for column, source in feed["columns"].items():
        source = {"from": source} if isinstance(source, str) else source
        if "from" in source:
            new[source["from"]] = write_cell(spec, column, row, source)
    if "when" in feed and feed["when"]["column"] not in new:
        new[feed["when"]["column"]] = feed["when"]["is"][0]
    wide = feed.get("wide")
    if wide:
        header = next(h for h, value in wide["columns"].items() if value == row[wide["into"]])
        new[header] = next(word for word, given in wide["cells"].items() if fits(row, given))
    return new


def fits(row: dict, given: dict) -> bool:
    """Whether a cell word says what the row does, and all of it (a rust grade must not get lost)."""
    return all(row[name] == value for name, value in given.items()) and bool(given.get("rust_grade")) == bool(row["rust_grade"])


def tell_columns(feed: dict, row: dict) -> dict[str, str]:
    """The part of a canonical row that this source tells."""
    names = set(feed["columns"])
    names |= {s["precision_into"] for s in feed["columns"].values() if isinstance(s, dict) and "precision_into" in s}
    if "wide" in feed:
        names |= {feed["wide"]["into"]} | {name for given in feed["wide"]["cells"].values() for name in given}
    return {name: row[name] for name in sorted(names)}


def write_cell(spec: dict, column: str, row: dict, source: dict) -> str:
    """One canonical text as the source writes it."""
    value = row[column]
    if value == "":
        return (spec.get("null_words") or [""])[0]
    if "words" in source:
        return next((word for word, target in source["words"].items() if target == value), value)
    if DATE_COLUMN.search(column):
        formats = source.get("formats", spec.get("date_formats", ["%Y-%m-%d"]))
        return write_date(value, formats, row["made_on_precision"] if column == "made_on" else "day")
    if "unit" in source:
        value = convert(value, source["unit"])
    if NUMBER_COLUMN.search(column):
        value = value.replace(".", spec.get("decimal_mark", "."))
    return value.removeprefix(source.get("prefix", ""))


def convert(value: str, unit: str) -> str:
    """A canonical number in a source unit, without trailing zeros."""
    if unit == "F":
        return f"{float(value) * 9 / 5 + 32:.0f}"
    factor, digits = FACTORS[unit]
    text = f"{float(value) / factor:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def write_date(iso: str, formats: list[str], precision: str) -> str:
    """A date in the form that shows its precision."""
    form = formats[0]
    if precision != "day" and len(formats) > 1:
        has_month = [f for f in formats if "%d" not in f and ("%m" in f or "%b" in f)]
        form = has_month[0] if precision == "month" else formats[-1]
    return datetime.date.fromisoformat(iso).strftime(form)
