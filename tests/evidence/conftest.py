"""One small fleet with a past: three vessels, a unit that moved, late and corrected files, names of persons, rows that can't be loaded."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from pipeline.evidence.pack import PackOptions, make_pack
from pipeline.run import RunOptions, run
from tests.conftest import VESSEL_A, VESSEL_B, write_folder

VESSEL_C = "9999979"
FLEET = {
    "dialects/log.toml": """
        name = "round-log"
        files = ["log_*.csv"]
        delimiter = ";"
        date_formats = ["%d.%m.%Y"]
        ignore_columns = ["Looked at by"]
        [[table]]
        name = "inspection"
        [table.columns]
        unit_id = "No"
        imo_number = "Ship"
        inspected_on = "Day"
        outcome = { from = "Seen", words = { ok = "satisfactory", bad = "unsatisfactory" } }
        remarks = "Note"
        """,
    "rules/prices.toml": """
        currency = "EUR"
        of = 2026-01-01
        lead_days = 30
        life_years = 20
        failure = 1000
        [[unit]]
        agent = "powder"
        replacement = 200
        pressure_test = 50
        """,
    "vessel.csv": f"""imo_number,vessel_name,flag,joined_on
        {VESSEL_A},Quiet Heron,XA,2018-01-01
        {VESSEL_B},Slow Plover,XA,2018-01-01
        {VESSEL_C},Far Curlew,XA,2018-01-01""",
    "unit.csv": f"""unit_id,imo_number,position_no,agent,form,charge_kg,full_mass_kg,made_on,in_service_on,removed_on
        U1,{VESSEL_A},FE-01,powder,portable,6,9.9,2015-01-31,2018-01-31,
        U2,{VESSEL_A},FE-02,co2,portable,5,15,2018-06-01,2020-02-01,
        U3,{VESSEL_B},FE-01,powder,portable,6,9.9,2016-05-01,2018-02-01,2025-03-01
        U3,{VESSEL_A},FE-03,powder,portable,6,9.9,2016-05-01,2025-03-02,
        U9,{VESSEL_C},FE-01,powder,portable,6,9.9,2017-05-01,2018-02-01,""",
    "service.csv": f"""unit_id,imo_number,serviced_on,kind,outcome,provider
        U1,{VESSEL_A},2025-06-10,annual_service,satisfactory,Nobody Works
        U2,{VESSEL_A},2025-06-10,annual_service,satisfactory,Nobody Works
        U3,{VESSEL_B},2024-05-01,annual_service,satisfactory,Nobody Works
        U9,{VESSEL_C},2025-05-01,annual_service,satisfactory,Nobody Works""",
    "finding.csv": f"""unit_id,imo_number,found_on,found_by,component,defect,severity,closed_on
        U1,{VESSEL_A},2026-02-01,inspection,pin,missing,unfit,2026-02-03
        U2,{VESSEL_A},2026-04-11,inspection,label,illegible,minor,""",
    "log_1.csv": f"""No;Ship;Day;Seen;Looked at by;Note
        U1;{VESSEL_A};01.04.2026;ok;Ann Otherly;
        U2;{VESSEL_A};01.04.2026;ok;Bo Nemo;seen by Bo Nemo
        U3;{VESSEL_A};01.04.2026;fine;Ann Otherly;
        U1;{VESSEL_A};31.02.2026;ok;Ann Otherly;
        U2;{VESSEL_A};01.03.2026;ok;Bo Nemo;one;cell too many""",
    "log_2.csv": f"""No;Ship;Day;Seen;Looked at by;Note
        U9;{VESSEL_C};01.04.2026;fine;Cy Someone;""",
    "corrections.csv": """file,record,column,from,to,why,who,on
        log_1.csv,3,Seen,fine,ok,the mate writes fine for ok,Di Rector,2026-04-05
        log_2.csv,1,Seen,fine,ok,the mate writes fine for ok,Di Rector,2026-04-05""",
    "later/log_3.csv": f"""No;Ship;Day;Seen;Looked at by;Note
        U1;{VESSEL_A};30.04.2026;ok;Ann Otherly;
        U3;{VESSEL_A};30.04.2026;ok;Ann Otherly;""",
    "received.csv": """path,received_at
        vessel.csv,2026-01-05
        unit.csv,2026-01-05
        service.csv,2026-01-05
        finding.csv,2026-04-15
        log_1.csv,2026-04-15
        log_2.csv,2026-04-15
        corrections.csv,2026-04-15
        later/log_3.csv,2026-05-20""",
}
FLEET["dialects/log.toml"] = FLEET["dialects/log.toml"].replace('["log_*.csv"]', '["log_*.csv", "later/log_*.csv"]')
DAY = date(2026, 5, 10)


@pytest.fixture(scope="session")
def kept_store(tmp_path_factory) -> Path:
    """The store after one run; tests that change it take a copy."""
    place = tmp_path_factory.mktemp("evidence")
    folder = write_folder(place / "fleet", FLEET)
    run(RunOptions((folder,), place / "store", place / "fleet.duckdb", DAY))
    return place / "store"


@pytest.fixture(scope="session")
def pack(kept_store, tmp_path_factory) -> Path:
    """The pack of vessel A on the day, all known; tests that change it take a copy."""
    out = tmp_path_factory.mktemp("packs") / "pack"
    make_pack(PackOptions(VESSEL_A, out, kept_store, DAY))
    return out


@pytest.fixture
def pack_copy(pack, tmp_path) -> Path:
    return Path(shutil.copytree(pack, tmp_path / "copy"))


def file_bytes(folder: Path) -> dict[str, bytes]:
    """Every file below the folder by its path."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
