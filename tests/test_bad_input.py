"""What a user can get wrong: one sentence that says what, where and what to do; non-zero exit; nothing changed."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.cli import main

VESSEL = "imo_number,vessel_name\n9999993,Quiet Heron\n"


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file below a folder but locks and the cache of parsed rows, which a run may make anew at any time."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".lock" and "parsed" not in path.relative_to(folder).parts
    }


@pytest.fixture
def call(tmp_path, monkeypatch, capsys):
    """Call firekpi in an empty folder; gives (exit code, error text). A call that fails must have changed no file."""
    monkeypatch.chdir(tmp_path)

    def run_cli(*arguments: str) -> tuple[int, str]:
        before = snapshot(tmp_path)
        code = main([*map(str, arguments)])
        if code:
            assert snapshot(tmp_path) == before
        return code, capsys.readouterr().err

    return run_cli


def assert_sentence(text: str, *parts: str) -> None:
    assert "Traceback" not in text
    assert text.count("\n") == 1, text
    for part in parts:
        assert part in text, text


def test_no_folder(call, tmp_path):
    code, text = call("run", "nowhere")
    assert code == 2
    assert_sentence(text, "nowhere", "not a folder", "[no-folder]")
    assert not (tmp_path / "firekpi.duckdb").exists() and not (tmp_path / "site").exists()


def test_empty_folder(call, tmp_path):
    (tmp_path / "empty").mkdir()
    code, text = call("run", "empty")
    assert code == 2
    assert_sentence(text, "empty", "[empty-folder]")


@pytest.mark.parametrize(
    "name, data, slug, said",
    [
        ("vessel.csv", b"", "no-data-in-file", "vessel.csv"),
        ("vessel.csv", b"PK\x03\x04\x00\x00\x00\x08\x00\xb5\xff", "not-csv", "binary"),
        ("vessel.csv", b"\x89PNG\r\n\x1a\n\x00\x00", "not-csv", "binary"),
        ("vessel.csv", b"imo_number,vessel_name\n9999993,Gr\xfcn\n", "wrong-encoding", "byte 33"),
        ("vessel.csv", b"<html><body>no data here</body></html>", "header-mismatch", "imo_number"),
        ("vessel.csv", b"imo_number,vessel_name,captain\n9999993,A,B\n", "header-mismatch", "'captain'"),
        ("vessel.csv", b"vessel_name\nA\n", "header-mismatch", "no column 'imo_number'"),
        ("vessel.csv", b"imo_number,imo_number\n9999993,9999993\n", "header-mismatch", "twice"),
        ("round.csv", b"a,b\n1,2\n", "unknown-file", "no dialect reads this file"),
    ],
)
def test_no_readable_file(call, tmp_path, name, data, slug, said):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / name).write_bytes(data)
    code, text = call("run", "exports", "--no-site")
    assert code == 3
    assert_sentence(text, f"exports/{name}", said, f"[{slug}]")
    assert not (tmp_path / "firekpi.duckdb").exists()


def test_a_needed_table_is_missing(call, exports):
    folder = exports({"vessel.csv": VESSEL})
    code, text = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(text, "unit.csv", "[needed-table-missing]")


@pytest.mark.parametrize("value", ["much", "2", "-1GB"])
def test_bad_memory(call, exports, small_fleet, value):
    code, text = call("run", exports(small_fleet), f"--memory={value}", "--no-site")
    assert code == 2
    assert_sentence(text, value, "2GB", "[bad-memory]")


def test_too_little_memory(call, exports, small_fleet):
    code, text = call("run", exports(small_fleet), "--memory", "1MB", "--no-site")
    assert code == 4
    assert_sentence(text, "1MB", "--memory 4GB", "[out-of-memory]")


@pytest.mark.parametrize("option, value", [("--as-of", "31.10.2026"), ("--known-at", "yesterday")])
def test_bad_date(call, exports, small_fleet, option, value):
    code, text = call("run", exports(small_fleet), option, value, "--no-site")
    assert code == 2
    assert_sentence(text, value, "2026-10-31", "[bad-date]")


def test_database_that_another_process_writes(call, exports, small_fleet, tmp_path):
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    before = (tmp_path / "firekpi.duckdb").read_bytes()
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import duckdb, sys, time; c = duckdb.connect('firekpi.duckdb'); print('held', flush=True); time.sleep(60)",
        ],
        stdout=subprocess.PIPE,
        cwd=tmp_path,
    )
    try:
        assert holder.stdout.readline().strip() == b"held"
        code, text = call("run", folder, "--no-site")
        assert code == 4
        assert_sentence(text, "firekpi.duckdb", f"process {holder.pid}", "[database-busy]")
        assert (tmp_path / "firekpi.duckdb").read_bytes() == before
    finally:
        holder.kill()
        holder.wait()
    assert call("run", folder, "--no-site")[0] == 0


def test_a_file_that_is_not_our_database_is_left_alone(call, exports, small_fleet, tmp_path):
    import duckdb

    folder = exports(small_fleet)
    (tmp_path / "firekpi.duckdb").write_text("my precious notes")
    code, text = call("run", folder, "--no-site")
    assert (code, (tmp_path / "firekpi.duckdb").read_text()) == (4, "my precious notes")
    assert_sentence(text, "[not-our-database]")
    with duckdb.connect(str(tmp_path / "other.duckdb")) as con:
        con.execute("create table mine as select 42 as n")
    code, text = call("run", folder, "--no-site", "--db", "other.duckdb")
    assert code == 4
    assert_sentence(text, "other.duckdb", "[not-our-database]")


def test_a_site_folder_with_other_files_is_left_alone(all_figures, call, exports, small_fleet, tmp_path):
    folder = exports(small_fleet)
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "thesis.txt").write_text("ten years of work")
    code, text = call("run", folder)
    assert code == 4
    assert_sentence(text, "[not-our-site]")
    assert (tmp_path / "site" / "thesis.txt").read_text() == "ten years of work"


def test_two_runs_on_one_store(call, exports, small_fleet, tmp_path):
    from filelock import FileLock

    (tmp_path / ".firekpi").mkdir()
    with FileLock(tmp_path / ".firekpi" / ".lock"):
        code, text = call("run", exports(small_fleet), "--no-site")
    assert code == 4
    assert_sentence(text, ".firekpi", "[store-busy]")


@pytest.fixture
def store_with_an_old_file(call, exports, small_fleet, tmp_path):
    """A store that has received inspection.csv, which is no longer in the folder; gives (folder, where it is kept)."""
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    data = (folder / "inspection.csv").read_bytes()
    (folder / "inspection.csv").unlink()
    return folder, tmp_path / ".firekpi" / "files" / hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("damage", [lambda data: data[:-1] + b"x", lambda data: data + b"x", lambda data: b""])
def test_damaged_store(call, store_with_an_old_file, tmp_path, damage):
    folder, kept = store_with_an_old_file
    kept.write_bytes(damage(kept.read_bytes()))
    for cached in (tmp_path / ".firekpi" / "parsed").glob("*/parsed.json"):
        cached.unlink()
    code, text = call("run", folder, "--no-site")
    assert code == 4
    assert_sentence(text, kept.name, "[store-damaged]")


def test_a_damaged_store_is_mended_from_the_folder(call, exports, small_fleet, tmp_path):
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    for kept in (tmp_path / ".firekpi" / "files").iterdir():
        kept.write_bytes(b"x" + kept.read_bytes()[1:])
    assert call("run", folder, "--no-site")[0] == 0
    for kept in (tmp_path / ".firekpi" / "files").iterdir():
        assert hashlib.sha256(kept.read_bytes()).hexdigest() == kept.name


@pytest.mark.parametrize("text", ["[", "{}", '[{"path": 5}]', '[{"path": "x", "sha256": "y"}]', ""])
def test_damaged_ledger(call, exports, small_fleet, tmp_path, text):
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    (tmp_path / ".firekpi" / "received.json").write_text(text)
    code, said = call("run", folder, "--no-site")
    assert code == 4
    assert_sentence(said, "received.json", "[store-damaged]")


def test_a_damaged_cache_is_made_anew(exports, run_on, small_fleet, tmp_path):
    folder = exports(small_fleet)
    _, con = run_on(folder)
    before = con.execute("from record.inspection order by all").fetchall()
    for parquet in (tmp_path / "store" / "parsed").rglob("*.parquet"):
        data = bytearray(parquet.read_bytes())
        data[len(data) // 2] ^= 1
        parquet.write_bytes(bytes(data))
    _, con = run_on(folder)
    assert con.execute("from record.inspection order by all").fetchall() == before


def test_explain_without_database_or_unit(call, exports, small_fleet):
    code, text = call("explain", "U1")
    assert code == 2
    assert_sentence(text, "[no-database]")
    assert call("run", exports(small_fleet), "--no-site")[0] == 0
    code, text = call("explain", "U11")
    assert code == 2
    assert_sentence(text, "U11", "U1", "[unknown-unit-asked]")


GOOD_HEAD = 'name = "x"\nfiles = ["*.csv"]\n'
UNIT = '[[table]]\nname = "unit"\n[table.columns]\n'
FINDING = '[[table]]\nname = "finding"\n[table.columns]\nunit_id = "S"\n'


@pytest.mark.parametrize(
    "text, key, why",
    [
        ("name = ", "(whole file)", "TOML"),
        ('name = "x"\nfiles = ["*.csv"]\ntabel = 1\n', "tabel", "not known"),
        (GOOD_HEAD, "table", "missing"),
        ('name = ["d"]\n', "name", "must be text"),
        ('name = "x"\nfiles = "x.csv"\n', "files", "list of texts"),
        (GOOD_HEAD + 'delimiter = ";;"\n' + UNIT + 'agent = "A"\n', "delimiter", "one character"),
        (GOOD_HEAD + "delimiter = 5\n" + UNIT, "delimiter", "must be text"),
        (GOOD_HEAD + 'null_words = "n/a"\n' + UNIT, "null_words", "list of texts"),
        (GOOD_HEAD + "skip_head = true\n" + UNIT, "skip_head", "whole number"),
        (GOOD_HEAD + 'encoding = "klingon"\n' + UNIT + 'agent = "A"\n', "encoding", "klingon"),
        (GOOD_HEAD + 'encoding = "rot13"\n' + UNIT + 'agent = "A"\n', "encoding", "rot13"),
        (GOOD_HEAD + 'thousands_mark = "1"\n' + UNIT + 'agent = "A"\n', "thousands_mark", "apostrophe"),
        (GOOD_HEAD + 'date_formats = ["%Q"]\n' + UNIT, "date_formats", "no year"),
        (GOOD_HEAD + 'date_formats = ["%Y-%Q"]\n' + UNIT, "date_formats", "no date form"),
        (GOOD_HEAD + 'date_formats = ["%d.%m."]\n' + UNIT, "date_formats", "no year"),
        (GOOD_HEAD + 'date_formats = ["%Y-%m-%d %z"]\n' + UNIT, "date_formats", "time zone"),
        (GOOD_HEAD + '[[table]]\nname = "ship"\n', "table[0].name", "no table"),
        (GOOD_HEAD + '[[table]]\nname = "unit"\n', "table[0].columns", "missing"),
        (GOOD_HEAD + UNIT + 'serial = "A"\n', "table[0].columns.serial", "no such column"),
        (GOOD_HEAD + UNIT + "agent = 5\n", "columns.agent", "header or a table"),
        (GOOD_HEAD + UNIT + 'agent = { constant = "" }\n', "columns.agent", "must not be empty"),
        (GOOD_HEAD + UNIT + 'agent = { from = "A", constant = "foam" }\n', "columns.agent", "either"),
        (GOOD_HEAD + UNIT + 'agent = { from = ["A"] }\n', "columns.agent.from", "must be text"),
        (GOOD_HEAD + UNIT + 'agent = { from = "A", words = { "P" = "pwder" } }\n', "words.P", "vocabulary"),
        (GOOD_HEAD + UNIT + 'agent = { from = "A", words = { OK = "foam", ok = "water" } }\n', "words.ok", "twice"),
        (GOOD_HEAD + UNIT + 'is_spare = { from = "A", words = { j = "ja" } }\n', "words.j", "true, false"),
        (GOOD_HEAD + UNIT + 'charge_kg = { from = "A", unit = "psi" }\n', "charge_kg.unit", "converted"),
        (GOOD_HEAD + UNIT + 'made_on = { from = "A", formats = "%Y" }\n', "made_on.formats", "list of texts"),
        (GOOD_HEAD + UNIT + 'made_on = { from = "A", precision_into = "agent" }\n', "precision_into", "day, month, year"),
        (GOOD_HEAD + UNIT + 'agent = "A"\n[table.when]\n', "when.column", "missing"),
        (GOOD_HEAD + UNIT + 'agent = "A"\n[table.when]\ncolumn = "K"\nis = "Service"\n', "when.is", "list of texts"),
        (GOOD_HEAD + FINDING + '[table.wide]\ninto = "component"\n', "wide.columns", "missing"),
        (GOOD_HEAD + "repeated_header = 1\n" + UNIT, "repeated_header", "true or false"),
        (GOOD_HEAD + 'total_rows = [{ column = "S" }]\n' + UNIT, "total_rows[0].is", "at least one word"),
        (GOOD_HEAD + 'total_rows = [{ column = "S", begins = [""] }]\n' + UNIT, "total_rows[0].is", "none of them empty"),
        (GOOD_HEAD + 'total_rows = [{ is = ["total"] }]\n' + UNIT, "total_rows[0].column", "missing"),
        (GOOD_HEAD + '[[table]]\nname = "unit"\nfull_dump = "yes"\n[table.columns]\nunit_id = "S"\n', "full_dump", "vessel, fleet"),
        (GOOD_HEAD + "months = { jan = 13 }\n" + UNIT, "months.jan", "1 to 12"),
        (GOOD_HEAD + 'months = { "1" = 1 }\n' + UNIT, "months.1", "in letters"),
        (GOOD_HEAD + UNIT + 'charge_kg = { from = "A", suffixes = { kg = "bar" } }\n', "suffixes.kg", "possible are"),
        (GOOD_HEAD + UNIT + 'charge_kg = { from = "A", suffixes = { "5" = "kg" } }\n', "suffixes.5", "after the number"),
        (GOOD_HEAD + UNIT + 'agent = { from = "A", suffixes = { kg = "kg" } }\n', "suffixes.kg", "no unit"),
        (GOOD_HEAD + UNIT + 'agent = { from = "A", match = ["case"] }\n', "agent.match", "for unit_id"),
        (GOOD_HEAD + UNIT + 'unit_id = { from = "A", match = ["colour"] }\n', "unit_id.match", "leading_zeros"),
        (
            GOOD_HEAD + FINDING + '[table.wide]\ninto = "component"\ncolumns = { H = "hose" }\ncells = { r = { action = "brush" } }\n',
            "wide.cells",
            "vocabulary",
        ),
        (
            GOOD_HEAD + FINDING + '[table.wide]\ninto = "component"\ncolumns = { H = "hat" }\ncells = { r = { defect = "dent" } }\n',
            "wide.columns.H",
            "'hat'",
        ),
    ],
)  # fmt: skip
def test_bad_dialect(call, exports, small_fleet, text, key, why):
    folder = exports({**small_fleet, "dialects/odd.toml": text})
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "odd.toml", key, why, "[bad-dialect]")


def test_two_dialects_for_one_file(call, exports, small_fleet):
    text = '''name = "{}"
        files = ["*.csv"]
        [[table]]
        name = "unit"
        columns.unit_id = "Serial"'''
    folder = exports({**small_fleet, "dialects/a.toml": text.format("a"), "dialects/b.toml": text.format("b")})
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "a, b", "[two-dialects]")


def test_quiet_in_a_pipe(call, exports, small_fleet, capsys):
    code, text = call("run", exports(small_fleet), "--no-site")
    assert (code, text) == (0, "")


def test_a_file_that_could_not_be_used_is_not_received(call, exports, small_fleet):
    """The remedy that the sentence names must work: take the file away, list it, or mend it."""
    folder = exports({**small_fleet, "notes.txt": "hello"})
    assert call("run", folder, "--no-site")[0] == 3
    (folder / "notes.txt").unlink()
    assert call("run", folder, "--no-site")[0] == 0
    (folder / "spare.csv").write_bytes("imo_number\nGrün".encode("latin-1"))
    assert call("run", folder, "--no-site")[0] == 3
    (folder / "spare.csv").write_text("imo_number,counted_on,agent\n")
    assert call("run", folder, "--no-site")[0] == 0


def test_a_site_and_a_store_inside_the_folder_are_no_exports(all_figures, call, exports, small_fleet, tmp_path, monkeypatch):
    monkeypatch.chdir(exports(small_fleet))
    assert call("run", ".", "--store", "kept")[0] == 0
    assert call("run", ".", "--store", "kept")[0] == 0


def test_two_folders_of_one_name(call, exports, small_fleet):
    a, b = exports(small_fleet, "a/exports"), exports(small_fleet, "b/exports")
    code, said = call("run", a, b, "--no-site")
    assert code == 2
    assert_sentence(said, "exports", "[same-name]")


@pytest.mark.parametrize(
    "text, why",
    [("5", "TOML"), ('ignore = "*.txt"', "list of globs"), ("ignore = [5]", "list of globs"), ("ignor = []", "not known")],
)
def test_bad_exports_toml(call, exports, small_fleet, text, why):
    code, said = call("run", exports({**small_fleet, "exports.toml": text}), "--no-site")
    assert code == 3
    assert_sentence(said, "exports.toml", why, "[bad-dialect]")


@pytest.mark.parametrize("value", ["soon", "0202-10-31", "2099-01-01", "0001-01-01T00:00+14:00"])
def test_bad_received(call, exports, small_fleet, value):
    code, said = call("run", exports({**small_fleet, "received.csv": f"path,received_at\nunit.csv,{value}"}), "--no-site")
    assert code == 3
    assert_sentence(said, "received.csv", "record 1", value, "[bad-received]")


def test_what_is_not_read_is_named(call, exports, small_fleet, capsys):
    received = "path,received_at\nunits.csv,2026-05-01"
    folder = exports({**small_fleet, "register.xlsx": b"PK", "received.csv": received})
    assert main(["run", str(folder), "--no-site"]) == 0
    out = capsys.readouterr().out
    assert "register.xlsx" in out and "units.csv" in out


def test_a_link_that_leads_nowhere(call, exports, small_fleet):
    folder = exports(small_fleet)
    (folder / "spare.csv").symlink_to(folder / "gone.csv")
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "spare.csv", "[unreadable-file]")


def test_known_at_before_any_file(call, exports, small_fleet):
    folder = exports(
        {**small_fleet, "received.csv": "path,received_at\nunit.csv,2026-05-01\nvessel.csv,2026-05-01\ninspection.csv,2026-05-01"}
    )
    code, said = call("run", folder, "--no-site", "--known-at", "2026-04-30")
    assert code == 2
    assert_sentence(said, "2026-04-30", "[nothing-known]")
    assert call("run", folder, "--no-site", "--known-at", "20260501")[0] == 0


@pytest.mark.parametrize("option, value", [("--as-of", "0800-01-01"), ("--as-of", "2500-01-01"), ("--known-at", "0800-01-01")])
def test_dates_out_of_the_question(call, exports, small_fleet, option, value):
    code, said = call("run", exports(small_fleet), option, value, "--no-site")
    assert code == 2
    assert_sentence(said, value, "[bad-date]")


@pytest.mark.parametrize("make", [lambda path: path.write_text("text"), lambda path: path.mkdir()])
def test_explain_on_what_is_no_database(call, tmp_path, make):
    make(tmp_path / "other.duckdb")
    code, said = call("explain", "U1", "--db", "other.duckdb")
    assert code == 4
    assert_sentence(said, "other.duckdb", "[not-our-database]")


def test_explain_says_where_a_quarantined_unit_is(all_figures, call, exports, small_fleet):
    texts = {**small_fleet, "unit.csv": small_fleet["unit.csv"] + "\nU7,9999993,treacle,portable,5,2018-06-01,2020-02-01"}
    assert call("run", exports(texts), "--no-site")[0] == 0
    code, said = call("explain", "U7")
    assert code == 2
    assert_sentence(said, "quarantine", "unit.csv line 4", "treacle", "[unknown-unit-asked]")
    assert call("explain", "U\udcff")[0] == 2


def test_a_part_left_by_a_killed_run_is_no_obstacle(call, exports, small_fleet, tmp_path):
    import os

    part = tmp_path / f"firekpi.duckdb.{os.getpid()}.part"
    part.write_bytes(b"half a database")
    assert call("run", exports(small_fleet), "--no-site")[0] == 0
    assert not part.exists()


def test_check_judges_new_files_with_what_the_store_holds_and_receives_nothing(call, exports, small_fleet, tmp_path, capsys):
    assert call("run", exports(small_fleet), "--no-site")[0] == 0
    before = (tmp_path / ".firekpi" / "received.json").read_bytes()
    new = exports(
        {"inspection.csv": "unit_id,imo_number,inspected_on,outcome\nU1,9999993,2026-05-01,satisfactory\nU8,9999993,2026-05-01,"},
        "may",
    )
    assert main(["check", str(new)]) == 0
    out = capsys.readouterr().out
    assert "may/inspection.csv, line 3" in out and "U8" in out and "2 exact" not in out
    assert "the store also holds 3 files received earlier, and they count: exports" in out
    assert (tmp_path / ".firekpi" / "received.json").read_bytes() == before
    code, said = call("check", new, "--store", "elsewhere")
    assert code == 3
    assert_sentence(said, "[needed-table-missing]")


@pytest.mark.parametrize(
    "option, place, what", [("--store", "site/kept", "The store"), ("--db", "site/k.duckdb", "The database")]
)
def test_nothing_that_must_last_lies_inside_the_site(all_figures, call, exports, small_fleet, option, place, what):
    folder = exports(small_fleet)
    assert call("run", folder)[0] == 0
    code, said = call("run", folder, option, place)
    assert code == 2
    assert_sentence(said, what, place, "[inside-site]")
    code, said = call("run", folder, "--site", folder.parent)
    assert code == 2
    assert_sentence(said, "[inside-site]")


def test_pages_that_can_not_be_written(all_figures, call, exports, small_fleet, tmp_path):
    folder = exports(small_fleet)
    assert call("run", folder)[0] == 0
    code, said = call("run", folder, "--site", folder / "vessel.csv" / "x")
    assert code == 4
    assert_sentence(said, "[cannot-write]")


@pytest.mark.parametrize("arguments", [["run"], ["dance"], [], ["run", "a", "--colour"]])
def test_a_call_that_makes_no_sense(capsys, arguments):
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    assert_sentence(capsys.readouterr().err, "[usage]", "--help")


def test_explain_tells_nothing_of_a_later_day(all_figures, call, exports, small_fleet, capsys):
    texts = {
        **small_fleet,
        "unit.csv": """unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on,removed_on,removal_reason
            U1,9999993,powder,portable,6,2015-01-31,2016-01-31,2026-04-15,condemned
            U2,9999993,co2,portable,5,2018-06-01,2026-04-20,,""",
    }
    assert main(["run", str(exports(texts)), "--no-site", "--as-of", "2026-04-10"]) == 0
    capsys.readouterr()
    assert main(["explain", "U1"]) == 0
    out = capsys.readouterr().out
    assert "condemned" not in out and "2026-04-15" not in out and "2026-04-30" not in out.replace("due 2026-04-30", "")
    code, said = call("explain", "U2")
    assert code == 2
    assert_sentence(said, "U2", "2026-04-10", "2026-04-20", "[unit-not-yet-aboard]")


def test_pages_that_can_not_follow_the_database_are_said(exports, small_fleet, tmp_path):
    from pipeline.errors import UserError
    from pipeline.run import RunOptions, run

    def write_pages(db):
        def put_in_place():
            raise OSError("the folder is open elsewhere")

        return put_in_place

    options = RunOptions((exports(small_fleet),), tmp_path / "store", tmp_path / "f.duckdb")
    with pytest.raises(UserError, match="is new, but the pages") as caught:
        run(options, write_pages=write_pages)
    assert caught.value.slug == "pages-behind" and (tmp_path / "f.duckdb").exists()


def test_an_interrupt_while_publishing_is_held_back(exports, small_fleet, tmp_path):
    import os
    import signal

    from pipeline.run import RunOptions, run

    def write_pages(db):
        return lambda: os.kill(os.getpid(), signal.SIGINT)

    run(RunOptions((exports(small_fleet),), tmp_path / "store", tmp_path / "f.duckdb"), write_pages=write_pages)
    assert (tmp_path / "f.duckdb").exists() and (tmp_path / "store" / "received.json").exists()
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_a_draft_is_refused_until_all_is_settled(call, exports, small_fleet):
    draft = """name = "draft"
        draft = true
        files = ["log.csv"]
        date_formats = ["?"]
        ignore_columns = ["?Colour"]
        [[table]]
        name = "inspection"
        [table.columns]
        unit_id = "?No"
        imo_number = "IMO"
        inspected_on = "Day"
        outcome = { from = "Result", words = { "gut" = "?satisfactory", "?" = "not_found" } }"""
    folder = exports(
        {**small_fleet, "log.csv": "No,IMO,Day,Result,Colour\nU1,9999993,2026-05-01,gut,red", "dialects/draft.toml": draft}
    )
    code, said = call("check", folder)
    assert code == 3
    assert_sentence(
        said, "draft.toml", "date_formats[0]", "ignore_columns[0]", "columns.unit_id", "words.gut", "words.?", "[unsettled-draft]"
    )
    settled = draft.replace('["?"]', '["%Y-%m-%d"]').replace(', "?" = "not_found"', "").replace('"?', '"')
    (folder / "dialects/draft.toml").write_text(settled)
    assert call("check", folder)[0] == 0


def test_withdraw_asks_for_a_reason_and_a_known_file(call, exports, small_fleet):
    code, said = call("withdraw", "exports/unit.csv", "--why", "x")
    assert code == 2
    assert_sentence(said, "exports/unit.csv", ".firekpi", "[not-received]")
    assert call("run", exports(small_fleet), "--no-site")[0] == 0
    for arguments, slug, part in [
        (("unit.csv", "--why", "x"), "not-received", "did you mean exports/unit.csv?"),
        (("exports/unit.csv",), "usage", "--why"),
        (("exports/unit.csv", "--why", "x", "--version", "7"), "not-received", "no version 7 of it, only 1"),
        (("exports/unit.csv", "--undo"), "not-withdrawn", "not withdrawn"),
    ]:
        code, said = call("withdraw", *arguments)
        assert code == 2
        assert_sentence(said, part, f"[{slug}]")
    assert call("withdraw", "exports/spare.csv", "--why", "x")[0] == 2
    assert call("withdraw", "exports/inspection.csv", "--why", "x")[0] == 0
    code, said = call("withdraw", "exports/inspection.csv", "--why", "x")
    assert code == 2
    assert_sentence(said, "since 20", "[already-withdrawn]")


def test_withdrawing_all_there_is(call, exports, small_fleet):
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    for name in small_fleet:
        assert call("withdraw", f"exports/{name}", "--why", "wrong fleet")[0] == 0
    code, said = call("run", folder, "--no-site")
    assert code == 2
    assert_sentence(said, "[nothing-known]")


def test_quarantine_sheets_and_what_can_go_wrong(call, exports, small_fleet, tmp_path, capsys):
    code, said = call("quarantine")
    assert code == 2
    assert_sentence(said, "[no-database]")
    bad = {
        "inspection.csv": small_fleet["inspection.csv"] + "\nU9,9999993,2026-05-01,satisfactory",
        "unit.csv": small_fleet["unit.csv"] + "\n,9999993,,,,,",
    }
    assert call("run", exports({**small_fleet, **bad}), "--no-site")[0] == 0
    assert main(["quarantine"]) == 0
    out = capsys.readouterr().out
    assert (
        "exports/canonical-inspection: 1 record open, 1 file" in out
        and "exports/inspection.csv, line 5, record 4: unit_id 'U9'" in out
    )
    code, said = call("quarantine", "--export", "all.csv")
    assert code == 2
    assert_sentence(said, "canonical-unit", "[which-source]")
    code, said = call("quarantine", "--source", "osten")
    assert code == 2
    assert_sentence(said, "canonical-unit", "[no-source]")
    assert call("quarantine", "--export", "all.csv", "--source", "canonical-unit")[0] == 0
    assert call("quarantine", "--export", "sheets")[0] == 0
    assert sorted(path.name for path in (tmp_path / "sheets").iterdir()) == [
        "quarantine-canonical-inspection.csv",
        "quarantine-canonical-unit.csv",
    ]
    code, said = call("quarantine", "--export", "sheets")
    assert code == 2
    assert_sentence(said, "mended", "[sheet-exists]")


def test_the_site_is_kept_out_of_the_store(call, exports, small_fleet):
    code, said = call("run", exports(small_fleet), "--site", ".firekpi/site")
    assert code == 2
    assert_sentence(said, "[inside-store]")


@pytest.mark.parametrize("name", ["a\nb.csv", "a\x1b[31mred.csv"])
def test_names_with_control_characters(call, exports, small_fleet, name):
    folder = exports(small_fleet)
    (folder / name).write_text("x")
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "control characters", "[unreadable-file]")
    assert "\x1b" not in said


def test_two_names_that_are_one_text(call, exports, small_fleet):
    folder = exports(small_fleet)
    for name in ("pru\u0308fung.csv", "pr\u00fcfung.csv"):
        (folder / name).write_text("x")
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "same text in Unicode", "[unreadable-file]")


def test_a_file_larger_than_an_export_may_be(call, exports, small_fleet):
    """A sparse file: nothing of it is read."""
    folder = exports(small_fleet)
    with open(folder / "spare.csv", "wb") as stream:
        stream.truncate(300 << 20)
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "256 MB", "[export-too-large]")
