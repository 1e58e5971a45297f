"""How a pack was made, as PROV-JSON (W3C, 2013), by the prov library. In: the database built from the enclosed files. Out: the text."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import duckdb
from prov.model import ProvDocument

from pipeline.evidence.tables import Span, table_names


def write_prov(con: duckdb.DuckDBPyConnection, span: Span, known_at: datetime) -> str:
    """Files received and used by the run, the tables and reports it generated, the program it was associated with."""
    document = ProvDocument()
    document.add_namespace("file", "urn:firekpi:file:")
    document.add_namespace("pack", "urn:firekpi:pack:")
    moment = known_at.astimezone(UTC)
    version, engine, book = con.execute("select version, duckdb_version, rule_book_hash from intake.run").fetchone()
    program = document.agent("pack:firekpi", {"prov:type": "prov:SoftwareAgent", "pack:version": version, "pack:duckdb": engine})
    book = document.entity("pack:rule-book", {"pack:fingerprint": book})
    said = {"pack:imo_number": span.imo_number, "pack:as_of": str(span.as_of), "pack:from_on": str(span.from_on)}
    run = document.activity("pack:run", moment, moment, {**said, "pack:known_at": moment.isoformat()})
    document.wasAssociatedWith(run, program)
    document.used(run, book)
    rows = con.execute(
        "select file_id, path, sha256, received_at, dialect from intake.file order by received_at, path, file_id"
    ).fetchall()
    files = []
    for file_id, path, digest, received_at, dialect in rows:
        attributes = {
            "prov:label": path,
            "pack:sha256": digest,
            "pack:received_at": f"{received_at.isoformat()}Z",
            "pack:dialect": dialect,
        }
        files.append(document.entity(f"file:{file_id}", attributes))
        document.used(run, files[-1])
    for name in table_names():
        table = document.entity(f"pack:table-{name}", {"prov:label": f"tables/{name}.csv and .parquet"})
        document.wasGeneratedBy(table, run, moment)
    report = document.entity("pack:report", {"prov:label": "report.html, report.pdf"})
    document.wasGeneratedBy(report, run, moment)
    for file in files:
        document.wasDerivedFrom(report, file)
    return json.dumps(json.loads(document.serialize(format="json")), indent=1, sort_keys=True, ensure_ascii=False) + "\n"
