"""What stands in a pack beside tables and originals. In: the database built from the enclosed files. Out: validation, provenance, report."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import duckdb

from pipeline.evidence.prov import write_prov
from pipeline.evidence.report import print_pdf, render_report
from pipeline.evidence.tables import Span
from pipeline.intake.received import write_time


def write_contents(
    con: duckdb.DuckDBPyConnection, folder: Path, span: Span, known_at: datetime, validation: dict[str, dict], has_pdf: bool
) -> None:
    """Write validation/, prov.json, report.html and, where asked, report.pdf into the folder. Raises UserError no-printer."""
    (folder / "validation").mkdir()
    for name, result in validation.items():
        result["meta"]["batch_markers"]["ge_load_time"] = write_time(known_at)  # a pack's dates come from the time of knowing
        name = name.removeprefix("stage_")
        (folder / "validation" / f"{name}.json").write_text(
            json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
        )
    html = render_report(con, span, known_at)
    (folder / "report.html").write_text(html, encoding="utf-8", newline="\n")
    if has_pdf:
        (folder / "report.pdf").write_bytes(print_pdf(html, span))
    (folder / "prov.json").write_text(write_prov(con, span, known_at), encoding="utf-8")
