"""Files made to do harm, through the real command: one sentence or a sound result, in bounded memory, nothing written elsewhere.

Folders are made on the spot. Refusals run in this process, what could hang or fill the memory in a child, whose peak the system
measures (wait4). What takes long (hundreds of megabytes read to their end) is marked slow.
"""

from __future__ import annotations

import gzip
import io
import os
import re
import stat
import struct
import subprocess
import sys
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pytest

from pipeline.cli import main
from tests.conftest import VESSEL_A, write_folder

GIB, MIB = 1 << 30, 1 << 20
INSPECTION = f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2026-05-01,satisfactory\n"
VESSEL = "imo_number,vessel_name\n"
CORRECTION = "file,record,column,from,to,why,who,on\n"
DIALECT = """
    name = "log"
    files = ["log.csv"]
    [[table]]
    name = "inspection"
    columns = { unit_id = "unit_id", imo_number = "imo_number", inspected_on = "inspected_on", outcome = "outcome" }"""
RUN = ("run", "exports", "--no-site", "--as-of", "2026-05-10")


@dataclass(frozen=True)
class Ended:
    code: int
    out: str
    err: str
    peak: int


def snapshot(place: Path) -> set[tuple[str, int]]:
    """Every name below a place with its size, links not followed; the store's lock and cache may come and go."""
    found = set()
    for folder, names, files in os.walk(place):
        for name in names + files:
            path = Path(folder) / name
            inner = path.relative_to(place).as_posix()
            if not inner.startswith("home/.firekpi") or inner == "home/.firekpi/received.json":
                found.add((inner, path.lstat().st_size if name in files else 0))
    return found


@pytest.fixture
def home(tmp_path, small_fleet, monkeypatch) -> Path:
    """A folder two levels down, so that what climbs out of it is seen; it holds a small fleet in `exports`."""
    place = tmp_path / "home"
    write_folder(place / "exports", small_fleet)
    monkeypatch.chdir(place)
    return place


@pytest.fixture
def refused(home, tmp_path, capsys):
    """Call with (slug, parts): the run in this process is refused with that one sentence and changes nothing at all."""

    def call(slug: str, *parts: str, command=RUN) -> None:
        before = snapshot(tmp_path)
        code = main([*command])
        said = capsys.readouterr()
        assert_sentence(said.err, slug, *parts)
        assert code in (2, 3, 4) and said.out == "" and snapshot(tmp_path) == before

    return call


@pytest.fixture
def firekpi(home):
    """Call with arguments to run the command in a child; gives how it ended and the most memory it held."""

    def call(*arguments: str, patience: float = 120) -> Ended:
        with open(home.parent / "out", "w+b") as out, open(home.parent / "err", "w+b") as err:
            command = [sys.executable, "-m", "pipeline.cli", *arguments]
            environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
            child = subprocess.Popen(command, cwd=home, stdin=subprocess.DEVNULL, stdout=out, stderr=err, env=environment)
            status, peak = wait_for(child, patience)
            texts = [stream.seek(0) or stream.read().decode() for stream in (out, err)]
        return Ended(os.waitstatus_to_exitcode(status), *texts, peak)

    return call


def wait_for(child: subprocess.Popen, patience: float) -> tuple[int, int]:
    """Exit status and peak memory in bytes; a child that hangs, or outgrows twice what is allowed, is killed and the test fails."""
    deadline = time.monotonic() + patience
    peak = 0
    while time.monotonic() < deadline and peak < 2 * GIB:
        peak = max(peak, read_memory(child.pid))
        pid, status = os.waitpid(child.pid, os.WNOHANG)
        if pid:
            assert peak, "it ended before its memory was looked at"
            child.returncode = os.waitstatus_to_exitcode(status)
            return status, peak
        time.sleep(0.02)
    child.kill()
    child.wait()
    pytest.fail(f"it had not ended after {patience} s, or took more than 2 GiB")


def read_memory(pid: int) -> int:
    """The most that it has held since its program began, in bytes; 0 once it has ended.

    What wait4 tells of the peak goes back to before that: the tests' own memory would count.
    """
    try:
        told = re.search(r"^VmHWM:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text(), re.MULTILINE)
        return int(told[1]) * 1024 if told else 0
    except OSError:
        return 0


def assert_sentence(text: str, slug: str, *parts: str) -> None:
    assert text.startswith("firekpi: ") and text.endswith(f"[{slug}]\n") and text.count("\n") == 1, text
    assert len(text) < 4_000 and "Traceback" not in text and "\x1b" not in text, text
    for part in parts:
        assert part in text, text


def pack(*members: tuple[str, str | bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return stream.getvalue()


def rename_in(archive: bytes, old: bytes, new: bytes) -> bytes:
    """A member's name changed in place, past what the library would write."""
    assert len(old) == len(new) and archive.count(old) == 2
    return archive.replace(old, new)


def pack_link() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        link = zipfile.ZipInfo("inspection.csv")
        link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/hostname")
    return stream.getvalue()


def pack_lie(size: int) -> bytes:
    """The directory says another unpacked size than there is."""
    data = bytearray(pack(("inspection.csv", INSPECTION * 50)))
    struct.pack_into("<I", data, data.rfind(b"PK\x01\x02") + 24, size)
    return bytes(data)


def pack_overlap() -> bytes:
    """Two entries of the directory that lead to the same bytes, as in a bomb without recursion."""
    data = pack(("inspection.csv", INSPECTION))
    begin, end = data.rfind(b"PK\x01\x02"), data.rfind(b"PK\x05\x06")
    entry, tail = data[begin:end], bytearray(data[end:])
    struct.pack_into("<HHI", tail, 8, 2, 2, 2 * len(entry))
    return data[:end] + entry.replace(b"inspection.csv", b"i/spection.csv") + bytes(tail)


LONG = INSPECTION.encode()
GZIPPED = gzip.compress(LONG, mtime=0)
ARCHIVES = {
    "climbs": (pack(("../../inspection.csv", INSPECTION)), "no plain path"),
    "absolute": (pack(("/tmp/inspection.csv", INSPECTION)), "no plain path"),
    "backslash": (rename_in(pack(("a_inspection.csv", INSPECTION)), b"a_inspection", b"a\\inspection"), "no plain path"),
    "drive": (rename_in(pack(("a_inspection.csv", INSPECTION)), b"a_inspection", b"C:inspection"), "no plain path"),
    "control": (pack(("a\x1b[31m/inspection.csv", INSPECTION)), "no plain path"),
    "line end": (pack(("a\nb/inspection.csv", INSPECTION)), "no plain path"),
    "turned": (pack(("\u202evsc.noitcepsni.csv", INSPECTION)), "no plain path"),
    "lie": (pack_lie(7), "CRC"),
    "overlap": (pack_overlap(), "differ"),
    "many": (pack(*((f"{number}.txt", "") for number in range(10_001))), "10,001 files"),
    "cut": (pack(("inspection.csv", INSPECTION))[:-30], "not a zip file"),
    "no zip": (b"PK\x05\x06" + bytes(10), "not a zip file"),
}


@pytest.mark.parametrize("case", ARCHIVES)
def test_archives(home, refused, case):
    data, part = ARCHIVES[case]
    (home / "exports" / "b.zip").write_bytes(data)
    refused("bad-archive", "b.zip", part)


@pytest.mark.parametrize("data, part", [(GZIPPED[:-9], "ended"), (GZIPPED + b"more", "gzip")], ids=["cut", "more behind it"])
def test_broken_gzip(home, refused, data, part):
    (home / "exports" / "inspection.csv.gz").write_bytes(data)
    refused("bad-archive", "inspection.csv.gz", part)


def test_a_link_in_an_archive_is_its_text_and_leads_nowhere(home, refused):
    (home / "exports" / "b.zip").write_bytes(pack_link())
    refused("header-mismatch", "b.zip/inspection.csv", "'/etc/hostname'")


def test_an_archive_within_an_archive_is_not_opened(home, refused):
    (home / "exports" / "b.zip").write_bytes(pack(("c.csv.zip", pack(("inspection.csv", INSPECTION))), ("d.txt", "a,b\n")))
    refused("unknown-file", "b.zip/")


@pytest.mark.parametrize(
    "name, text, slug, part",
    [
        ("exports.toml", "ignore = " + "[" * 20_000, "bad-dialect", "exports.toml"),
        ("exports.toml", b"ignore = ['\xff']", "bad-dialect", "exports.toml"),
        ("dialects/x.toml", "name = " + "[" * 20_000, "bad-dialect", "x.toml"),
        ("dialects/x.toml", "skip_head = 99999999999999999999" + DIALECT, "bad-dialect", "skip_head"),
        ("dialects/x.toml", "skip_foot = 99999999999999999999" + DIALECT, "bad-dialect", "skip_foot"),
        ("dialects/x.toml", "skip_head = nan" + DIALECT, "bad-dialect", "skip_head"),
        ("dialects/x.toml", 'encoding = "../../x"' + DIALECT, "bad-dialect", "encoding"),
        ("dialects/x.toml", 'encoding = "a\\u0000b"' + DIALECT, "bad-dialect", "encoding"),
        ("dialects/x.toml", 'encoding = "idna"' + DIALECT, "bad-dialect", "encoding"),
        ("dialects/x.toml", 'encoding = "rot13"' + DIALECT, "bad-dialect", "encoding"),
        ("dialects/a\x1b[31m.toml", DIALECT, "unreadable-file", "control characters"),
        ("received.csv", "path,received_at\nvessel.csv,9999-12-31T23:59:59-23:59\n", "bad-received", "record 1"),
        ("received.csv", b"path,received_at\n\xff\xfe,2026-01-01\n", "bad-received", "received.csv"),
        (
            "corrections.csv",
            f"{CORRECTION}vessel.csv,{'9' * 5000},vessel_name,a,b,w,w,2026-01-01\n",
            "bad-correction",
            "record 1",
        ),
        ("corrections.csv", f"{CORRECTION}vessel.csv,1,vessel_name,a\0,b,w,w,2026-01-01\n", "correction-without-match", "x00"),
        (
            "corrections.csv",
            f"{CORRECTION}../../x,1,vessel_name,a,b,w,w,2026-01-01\n",
            "correction-without-match",
            "no such file",
        ),
        ("corrections.csv", CORRECTION.encode("utf-16"), "bad-correction", "can't be read"),
        ("vessel.csv", VESSEL.encode() + b"9999993,a\0b\n", "not-csv", "binary"),
        (
            "inspection.csv",
            'unit_id,imo_number,inspected_on,outcome,"\'); drop table record.unit; --"\n',
            "header-mismatch",
            "drop",
        ),
        ("a\x1b[31m/inspection.csv", INSPECTION, "unreadable-file", "control characters"),
        ("a\nb/inspection.csv", INSPECTION, "unreadable-file", "control characters"),
        ("d/" * 150 + "inspection.csv", INSPECTION, "unreadable-file", "folders deep"),
    ],
)
def test_hostile_words_and_names(home, refused, name, text, slug, part):
    write_folder(home / "exports", {name: text if isinstance(text, bytes) else text.encode()})
    refused(slug, part)


@pytest.mark.parametrize("name", ["x.csv", "exports.toml", "received.csv", "corrections.csv", "dialects/x.toml"])
def test_a_folder_where_a_file_should_be(home, refused, name):
    (home / "exports" / name).mkdir(parents=True)
    refused("unreadable-file", name)


def test_links_that_turn_in_a_circle(home, refused):
    (home / "exports" / "loop").symlink_to(home / "exports", target_is_directory=True)
    (home / "exports" / "x.csv").symlink_to("x.csv")
    refused("unreadable-file", "x.csv", "link that leads nowhere")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
@pytest.mark.parametrize("name", ["x.csv", "received.csv", "corrections.csv", "exports.toml", "dialects/x.toml"])
def test_a_pipe_does_not_keep_the_run_waiting(home, firekpi, name):
    (home / "exports" / "dialects").mkdir()
    os.mkfifo(home / "exports" / name)
    ended = firekpi(*RUN, patience=60)
    assert ended.code == 3
    assert_sentence(ended.err, "unreadable-file", name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_does_not_keep_learn_waiting(home, firekpi):
    os.mkfifo(home / "x.csv")
    ended = firekpi("learn", "x.csv", patience=60)
    assert ended.code == 3
    assert_sentence(ended.err, "unreadable-file", "x.csv")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no such device here")
@pytest.mark.parametrize("name", ["received.csv", "corrections.csv"])
def test_a_device_does_not_fill_the_memory(home, firekpi, name):
    (home / "exports" / name).symlink_to("/dev/zero")
    ended = firekpi(*RUN, patience=60)
    assert ended.code == 3 and ended.peak < GIB
    assert_sentence(ended.err, "unreadable-file", name)


def write_pieces(path: Path, *pieces: tuple[str, int]) -> None:
    """(text, how often), one after another."""
    with open(path, "wb") as stream:
        for text, count in pieces:
            data = text.encode()
            many = max(1, MIB // len(data))
            for _ in range(count // many):
                stream.write(data * many)
            stream.write(data * (count % many))


def bomb_zip(exports: Path) -> None:
    with zipfile.ZipFile(exports / "b.zip", "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        with archive.open("inspection.csv", "w") as member:
            for _ in range(300):
                member.write(bytes(MIB))
    assert (exports / "b.zip").stat().st_size < 4 * MIB


def bomb_gz(exports: Path) -> None:
    with gzip.open(exports / "inspection.csv.gz", "wb", compresslevel=1) as stream:
        for _ in range(300):
            stream.write(b"\n" * MIB)


def million_columns(exports: Path) -> None:
    write_pieces(exports / "vessel.csv", ("a,", 10**6), ("\n", 1))


def endless_header(exports: Path) -> None:
    write_pieces(exports / "vessel.csv", ("x", 100 * MIB), ("\n", 1))


def long_received(exports: Path) -> None:
    write_pieces(exports / "received.csv", ("path,received_at\n", 1), ("a", 200 * MIB))


def huge_settings(exports: Path) -> None:
    write_pieces(exports / "exports.toml", ("ignore = [", 1), ('"x",', 5_000_000), ("]", 1))


QUICK = {
    bomb_zip: "export-too-large",
    bomb_gz: "export-too-large",
    million_columns: "not-csv",
    endless_header: "not-csv",
    long_received: "export-too-large",
    huge_settings: "export-too-large",
}


@pytest.mark.parametrize("make", QUICK, ids=lambda make: make.__name__)
def test_what_is_too_large_is_refused_in_a_gibibyte(home, tmp_path, firekpi, make):
    make(home / "exports")
    (tmp_path / "out").touch(), (tmp_path / "err").touch()
    before = {name for name, _ in snapshot(tmp_path)}
    ended = firekpi(*RUN)
    assert ended.code == 3 and ended.out == "" and ended.peak < GIB
    assert_sentence(ended.err, QUICK[make])
    assert {name for name, _ in snapshot(tmp_path)} == before and not list((home / ".firekpi").glob("files/*"))


def blank_lines(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (VESSEL, 1), ("\n", 200 * MIB), (f"{VESSEL_A},Quiet Heron\n", 1))


def short_lines(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (VESSEL, 1), ("x\n", 100 * MIB))


def long_cell(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (f'{VESSEL}{VESSEL_A},"', 1), ("x", 100 * MIB), ('"\n', 1))


def long_astral_cell(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (f'{VESSEL}{VESSEL_A},"\U0001f600', 1), ("x", 100 * MIB), ('"\n', 1))


def open_quotes(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (VESSEL, 1), (f'{VESSEL_A},"Quiet\n', 200_000))


def quotes_that_open_again(exports: Path) -> None:
    write_pieces(exports / "a" / "vessel.csv", (VESSEL, 1), ('a","b\n', 200_000))


def many_corrections(exports: Path) -> None:
    with open(exports / "corrections.csv", "w") as stream:
        stream.write(CORRECTION)
        stream.writelines(f"vessel.csv,{n},vessel_name,a,b,why it is so,someone aboard,2026-01-01\n" for n in range(1, 1_500_000))


# What each ends in: a slug, or the rule that one record is quarantined under, or nothing.
LONG_ONES = {
    blank_lines: "",
    short_lines: "not-csv",
    long_cell: "record-too-long",
    long_astral_cell: "record-too-long",
    open_quotes: "not-csv",
    quotes_that_open_again: "not-csv",
    many_corrections: "export-too-large",
}


@pytest.mark.slow
@pytest.mark.parametrize("make", LONG_ONES, ids=lambda make: make.__name__)
def test_what_is_long_is_read_in_a_gibibyte(home, firekpi, make):
    (home / "exports" / "a").mkdir()
    make(home / "exports")
    ended = firekpi(*RUN, patience=600)
    assert ended.peak < GIB
    if ended.code:
        assert_sentence(ended.err, LONG_ONES[make])
    else:
        assert ended.err == "" and LONG_ONES[make] in ended.out


HOSTILE_TEXTS = [
    "'); drop table record.unit; --",
    "=cmd|' /C calc'!A0",
    "<script>alert(1)</script>",
    "\u202egnp.exe\u200f",
    "x" * 5_000,
    "{{7*7}} ${a} %s%n {0} $p0 ?",
    "a\x1b[31mb\x07",
    "\\",
    '""',
    "\ufffe\uffff\u2028",
    "a\nb",
]


def test_hostile_content_arrives_as_it_is_and_does_nothing(home, tmp_path, capsys):
    """Texts, a dialect's name and every path of the command made to be run as SQL, markup, a glob or a format: one run, all whole."""
    name, store, db = "it's [a] %d *?\"x", 'it\'s a "store" %s *', "o'db \"; drop.duckdb"
    os.rename(home / "exports", home / name)
    quoted = [text.replace('"', '""') for text in HOSTILE_TEXTS]
    lines = [f'U1,{VESSEL_A},2026-01-{n:02},satisfactory,"{text}"' for n, text in enumerate(quoted, start=1)]
    bad = ["'); drop table record.unit; --,,2026-01-01,=1+1,<b>"]
    text = "\n".join(["unit_id,imo_number,inspected_on,outcome,remarks", *lines, *bad]) + "\n"
    inner = 'd\'e "f" %s [x]*{y}/log.csv'
    columns = 'remarks = "remarks", unit_id'
    dialect = DIALECT.replace('"log"', '"../../x\\u001b[31m\'"').replace('"log.csv"', '"*log.csv"').replace("unit_id", columns, 1)
    write_folder(home / name, {inner: text.encode(), "dialects/x.toml": dialect})
    outside = {item for item in snapshot(tmp_path) if item[1]}
    assert main(["run", name, "--no-site", "--as-of", "2026-05-10", "--store", store, "--db", db]) == 0
    assert main(["quarantine", "--db", db, "--export", "sheets"]) == 0
    said = capsys.readouterr()
    assert said.err == "" and "\x1b" not in said.out
    with duckdb.connect(str(home / db), read_only=True) as con:
        rows = con.execute("select remarks from record.inspection where remarks is not null order by inspected_on").fetchall()
        assert [remark for (remark,) in rows] == HOSTILE_TEXTS
        assert con.execute("select count(*) from record.unit").fetchone() == (2,)
        assert con.execute("select count(distinct record_no) from intake.quarantine").fetchone() == (1,)
    new = {item for item, size in snapshot(tmp_path) - outside if not item.startswith((f"home/{store}", f"home/{name}"))}
    assert {item for item in new if item.count("/") != 1 or "duckdb" not in item} <= {"home", "home/sheets"} | {
        item for item in new if item.startswith("home/sheets/quarantine-")
    }
    (sheet,) = (home / "sheets").iterdir()
    assert sheet.name.startswith("quarantine-x-31m-") and "\n'=1+1" not in sheet.read_text() and ",'=1+1," in sheet.read_text()
