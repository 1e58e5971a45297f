"""Whether a pack is what was handed over, and tells what its originals tell. In: a bag or its zip. Out: lines to print.

First completeness and checksums, then the signature, then everything is worked out again from the enclosed originals and compared.
"""

from __future__ import annotations

import json
import tempfile
from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline import __version__
from pipeline.errors import UserError, show_text
from pipeline.evidence import bag
from pipeline.evidence.enclosed import make_store
from pipeline.evidence.pack import PACK, build_contents
from pipeline.evidence.sign import check_signature, read_public_key
from pipeline.evidence.tables import Difference, Span, compare_tables
from pipeline.intake.received import read_moment

SHOWN = 50
# What is made again and has to be the same to the byte, beside the tables. A PDF holds the fonts of the machine it was made on.
REMADE = ("report.html", "prov.json", "validation")


def verify_pack(path: Path, key: Path | None = None, tell=lambda stage: None) -> list[str]:
    """Lines that say what holds. Raises UserError pack-refuted, its findings in `lines`, and those of reading a pack."""
    public = read_public_key(key) if key else None
    with tempfile.TemporaryDirectory() as place:
        scratch = Path(place)
        with bag.opened_bag(path, scratch / "unpacked") as folder:
            tell("reading every file")
            found = bag.check_bag(folder)
            findings, said = check_signature(folder, public)
            if found or findings:
                raise refuted(path, [*found, *findings])
            number = len(bag.list_files(folder / "data"))
            tell("working it out again from the originals")
            span, known_at, version = read_pack(folder / "data")
            found = compare_remade(folder / "data", span, known_at, scratch)
    if found:
        note = (
            []
            if version == __version__
            else [f"(it was made by firekpi {version}, this is {__version__}: rules and figures may differ)"]
        )
        raise refuted(path, [*found, *note])
    return [
        f"whole    {number:,} files, each with the checksum of the manifest, none added",
        f"same     the figures of IMO {span.imo_number} on {span.as_of}, worked out again from the enclosed originals, equal the enclosed ones",
        f"signed   {said}",
    ]


def refuted(path: Path, findings: list[str]) -> UserError:
    """The error that carries the findings, the first of them to be printed."""
    error = UserError("pack-refuted", path=path, number=len(findings))
    rest = [f"... and {len(findings) - SHOWN:,} more"] if len(findings) > SHOWN else []
    error.lines = [show_text(finding) for finding in findings[:SHOWN]] + rest
    return error


def read_pack(folder: Path) -> tuple[Span, datetime, str]:
    """What the pack says it is of. Raises UserError pack-unreadable."""
    try:
        said = json.loads((folder / PACK).read_text(encoding="utf-8"))
        span = Span(str(said["imo_number"]), date.fromisoformat(said["as_of"]), date.fromisoformat(said["from_on"]))
        return span, read_moment(said["known_at"]), str(said["firekpi"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise UserError("pack-unreadable", path=folder / PACK, why=str(error) or type(error).__name__) from error


def compare_remade(folder: Path, span: Span, known_at: datetime, scratch: Path) -> list[str]:
    """Everything once more, and what differs, one sentence each."""
    remade = scratch / "remade"
    remade.mkdir()
    make_store(folder, scratch / "store")
    try:
        build_contents(remade, span, known_at, scratch, has_pdf=False)
    except UserError as error:
        return [f"the enclosed originals can't be worked out: {error}"]
    except duckdb.Error as error:
        return [f"the enclosed originals can't be worked out: {str(error).splitlines()[0]}"]
    found = say_differences(compare_tables(folder / "tables", remade / "tables"))
    for name in REMADE:
        for path in bag.list_files(remade / name) if (remade / name).is_dir() else [remade / name]:
            inner = path.relative_to(remade).as_posix()
            if not (folder / inner).is_file() or (folder / inner).read_bytes() != path.read_bytes():
                found.append(f"{inner} is not what the enclosed originals give")
    return found


def say_differences(found: list[Difference]) -> list[str]:
    """One sentence a table: how many rows differ, and the first of each side."""
    by_table: dict[str, list[Difference]] = {}
    for item in found:
        by_table.setdefault(item.table, []).append(item)
    return [say_table(table, items) for table, items in by_table.items()]


def say_table(table: str, items: list[Difference]) -> str:
    firsts = {item.side: ", ".join("" if cell is None else str(cell) for cell in item.row) for item in reversed(items)}
    if "missing" in firsts:
        return f"tables/{table} is missing"
    if "unreadable" in firsts:
        return f"tables/{table} can't be read: {firsts['unreadable']}"
    said = [f"{len(items):,} rows differ"]
    said += [f"enclosed, but not given by the originals: {firsts['enclosed']}"] if "enclosed" in firsts else []
    said += [f"given by the originals, but not enclosed: {firsts['rebuilt']}"] if "rebuilt" in firsts else []
    return f"tables/{table}: " + "; ".join(said)
