"""The command `firekpi`: parses, calls, prints. A user's error becomes one sentence and an exit code; no logic here."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

from rich.console import Console

from pipeline import __version__
from pipeline.errors import UserError, show_text
from pipeline.intake.received import read_moment


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")
    options = _parser().parse_args(arguments)
    try:
        return options.call(options)
    except UserError as error:
        for line in error.lines:
            print(line)
        print(f"firekpi: {error} [{error.slug}]", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # whoever read us has gone
        return 1
    except KeyboardInterrupt:
        print("firekpi: stopped; the last good database and site are untouched.", file=sys.stderr)
        return 130


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one sentence, as every other error's."""

    def error(self, message: str):
        error = UserError("usage", message=message)
        self.exit(error.exit_code, f"firekpi: {error} [{error.slug}]\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="firekpi", description="Figures from the CSV exports of a fleet's fire-extinguisher records.")
    parser.add_argument("--version", action="version", version=f"firekpi {__version__}")
    verbs = parser.add_subparsers(required=True, metavar="COMMAND")
    run = verbs.add_parser("run", help="read exports, build the database and the site")
    _add_run_options(run)
    run.add_argument("--db", type=Path, default=Path("firekpi.duckdb"), help="database to build (default: firekpi.duckdb)")
    run.add_argument("--site", type=Path, default=Path("site"), help="folder of the pages (default: site)")
    run.add_argument("--no-site", action="store_true", help="build the database only")
    _add_engine(run)
    run.set_defaults(call=_run)
    check = verbs.add_parser("check", help="read and check exports together with what the store holds; publish nothing")
    _add_run_options(check)
    check.set_defaults(call=_check)
    explain = verbs.add_parser("explain", help="print what was due when for one unit, with record and rule")
    explain.add_argument("unit_id", metavar="UNIT_ID")
    explain.add_argument("--db", type=Path, default=Path("firekpi.duckdb"), help="database to read (default: firekpi.duckdb)")
    explain.set_defaults(call=_explain)
    rules = verbs.add_parser("rules", help="print the rules in force, with source and certainty")
    rules.add_argument("--vessel", metavar="IMO", help="only those that bind this vessel, by its IMO number")
    rules.add_argument("--db", type=Path, default=Path("firekpi.duckdb"), help="database to read (default: firekpi.duckdb)")
    rules.set_defaults(call=_rules)
    learn = verbs.add_parser("learn", help="draft the dialect of an unseen source and try it")
    learn.add_argument("files", metavar="FILE", nargs="+", type=Path, help="export to learn from; several must be of one kind")
    learn.add_argument("--name", help="name of the dialect (default: the file's, without digits)")
    learn.add_argument(
        "--out",
        metavar="DIALECT.toml",
        type=Path,
        help="where to write it (default: dialects/NAME.toml in the folder of exports)",
    )
    learn.add_argument(
        "--store", type=Path, default=Path(".firekpi"), help="what the dry run is held against (default: .firekpi)"
    )
    learn.set_defaults(call=_learn)
    quarantine = verbs.add_parser("quarantine", help="list rows that could not be loaded, or write a sheet a source to send back")
    quarantine.add_argument("--db", type=Path, default=Path("firekpi.duckdb"), help="database to read (default: firekpi.duckdb)")
    quarantine.add_argument("--export", type=Path, metavar="FOLDER", help="write a sheet a source there (or one .csv)")
    quarantine.add_argument("--source", metavar="DIALECT", help="only this source")
    quarantine.set_defaults(call=_quarantine)
    changes = verbs.add_parser("changes", help="write what changed between two moments, and by which file")
    changes.add_argument("--known-at", action="append", help="one of the two moments; the second may be left out: now")
    changes.add_argument("--as-of", help="day that is compared, year-month-day (default: that of the earlier moment)")
    changes.add_argument("--vessel", metavar="IMO", help="only this vessel, by its IMO number")
    changes.add_argument("--store", type=Path, default=Path(".firekpi"), help="where exports are kept (default: .firekpi)")
    changes.add_argument("--out", type=Path, metavar="FOLDER", required=True, help="new or empty folder for page and CSV")
    changes.set_defaults(call=_changes)
    withdraw = verbs.add_parser("withdraw", help="let a received file count no more; it is kept")
    withdraw.add_argument("path", metavar="PATH", help="the file as the data quality page names it: folder/path")
    withdraw.add_argument("--why", help="the reason, which is kept")
    withdraw.add_argument("--version", type=int, metavar="N", help="only this version of it (default: all)")
    withdraw.add_argument("--undo", action="store_true", help="take the withdrawal back")
    withdraw.add_argument("--store", type=Path, default=Path(".firekpi"), help="where exports are kept (default: .firekpi)")
    withdraw.set_defaults(call=_withdraw)
    _add_evidence(verbs)
    return parser


def _add_evidence(verbs) -> None:
    evidence = verbs.add_parser("evidence", help="write an audit pack of one vessel: report, tables, originals, checksums")
    evidence.add_argument("--vessel", metavar="IMO", required=True, help="the vessel, by its IMO number")
    evidence.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder to write; it must not be there yet")
    evidence.add_argument("--store", type=Path, default=Path(".firekpi"), help="where exports are kept (default: .firekpi)")
    evidence.add_argument("--as-of", help="day of the state, year-month-day (default: the day of --known-at)")
    evidence.add_argument("--known-at", help="count only files received by this time (default: all)")
    evidence.add_argument("--from", dest="from_on", metavar="DATE", help="first day of the period told in full (default: a year)")
    evidence.add_argument("--zip", action="store_true", help="write one file DIR.zip")
    evidence.add_argument("--no-pdf", action="store_true", help="leave out the PDF")
    evidence.add_argument("--sign", metavar="KEY.pem", type=Path, help="sign with your Ed25519 key")
    evidence.add_argument("--redact", metavar="HEADER", action="append", default=[], help="withhold the cells under this header")
    evidence.set_defaults(call=_evidence)
    verify = verbs.add_parser("verify", help="check a pack: checksums, signature, and its figures worked out again")
    verify.add_argument("pack", metavar="PACK", type=Path, help="folder or .zip of a pack")
    verify.add_argument("--key", metavar="PUBLIC.pem", type=Path, help="the signer's public key")
    verify.set_defaults(call=_verify)


def _add_run_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folders", metavar="FOLDER", nargs="+", type=Path, help="folder of CSV exports")
    parser.add_argument("--store", type=Path, default=Path(".firekpi"), help="where exports are kept (default: .firekpi)")
    parser.add_argument("--as-of", help="day of the report, year-month-day (default: today)")
    parser.add_argument("--known-at", help="count only files received by this time (default: all)")
    parser.add_argument("--memory", metavar="SIZE", help="most that DuckDB may hold, as in 2GB (default: half of the machine's)")


def _add_engine(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--engine", choices=("duckdb", "spark"), default="duckdb", help="what computes the figures (default: duckdb)"
    )
    parser.add_argument("--master", metavar="URL", default="local[*]", help="Spark's master (default: local[*], this machine)")


def _run(options: argparse.Namespace) -> int:
    from pipeline.run import RunOptions, run
    from pipeline.tell import summary_lines

    site = None if options.no_site else options.site
    if site:
        _keep_out_of(site, options)
    with _progress() as tell:
        write_pages = _page_writer(site) if site else None
        places = {"store": options.store, "db": options.db, "engine": options.engine, "master": options.master}
        summary = run(_run_options(options, RunOptions, **places), tell, write_pages)
    for line in summary_lines(summary):
        print(line)
    print(f"database {options.db}")
    if site:
        print(f"pages    {site / 'index.html'}")
    return 0


def _keep_out_of(site: Path, options: argparse.Namespace) -> None:
    """The site folder is replaced as a whole: nothing that must last may lie in it. Raises UserError inside-site."""
    places = {"The store": [options.store], "The database": [options.db], "The folder of exports": options.folders}
    for what, paths in places.items():
        for path in paths:
            if path.resolve().is_relative_to(site.resolve()):
                raise UserError("inside-site", what=what, path=path, site=site)
    if site.resolve().is_relative_to(options.store.resolve()):
        raise UserError("inside-store", site=site, store=options.store)


def _page_writer(site: Path):
    """What writes the pages from a finished database and returns the step that puts them in place."""
    from dashboards.leftovers import sweep_leftovers
    from dashboards.site import prepare_site, refuse_foreign

    refuse_foreign(site)
    sweep_leftovers(site.absolute())  # a site that a killed run had renamed away comes back even if this run fails
    return lambda db: prepare_site(db, site).swap_in


def _check(options: argparse.Namespace) -> int:
    from pipeline.run import RunOptions, run
    from pipeline.sheets import list_open
    from pipeline.tell import summary_lines

    with tempfile.TemporaryDirectory() as scratch, _progress() as tell:
        store = options.store if options.store.is_dir() else Path(scratch) / "store"
        db = Path(scratch) / "check.duckdb"
        summary = run(_run_options(options, RunOptions, store=store, db=db, is_trial=True), tell)
        reasons = list_open(db)
    for line in (*summary_lines(summary), *reasons):
        print(line)
    print("Nothing was published and no file was received.")
    return 0


def _explain(options: argparse.Namespace) -> int:
    from pipeline.explain import explain_unit

    for line in explain_unit(options.db, options.unit_id):
        print(show_text(line))
    return 0


def _rules(options: argparse.Namespace) -> int:
    from pipeline.rule_list import list_rules

    for line in list_rules(options.db, options.vessel):
        print(show_text(line))
    return 0


def _learn(options: argparse.Namespace) -> int:
    from pipeline.learn.command import learn_command

    for line in learn_command(options.files, options.name, options.out, options.store):
        print(line)
    return 0


def _quarantine(options: argparse.Namespace) -> int:
    from pipeline.sheets import export_sheets, list_open

    if options.export:
        lines = export_sheets(options.db, options.export, options.source)
    else:
        lines = list_open(options.db, options.source)
    for line in lines:
        print(show_text(line))
    return 0


def _changes(options: argparse.Namespace) -> int:
    from dashboards.changes import refuse_full, write_changes
    from pipeline.evidence.changes import Asked, compared, sort_moments, write_cells

    moments = sort_moments([_time(text) for text in options.known_at or ()])
    refuse_full(options.out)
    asked = Asked(options.store, moments, _date(options.as_of) or moments[0].astimezone(UTC).date(), options.vessel)
    with _progress() as tell, compared(asked, tell) as (differing, newer):
        said = write_changes(differing, newer, write_cells(differing), options.out)
    print(show_text(said))
    print(f"page     {options.out / 'changes.html'}")
    print(f"cells    {options.out / 'changes.csv'}")
    return 0


def _withdraw(options: argparse.Namespace) -> int:
    from pipeline.withdraw import take_back_withdrawal, withdraw_file

    if options.undo:
        lines = take_back_withdrawal(options.store, options.path, options.version)
    elif not (options.why or "").strip():
        raise UserError("usage", message="withdraw needs --why TEXT, the reason that auditors will read")
    else:
        lines = withdraw_file(options.store, options.path, options.why.strip(), options.version)
    for line in lines:
        print(line)
    return 0


def _evidence(options: argparse.Namespace) -> int:
    from pipeline.evidence.pack import PackOptions, make_pack

    asked = PackOptions(
        options.vessel,
        options.out,
        options.store,
        _date(options.as_of),
        _time(options.known_at),
        _date(options.from_on, "--from"),
        options.zip,
        not options.no_pdf,
        options.sign,
        tuple(options.redact),
    )
    with _progress() as tell:
        lines = make_pack(asked, tell)
    for line in lines:
        print(show_text(line))
    return 0


def _verify(options: argparse.Namespace) -> int:
    from pipeline.evidence.verify import verify_pack

    with _progress() as tell:
        lines = verify_pack(options.pack, options.key, tell)
    for line in lines:
        print(show_text(line))
    return 0


def _run_options(options: argparse.Namespace, kind, **places):
    times = {"as_of": _date(options.as_of), "known_at": _time(options.known_at)}
    return kind(folders=tuple(options.folders), memory=options.memory, **times, **places)


def _date(text: str | None, option: str = "--as-of") -> date | None:
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise UserError("bad-date", option=option, value=text, also="") from error
    if not 1990 <= day.year <= 2200:
        raise UserError("bad-date", option=option, value=text, also=" of our time")
    return day


def _time(text: str | None) -> datetime | None:
    """A lone day means its last second; a time without a zone is UTC."""
    try:
        return None if text is None else read_moment(text)
    except ValueError as error:
        raise UserError("bad-date", option="--known-at", value=text, also=" or 2026-10-31T12:00") from error


@contextmanager
def _progress():
    """A line for each stage where a person watches, nothing in a pipe."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda stage: None
        return
    with console.status("starting") as status:
        yield lambda stage: (console.print(f"· {stage}", highlight=False), status.update(stage))


if __name__ == "__main__":
    sys.exit(main())
