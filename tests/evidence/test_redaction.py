"""Names of persons withheld: from the originals, the tables and the report, while every figure stays."""

from __future__ import annotations

import duckdb
import pytest

from pipeline.errors import UserError
from pipeline.evidence.pack import PackOptions, make_pack
from pipeline.evidence.redact import replace_names
from pipeline.evidence.verify import verify_pack
from pipeline.run import RunOptions, run
from pipeline.sheets import export_sheets
from tests.conftest import VESSEL_A
from tests.evidence.conftest import DAY, FLEET, file_bytes


def test_no_name_is_left_and_every_figure_stays(pack, kept_store, tmp_path):
    out = tmp_path / "pack"
    said = make_pack(PackOptions(VESSEL_A, out, kept_store, DAY, has_pdf=False, redacted=("Looked at by", "Note")))
    assert any(line.startswith("withheld") for line in said) and any("log_1.csv line 6" in line for line in said)
    files, before = file_bytes(out), file_bytes(pack)
    for name in (b"Ann Otherly", b"Bo Nemo", b"Di Rector"):
        assert any(name in data for data in before.values())
        assert not any(name in data for path, data in files.items() if not path.endswith(".parquet")), name
    one, other = (held["data/originals/fleet/log_1.csv"].decode().splitlines() for held in (before, files))
    assert (
        len(one) == len(other)
        and other[1] == "U1;9999993;01.04.2026;ok;withheld;"
        and other[3].startswith("U3;9999993;01.04.2026;fine;")
    )
    for name in ("figure.unit_now", "figure.verdict", "figure.agent_mix"):
        plain = [held[f"data/tables/{name}.csv"].decode().split("\n")[0] for held in (before, files)]
        assert plain[0] == plain[1]
    assert verify_pack(out)[1].startswith("same")


def test_what_figures_rest_on_can_not_be_withheld(kept_store, tmp_path):
    with pytest.raises(UserError) as caught:
        make_pack(PackOptions(VESSEL_A, tmp_path / "pack", kept_store, DAY, has_pdf=False, redacted=("Seen",)))
    assert caught.value.slug == "not-redactable" and not (tmp_path / "pack").exists()


def test_the_longest_name_goes_first():
    assert replace_names("seen by Ann Otherly and Ann", {"Ann", "Ann Otherly"}) == "seen by withheld and withheld"


def read_parquet(path) -> bytes:
    """Its rows as text."""
    with duckdb.connect() as con:
        return str(con.execute("select * from read_parquet($path)", {"path": str(path)}).fetchall()).encode()


def test_names_above_the_header_in_reasons_and_in_sheets(exports, tmp_path):
    """Lines that are no records, what a correction tells of who asked for it, and a mended sheet that answers a redacted file."""
    fleet = {name: text for name, text in FLEET.items() if name != "received.csv"}
    fleet["dialects/log.toml"] = fleet["dialects/log.toml"].replace('delimiter = ";"', 'delimiter = ";"\n        skip_head = 1')
    for name in ("log_1.csv", "log_2.csv", "later/log_3.csv"):
        fleet[name] = f"kept by Ann Otherly\n{fleet[name]}"
    fleet["corrections.csv"] = fleet["corrections.csv"].replace("for ok,Di Rector", "for ok as Di Rector heard,Di Rector")
    folder, store, db = exports(fleet, "fleet"), tmp_path / "store", tmp_path / "x.duckdb"
    run(RunOptions((folder,), store, db, DAY))
    before = set(folder.iterdir())
    export_sheets(db, folder, "round-log")
    (sheet,) = set(folder.iterdir()) - before
    sheet.write_text(sheet.read_text(encoding="utf-8-sig").replace("31.02.2026", "28.02.2026"), encoding="utf-8")
    run(RunOptions((folder,), store, db, DAY))
    out = tmp_path / "pack"
    said = make_pack(PackOptions(VESSEL_A, out, store, DAY, has_pdf=False, redacted=("Looked at by",)))
    assert any("log_1.csv line 1" in line for line in said)
    for path, data in file_bytes(out).items():
        text = read_parquet(out / path) if path.endswith(".parquet") else data
        assert b"Ann Otherly" not in text and b"Di Rector" not in text, path
    assert verify_pack(out)[1].startswith("same")
