"""START HERE: the audit pack of one vessel. In: the store, a vessel, a day, a time of knowing. Out: a bag, a folder or one zip.

The tables are built from the enclosed originals alone, and held against those built from the whole store before anything is handed over.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

from pipeline import __version__
from pipeline.errors import UserError
from pipeline.evidence import bag, choose
from pipeline.evidence.contents import write_contents
from pipeline.evidence.enclosed import make_store, write_enclosed
from pipeline.evidence.rebuild import rebuild
from pipeline.evidence.redact import Redaction
from pipeline.evidence.sign import read_private_key, sign_bag
from pipeline.evidence.tables import Span, compare_tables, export_tables
from pipeline.intake.received import read_moment, write_time
from pipeline.intake.store import ReceivedFile, Store

PACK = "pack.json"


@dataclass(frozen=True)
class PackOptions:
    """What to pack. `known_at` None: all that the store holds; `as_of` None: the day of that; `from_on` None: a year before it."""

    imo_number: str
    out: Path
    store: Path = Path(".firekpi")
    as_of: date | None = None
    known_at: datetime | None = None
    from_on: date | None = None
    is_zipped: bool = False
    has_pdf: bool = True
    key: Path | None = None
    redacted: tuple[str, ...] = field(default=())


def make_pack(options: PackOptions, tell=lambda stage: None) -> list[str]:
    """Write the bag at `out`, whole or not at all; gives what to print. Raises UserError for what the user can mend."""
    key = read_private_key(options.key) if options.key else None
    out = options.out.with_name(f"{options.out.name}.zip") if options.is_zipped and options.out.suffix != ".zip" else options.out
    if out.exists():
        raise UserError("pack-exists", path=out)
    span, known_at = settle(options)
    redaction = Redaction(options.redacted)
    with scratch_beside(out) as scratch:
        folder = scratch / (options.out.stem if options.is_zipped else options.out.name)
        folder.mkdir()
        tell("working out all that the store holds")
        with rebuild(options.store, scratch / "all.duckdb", span, known_at) as (con, read):
            store = Store(options.store)
            redaction.dialects = {file.file_id: dialect for file, dialect, _ in read}
            chosen = choose.choose_files(con, store, known_at, span.imo_number)
            export_tables(con, span, scratch / "tables")
        renamed = write_enclosed(store, chosen, redaction, bool(redaction.headers), folder)
        redaction.check_used()
        tell(f"working it out again from the {len(chosen):,} files enclosed")
        with blamed_on(redaction):
            fill_pack(folder, span, known_at, redaction, scratch, options.has_pdf)
            refuse_other(scratch / "tables", folder / "tables", renamed, redaction.blind, span)
        tell("making the bag")
        bag.make_bag(folder, say_info(span, known_at))
        if key:
            sign_bag(folder, key)
        if options.is_zipped:
            bag.write_zip(folder, scratch / "pack.zip", known_at)
        put_in_place(scratch / "pack.zip" if options.is_zipped else folder, out)
    return say_made(out, span, known_at, chosen, key is not None, redaction)


def settle(options: PackOptions) -> tuple[Span, datetime]:
    """The dates that were not given. Raises UserError nothing-known, period-turned."""
    latest = choose.latest_moment(Store(options.store).ledger())
    if latest is None:
        raise UserError("no-store", store=options.store)
    known_at = options.known_at or read_moment(latest)
    as_of = options.as_of or known_at.astimezone(UTC).date()
    from_on = options.from_on or a_year_before(as_of)
    if from_on > as_of:
        raise UserError("period-turned", from_on=from_on, as_of=as_of)
    return Span(options.imo_number, as_of, from_on), known_at


def a_year_before(day: date) -> date:
    """The same day of the year before; of 29 February the 28th."""
    return day.replace(year=day.year - 1, day=28 if (day.month, day.day) == (2, 29) else day.day)


@contextmanager
def blamed_on(redaction: Redaction) -> Iterator[None]:
    """What fails only because cells are withheld. Raises UserError not-redactable."""
    try:
        yield
    except UserError as error:
        if redaction.headers and error.slug != "no-printer":
            raise UserError("not-redactable", headers=", ".join(redaction.headers), why=error) from error
        raise


@contextmanager
def scratch_beside(out: Path) -> Iterator[Path]:
    """A folder beside the place, so that what is ready takes it in one step; gone when the block ends. Raises UserError cannot-write."""
    made = [parent for parent in out.absolute().parents if not parent.exists()]
    try:
        out.absolute().parent.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.absolute().parent))
    except OSError as error:
        raise UserError("cannot-write", path=out, why=error.strerror) from error
    try:
        yield scratch
    except OSError as error:
        raise UserError("cannot-write", path=error.filename or out, why=error.strerror or error) from error
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
        for parent in made:
            with suppress(OSError):  # those that hold the pack now stay
                parent.rmdir()


def fill_pack(folder: Path, span: Span, known_at: datetime, redaction: Redaction, scratch: Path, has_pdf: bool) -> None:
    """All that is worked out from the enclosed files: tables, validation, provenance, report."""
    said = {
        "imo_number": span.imo_number,
        "as_of": str(span.as_of),
        "from_on": str(span.from_on),
        "known_at": write_time(known_at),
        "firekpi": __version__,
        "redacted": list(redaction.headers),
    }
    (folder / PACK).write_text(json.dumps(said, indent=1) + "\n", encoding="utf-8")
    (folder / "README.txt").write_bytes(files("pipeline.evidence").joinpath("readme.txt").read_bytes())
    make_store(folder, scratch / "store")
    build_contents(folder, span, known_at, scratch, has_pdf)


def build_contents(folder: Path, span: Span, known_at: datetime, scratch: Path, has_pdf: bool = True) -> None:
    """Tables, validation, provenance and report of the store at scratch/store, written into `folder`."""
    validation: dict[str, dict] = {}
    store, db = scratch / "store", scratch / "part.duckdb"
    with rebuild(store, db, span, known_at, True, validation.__setitem__) as (con, _):
        export_tables(con, span, folder / "tables")
        write_contents(con, folder, span, known_at, validation, has_pdf)


def refuse_other(whole: Path, part: Path, renamed: dict[str, str], blind: frozenset[str], span: Span) -> None:
    """The enclosed files must tell of the vessel what the whole store tells. Raises UserError pack-differs."""
    found = compare_tables(whole, part, renamed, blind)
    if found:
        first = found[0]
        raise UserError("pack-differs", imo_number=span.imo_number, number=len(found), table=first.table, row=first.row)


def say_info(span: Span, known_at: datetime) -> dict[str, str]:
    """What bag-info.txt says; its dates come from the time of knowing, so that the same call gives the same bag."""
    return {
        "Bagging-Date": str(known_at.astimezone(UTC).date()),
        "Bag-Software-Agent": f"firekpi {__version__}",
        "External-Identifier": f"IMO {span.imo_number}, {span.as_of}",
        "External-Description": f"Records of the fire extinguishers of IMO {span.imo_number}: the state on {span.as_of}, as known at {write_time(known_at)}",
    }


def put_in_place(ready: Path, out: Path) -> None:
    if out.exists():
        raise UserError("pack-exists", path=out)
    os.replace(ready, out)


def count_chosen(chosen: list[ReceivedFile]) -> str:
    """'49 exports and 1 list of corrections'"""
    lists = sum(file.is_corrections for file in chosen)
    said = f"{len(chosen) - lists:,} exports"
    return f"{said} and {lists} {'list' if lists == 1 else 'lists'} of corrections" if lists else said


def say_made(
    out: Path, span: Span, known_at: datetime, chosen: list[ReceivedFile], is_signed: bool, redaction: Redaction
) -> list[str]:
    """What to print."""
    lines = [
        f"vessel   IMO {span.imo_number}, state of {span.as_of}, as known at {write_time(known_at)}",
        f"period   {span.from_on} to {span.as_of}",
        f"files    {count_chosen(chosen)} enclosed; the figures built from them alone equal those of the whole store",
        f"signed   {'yes' if is_signed else 'no: --sign KEY.pem lets others prove that the pack is yours'}",
    ]
    if redaction.headers:
        under = f"withheld {redaction.count:,} cells under {', '.join(redaction.headers)}"
        lines.append(f"{under}; of corrections {redaction.asked:,} of who asked for them")
        lines += [
            f"look at  {place}: no row; searched for the names that stand elsewhere in the file" for place in redaction.searched
        ]
    return [*lines, f"pack     {out}"]
