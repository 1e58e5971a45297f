"""A pack holds what its reader needs, comes out the same twice, and tells what the store tells."""

from __future__ import annotations

import csv
import gzip
import io
import json
import shutil
import subprocess
import zipfile
from datetime import date, datetime

import bagit
import duckdb
import pytest
from prov.model import ProvDocument

from pipeline.evidence.pack import PackOptions, make_pack
from pipeline.evidence.verify import verify_pack
from pipeline.run import RunOptions, run
from pipeline.withdraw import withdraw_file
from tests.conftest import VESSEL_A, VESSEL_B
from tests.evidence.conftest import DAY, FLEET, file_bytes


def table(pack, name: str) -> list[dict]:
    return list(csv.DictReader(io.StringIO((pack / "data/tables" / f"{name}.csv").read_text(encoding="utf-8"))))


def test_others_accept_the_pack(pack):
    """coreutils' sha256sum (the check that an auditor has at hand), and bagit's own validation (RFC 8493)."""
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        subprocess.run(["sha256sum", "-c", "--quiet", "--strict", manifest], cwd=pack, check=True)
    bag = bagit.Bag(str(pack))
    bag.validate()
    assert bag.version_info == (1, 0) and bag.info["Bagging-Date"] == "2026-05-20"


def test_it_encloses_what_bears_on_the_vessel_and_no_more(pack):
    names = {name.removeprefix("data/") for name in file_bytes(pack)}
    originals = {name.removeprefix("originals/fleet/") for name in names if name.startswith("originals/")}
    assert originals == {
        "vessel.csv",
        "unit.csv",
        "service.csv",
        "finding.csv",
        "log_1.csv",
        "corrections.csv",
        "later/log_3.csv",
    }
    assert "dialects/fleet/log.toml" in names and not any("prices" in name for name in names)
    assert {"report.html", "report.pdf", "prov.json", "pack.json", "received.json", "README.txt"} <= names
    checked = json.loads((pack / "data/validation/inspection.json").read_text())
    assert checked["statistics"]["unsuccessful_expectations"] > 0
    assert checked["meta"]["batch_markers"]["ge_load_time"] == "2026-05-20T23:59:59Z"


def test_the_same_call_gives_the_same_bytes(pack, kept_store, tmp_path):
    make_pack(PackOptions(VESSEL_A, tmp_path / "pack", kept_store, DAY))
    once, again = file_bytes(pack), file_bytes(tmp_path / "pack")
    assert [name for name in once if once[name] != again.get(name)] == [] and once.keys() == again.keys()


def test_a_zip_holds_the_same_and_is_the_same_twice(pack, kept_store, tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        make_pack(PackOptions(VESSEL_A, tmp_path / name / "pack", kept_store, DAY, is_zipped=True))
    one = tmp_path / "one/pack.zip"
    assert one.read_bytes() == (tmp_path / "two/pack.zip").read_bytes()
    with zipfile.ZipFile(one) as packed:
        assert {name.removeprefix("pack/"): packed.read(name) for name in packed.namelist()} == file_bytes(pack)
    assert verify_pack(one)[1].startswith("same")


def test_it_verifies_without_the_store(pack_copy):
    whole, same, signed = verify_pack(pack_copy)
    assert whole.startswith("whole") and same.startswith("same") and "not signed" in signed


@pytest.mark.parametrize("as_of", [date(2026, 2, 2), date(2026, 4, 12), date(2027, 1, 1)])
def test_its_figures_are_those_of_a_run(kept_store, tmp_path, as_of):
    make_pack(PackOptions(VESSEL_A, tmp_path / "pack", kept_store, as_of, has_pdf=False))
    verify_pack(tmp_path / "pack")
    store = shutil.copytree(kept_store, tmp_path / "store")
    run(RunOptions((), store, tmp_path / "run.duckdb", as_of, is_trial=True))
    with duckdb.connect(str(tmp_path / "run.duckdb"), read_only=True) as con:
        for name in ("duty_now", "verdict", "unit_now", "agent_mix"):
            cursor = con.execute(f"select columns(*)::varchar from figure.{name} where imo_number = '{VESSEL_A}' order by all")
            head = [column[0] for column in cursor.description]
            rows = [dict(zip(head, (cell or "" for cell in row), strict=True)) for row in cursor.fetchall()]
            assert sorted(map(str, table(tmp_path / "pack", f"figure.{name}"))) == sorted(map(str, rows)), name
            assert rows or name == "verdict"


def test_what_came_later_was_not_known_then(kept_store, tmp_path):
    """The look of 30 April came on 20 May: on 10 May, U1's last known look was of 1 April."""
    then = PackOptions(VESSEL_A, tmp_path / "then", kept_store, DAY, datetime(2026, 5, 10), has_pdf=False)
    make_pack(then)
    looked = {row["unit_id"]: row["last_inspected_on"] for row in table(tmp_path / "then", "figure.unit_now")}
    assert looked == {"U1": "2026-04-01", "U2": "2026-04-01", "U3": "2026-04-01"}
    make_pack(PackOptions(VESSEL_A, tmp_path / "now", kept_store, DAY, has_pdf=False))
    looked = {row["unit_id"]: row["last_inspected_on"] for row in table(tmp_path / "now", "figure.unit_now")}
    assert looked == {"U1": "2026-04-30", "U2": "2026-04-01", "U3": "2026-04-30"}
    store = shutil.copytree(kept_store, tmp_path / "store")
    withdraw_file(store, "fleet/later/log_3.csv", "meant for another vessel", None)
    make_pack(PackOptions(VESSEL_A, tmp_path / "after", store, DAY, has_pdf=False))
    looked = {row["unit_id"]: row["last_inspected_on"] for row in table(tmp_path / "after", "figure.unit_now")}
    assert looked["U1"] == "2026-04-01"
    assert (tmp_path / "after/data/originals/fleet/later/log_3.csv").is_file()  # withdrawn, and still there to be seen
    verify_pack(tmp_path / "after")
    make_pack(PackOptions(VESSEL_A, tmp_path / "again", store, DAY, datetime(2026, 5, 10), has_pdf=False))
    assert file_bytes(tmp_path / "again") == file_bytes(tmp_path / "then")


def test_every_cell_of_a_verdict_leads_to_its_line(pack):
    """Each cell has a record or says that there is none; the line of the original holds what the cell was read from."""
    led = {(row["figure"], row["unit_id"], row["column_name"], row["cell"]): row for row in table(pack, "provenance")}
    cells = 0
    for name in ("figure.verdict", "figure.placement_now", "figure.duty_now", "figure.unit_now"):
        for row in table(pack, name):
            for column, cell in row.items():
                if (
                    cell
                    and column not in ("imo_number", "unit_id", "is_group", "duty", "rule_id", "breach", "table_name")
                    and not column.endswith(("_id", "_no"))
                ):
                    found = [led[key] for key in led if key[:3] == (name, row["unit_id"], column)]
                    assert found, (name, row["unit_id"], column)
                    cells += 1
    assert cells > 60
    columns = {(row["table_name"], row["column_name"]): row["header"] for row in table(pack, "intake.column_source")}
    compared = 0
    for row in table(pack, "provenance"):
        if not row["path"]:
            assert row["of_what"] == "none on record"
            continue
        line = (pack / "data/originals" / row["path"]).read_text(encoding="utf-8").splitlines()[int(row["line_no"]) - 1]
        assert row["unit_id"] in line or row["unit_id"].count("·"), row
        if row["path"].endswith("unit.csv") and row["column_name"] in ("agent", "position_no", "made_on", "in_service_on"):
            assert row["cell"] in line.split(",") and columns["unit", row["column_name"]] == row["header"]
            compared += 1
    assert compared == 12


def test_what_could_not_be_loaded_and_what_was_put_right_is_told(pack):
    assert {row["rule"] for row in table(pack, "intake.quarantine")} == {"impossible-date", "ragged-record"}
    assert [(row["who"], row["from_value"], row["to_value"]) for row in table(pack, "intake.correction")] == [
        ("Di Rector", "fine", "ok")
    ]
    report = (pack / "data/report.html").read_text(encoding="utf-8")
    assert "the mate writes fine for ok (Di Rector, 2026-04-05)" in report and "31.02.2026" in report


def test_a_unit_that_moved_brings_its_records(pack):
    """U3 came from another vessel, whose services of it count on."""
    assert {(row["imo_number"], row["serviced_on"]) for row in table(pack, "record.service") if row["unit_id"] == "U3"} == {
        (VESSEL_B, "2024-05-01")
    }
    due = [row for row in table(pack, "figure.duty_now") if (row["unit_id"], row["duty"]) == ("U3", "annual_service")]
    assert [row["basis_on"] for row in due] == ["2024-05-01"]
    assert {row["imo_number"] for row in table(pack, "record.vessel")} == {VESSEL_A, VESSEL_B}


def test_prov_json_reads_back(pack):
    """By the prov library, W3C PROV-JSON: every enclosed export was used by the run, and the report derives from it."""
    document = ProvDocument.deserialize(content=(pack / "data/prov.json").read_text(encoding="utf-8"), format="json")
    records = json.loads((pack / "data/prov.json").read_text(encoding="utf-8"))
    files = {name for name in records["entity"] if name.startswith("file:")}
    assert len(files) == 6 and document.get_records()
    assert files <= {used["prov:entity"] for used in records["used"].values()}
    assert files == {item["prov:usedEntity"] for item in records["wasDerivedFrom"].values()}


def test_the_printed_report_holds_what_the_page_holds(pack, tmp_path):
    text = subprocess.run(
        ["pdftotext", "-layout", pack / "data/report.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    for word in (
        "Quiet Heron",
        "U1",
        "U2",
        "U3",
        "FE-03",
        "never replaces",
        "Signature",
        "page 1 of",
        "log_1.csv",
        "annual service",
    ):
        assert word in text, word
    assert "http" not in (pack / "data/report.html").read_text(encoding="utf-8").replace("http-equiv", "")


def test_an_archive_is_enclosed_as_it_came(exports, tmp_path):
    """And its content beside it, from which everything is worked out."""
    packed = gzip.compress(FLEET["service.csv"].replace("        ", "").encode(), mtime=0)
    fleet = {name: text for name, text in FLEET.items() if name not in ("service.csv", "received.csv")} | {
        "service.csv.gz": packed
    }
    run(RunOptions((exports(fleet, "fleet"),), tmp_path / "store", tmp_path / "x.duckdb", DAY))
    make_pack(PackOptions(VESSEL_A, tmp_path / "pack", tmp_path / "store", DAY, has_pdf=False))
    (container,) = (tmp_path / "pack/data/containers/fleet").iterdir()
    assert container.read_bytes() == packed
    assert (tmp_path / "pack/data/originals/fleet/service.csv.gz.unpacked").read_bytes() == gzip.decompress(packed)
    assert verify_pack(tmp_path / "pack")[1].startswith("same")


def test_names_that_manifests_can_not_hold(exports, tmp_path):
    """A percent sign and a line separator, in the folder's name and in a file's; with its dialect and a rule of the company."""
    folder = exports(
        {**FLEET, "log_2%0A.csv": FLEET["log_1.csv"].replace(";01.04.", ";02.04.").replace("fine", "ok")}, "ships%0A\u2028x"
    )
    run(RunOptions((folder,), tmp_path / "store", tmp_path / "x.duckdb", DAY))
    make_pack(PackOptions(VESSEL_A, tmp_path / "pack", tmp_path / "store", DAY, has_pdf=False))
    assert not any("%" in name or "\u2028" in name for name in file_bytes(tmp_path / "pack"))
    assert verify_pack(tmp_path / "pack")[1].startswith("same")


def test_a_vessel_without_units_has_a_pack(exports, tmp_path):
    fleet = {name: text for name, text in FLEET.items() if name != "received.csv"}
    fleet["vessel.csv"] += "\n9999967,Lone Tern,XA,2018-01-01"
    run(RunOptions((exports(fleet, "fleet"),), tmp_path / "store", tmp_path / "x.duckdb", DAY))
    make_pack(PackOptions("9999967", tmp_path / "pack", tmp_path / "store", DAY, has_pdf=False))
    assert "no unit is aboard" in (tmp_path / "pack/data/report.html").read_text() and verify_pack(tmp_path / "pack")
