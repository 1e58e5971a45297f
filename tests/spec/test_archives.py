"""Packed exports: read as if they lay there unpacked, and refused whole with one sentence where they can't be trusted."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile

import pytest

from pipeline.errors import UserError
from pipeline.intake import unpack as unpacking


def pack(members: dict[str, str | bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def rows_of(text: str) -> str:
    return "\n".join(line.strip() for line in text.strip().splitlines()) + "\n"


@pytest.fixture
def plain(small_fleet) -> dict[str, str]:
    return {name: rows_of(text) for name, text in small_fleet.items()}


def test_packed_exports_give_the_rows_of_plain_ones(exports, run_on, plain, tmp_path):
    texts = {
        "unit.csv.gz": gzip.compress(plain["unit.csv"].encode()),
        "may.zip": pack(
            {
                "ship/vessel.csv": plain["vessel.csv"],
                "ship/inspection.csv": plain["inspection.csv"],
                "notes.pdf": "x",
                "ship/twice.csv.gz": gzip.compress(b"a"),
                "__MACOSX/._a.csv": "y",
            }
        ),
    }
    summary, con = run_on(exports(texts))
    _, other = run_on(exports(plain, "plain"), store="plain-store")
    for table in ("vessel", "unit", "inspection"):
        sql = f"select * exclude (file_id) from record.{table} order by all"
        assert con.execute(sql).fetchall() == other.execute(sql).fetchall() != []
    assert sorted(path for (path,) in con.execute("select path from intake.file").fetchall()) == [
        "exports/may.zip/ship/inspection.csv",
        "exports/may.zip/ship/vessel.csv",
        "exports/unit.csv.gz",
    ]
    assert (
        con.execute("select sha256 from intake.file where path like '%unit%'").fetchone()[0]
        == hashlib.sha256(plain["unit.csv"].encode()).hexdigest()
    )
    assert all(any(f"may.zip/{name}" in note for note in summary.notes) for name in ("notes.pdf", "ship/twice.csv.gz"))
    kept = tmp_path / "store" / "files"
    assert all((kept / hashlib.sha256(data).hexdigest()).read_bytes() == data for data in texts.values()), (
        "archives are kept as they came"
    )


def test_received_and_ignored_speak_of_an_archive_or_of_a_member(exports, run_on, plain):
    texts = {
        **{name: plain[name] for name in ("vessel.csv", "unit.csv")},
        "may.zip": pack({"inspection.csv": plain["inspection.csv"], "old/inspection.csv": "garbage"}),
        "received.csv": "path,received_at\nmay.zip,2026-05-02",
        "exports.toml": 'ignore = ["may.zip/old/*"]',
    }
    summary, con = run_on(exports(texts))
    assert con.execute("select received_at::date::varchar from intake.file where path like '%.zip/%'").fetchall() == [
        ("2026-05-02",)
    ]
    assert not any("not there" in note for note in summary.notes)


@pytest.mark.parametrize(
    "name",
    [
        "../inspection.csv",
        "/etc/inspection.csv",
        "a/../../inspection.csv",
        "a\\..\\b.csv",
        "C:/inspection.csv",
        "a//b.csv",
        "a\nb.csv",
        "a\u202eb.csv",
        "./a.csv",
    ],
)
def test_names_that_lead_out_of_an_archive_are_refused(exports, run_on, plain, name):
    with pytest.raises(UserError, match="no plain path") as caught:
        run_on(exports({**plain, "may.zip": pack({name: "x"})}))
    assert caught.value.slug == "bad-archive" and "\n" not in str(caught.value) and "\u202e" not in str(caught.value)


@pytest.mark.parametrize(
    "name, data",
    [
        ("may.zip", b"PK\x03\x04 no archive"),
        ("may.zip", b""),
        ("may.zip", pack({"a.csv": "x" * 5000})[:-40]),
        ("unit.csv.gz", b"no gzip"),
        ("unit.csv.gz", gzip.compress(b"unit_id,imo_number\n" * 50)[:-9]),
    ],
    ids=["begins-like-one", "empty", "cut", "no-gzip", "cut-gzip"],
)  # fmt: skip
def test_damaged_archives_are_refused(exports, run_on, plain, name, data):
    texts = {key: text for key, text in plain.items() if key != "unit.csv"}
    with pytest.raises(UserError, match="can't be unpacked"):
        run_on(exports({**texts, name: data}))


def test_one_flipped_byte_in_a_member_is_seen(exports, run_on, plain):
    data = bytearray(pack({"inspection.csv": plain["inspection.csv"] * 20}))
    data[60] ^= 0xFF
    with pytest.raises(UserError, match="can't be unpacked"):
        run_on(exports({**plain, "may.zip": bytes(data)}))


def test_a_name_twice_is_refused(exports, run_on, plain):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive, pytest.warns(UserWarning):
        archive.writestr("a.csv", "x")
        archive.writestr("a.csv", "y")
    with pytest.raises(UserError, match="twice"):
        run_on(exports({**plain, "may.zip": stream.getvalue()}))


def test_a_bomb_is_refused_before_it_goes_off(exports, run_on, plain, monkeypatch):
    """The bound is lowered, so that the test is quick; tests/faults tries the real one."""
    monkeypatch.setattr(unpacking, "MOST_BYTES", 1 << 20)
    for name, data in {
        "may.zip": pack({"inspection.csv": b"0" * (4 << 20)}),
        "unit.csv.gz": gzip.compress(b"0" * (4 << 20)),
    }.items():
        with pytest.raises(UserError, match="larger than the 1 MB") as caught:
            run_on(exports({**plain, name: data}, name))
        assert caught.value.slug == "export-too-large"
