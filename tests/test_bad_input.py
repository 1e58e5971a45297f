"""What a user can get wrong: one sentence that says what, where and what to do; non-zero exit; nothing changed."""

from __future__ import annotations

import subprocess
import sys

import pytest

from pipeline.cli import main

VESSEL = "imo_number,vessel_name\n9999993,Quiet Heron\n"


@pytest.fixture
def call(tmp_path, monkeypatch, capsys):
    """Call firekpi in an empty folder; gives (exit code, error text) and checks that nothing was published."""
    monkeypatch.chdir(tmp_path)

    def run_cli(*arguments: str) -> tuple[int, str]:
        code = main([*map(str, arguments)])
        captured = capsys.readouterr()
        return code, captured.err

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


def test_a_site_folder_with_other_files_is_left_alone(call, exports, small_fleet, tmp_path):
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


def test_damaged_store(call, exports, small_fleet, tmp_path):
    folder = exports(small_fleet)
    assert call("run", folder, "--no-site")[0] == 0
    kept = next((tmp_path / ".firekpi" / "files").iterdir())
    kept.write_bytes(kept.read_bytes() + b"x")
    for cached in (tmp_path / ".firekpi" / "parsed").glob("*/parsed.json"):
        cached.unlink()
    code, text = call("run", folder, "--no-site")
    assert code == 4
    assert_sentence(text, kept.name, "[store-damaged]")


def test_explain_without_database_or_unit(call, exports, small_fleet):
    code, text = call("explain", "U1")
    assert code == 2
    assert_sentence(text, "[no-database]")
    assert call("run", exports(small_fleet), "--no-site")[0] == 0
    code, text = call("explain", "U11")
    assert code == 2
    assert_sentence(text, "U11", "U1", "[unknown-unit-asked]")


@pytest.mark.parametrize(
    "text, key, why",
    [
        ('name = "x"\nfiles = ["*.csv"]\ntabel = 1\n', "tabel", "not known"),
        ('name = "x"\nfiles = ["*.csv"]\n', "table", "missing"),
        ('name = "x"\nfiles = ["*.csv"]\nencoding = "klingon"\n[[table]]\nname = "unit"\n', "encoding", "klingon"),
        ('name = "x"\nfiles = ["*.csv"]\n[[table]]\nname = "ship"\n', "table[0].name", "no table"),
        ('name = "x"\nfiles = ["*.csv"]\n[[table]]\nname = "unit"\n[table.columns]\nserial = "A"\n', "table[0].columns.serial", "no such column"),
        (
            'name = "x"\nfiles = ["*.csv"]\n[[table]]\nname = "unit"\n[table.columns]\nagent = {from = "A", words = {"P" = "pwder"}}\n',
            "words.p",
            "vocabulary",
        ),
        (
            'name = "x"\nfiles = ["*.csv"]\n[[table]]\nname = "unit"\n[table.columns]\ncharge_kg = {from = "A", unit = "psi"}\n',
            "charge_kg.unit",
            "converted",
        ),
        ("name = ", "(whole file)", "TOML"),
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
        name = "unit"'''
    folder = exports({**small_fleet, "dialects/a.toml": text.format("a"), "dialects/b.toml": text.format("b")})
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "a, b", "[two-dialects]")


def test_bad_received(call, exports, small_fleet):
    folder = exports({**small_fleet, "received.csv": "path,received_at\nunit.csv,soon"})
    code, said = call("run", folder, "--no-site")
    assert code == 3
    assert_sentence(said, "received.csv", "record 1", "soon", "[bad-received]")


def test_quiet_in_a_pipe(call, exports, small_fleet, capsys):
    code, text = call("run", exports(small_fleet), "--no-site")
    assert (code, text) == (0, "")
