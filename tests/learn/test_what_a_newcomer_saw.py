"""What someone who took on three fleets with `learn` stumbled over, one small invented list each.

In: a list as text, in a folder. Out: the draft, where it lies, and what the report says. All names and numbers are invented.
"""

from __future__ import annotations

import tomllib

import pytest

from pipeline.intake.read_dialect import parse_dialect
from pipeline.learn.command import learn_command
from pipeline.learn.learn import learn_dialect
from pipeline.learn.report import report_lines
from pipeline.learn.sources import find_home
from pipeline.learn.trial import Trial
from tests.conftest import VESSEL_A

REGISTER = "Serial;IMO;Agent;Charge (kg);Maker;In service on;Removed on\n"
SERVICES = "Serial;IMO;Service date;Work;Gauge;Weight;Zone\n"


@pytest.fixture
def learn(tmp_path):
    """Call with the text of a list to get the draft and its parsed TOML; the draft as proposed is always a dialect."""

    def call(text: str):
        path = tmp_path / "list.csv"
        path.write_text(text.replace("{A}", VESSEL_A), encoding="utf-8")
        draft = learn_dialect([path])
        parse_dialect(tomllib.loads(draft.trial_text))
        return draft, tomllib.loads(draft.text)

    return call


def columns_of(spec: dict) -> dict:
    return spec["table"][0]["columns"]


def register_rows(pairs: list[tuple[str, str]]) -> str:
    return REGISTER + "".join(f"U{n};{{A}};CO2;5;Vorrandel;{start};{end}\n" for n, (start, end) in enumerate(pairs))


# --- dates -----------------------------------------------------------------------------------------------------------


def test_one_list_with_the_year_first_and_last_asks_for_the_forms_of_the_whole_file(learn):
    pairs = [(f"{20 + n % 5}-0{n % 9 + 1}-{10 + n % 9}", f"{10 + n % 9}-0{n % 9 + 1}-{20 + n % 8}") for n in range(28)]
    draft, spec = learn(register_rows(pairs))
    assert spec["date_formats"] == ["?"]
    assert 'write "%d-%m-%y" or "%y-%m-%d"; a column that is written otherwise takes formats of its own' in draft.text
    assert {finding.marks for finding in draft.findings if finding.header.endswith(" on")} == {("formats",)}
    assert not any("formats" in source for source in columns_of(spec).values() if isinstance(source, dict))


def test_a_column_that_settles_itself_has_its_own_forms_and_the_rest_is_asked_for(learn):
    pairs = [(f"{95 + n}-01-1{n}", f"1{n}-01-2{n}") for n in range(5)]
    _, spec = learn(register_rows(pairs))
    assert spec["date_formats"] == ["?"]
    assert columns_of(spec)["in_service_on"]["formats"] == ["%y-%m-%d"]
    assert columns_of(spec)["removed_on"] == "Removed on"


def test_the_day_that_stands_last_year_by_year_is_no_year(learn):
    _, spec = learn(register_rows([(f"{10 + n}-03-01", "") for n in range(9)]))
    assert spec["date_formats"] == ["?"]


def test_a_column_whose_years_stand_last_tells_it_of_another_that_does_not_lean_the_other_way(learn):
    _, spec = learn(register_rows([(f"{10 + n}.03.19", "14.05.25" if n == 1 else "") for n in range(9)]))
    assert spec["date_formats"] == ["%d.%m.%y"] and columns_of(spec)["removed_on"] == "Removed on"
    _, spec = learn(register_rows([(f"{10 + n}.03.19", f"25.05.{10 + n}") for n in range(9)]))
    assert spec["date_formats"] == ["?"] and columns_of(spec)["in_service_on"]["formats"] == ["%d.%m.%y"]


def test_day_month_and_year_that_can_all_change_places_name_three_forms(learn):
    draft, spec = learn(register_rows([("01/02/03", ""), ("04/05/06", "")]))
    assert spec["date_formats"] == ["?"]
    assert 'write "%d/%m/%y" or "%m/%d/%y" or "%y/%m/%d"' in draft.text


# --- where the draft lies --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", ["dialects/", "received.csv", "exports.toml", "vessel.csv", "vessel.csv.gz"])
def test_the_folder_of_exports_is_known_by_its_signs(tmp_path, sign):
    deep = tmp_path / "fleet" / "yard" / "2026"
    deep.mkdir(parents=True)
    (tmp_path / "fleet" / sign).mkdir() if sign.endswith("/") else (tmp_path / "fleet" / sign).touch()
    assert find_home(deep / "a.csv") == tmp_path / "fleet"


def test_without_a_sign_it_is_the_files_own_folder_and_never_above_the_users_home(tmp_path, monkeypatch):
    (tmp_path / "vessel.csv").touch()
    home = tmp_path / "home"
    (home / "lists").mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    assert find_home(home / "lists" / "a.csv") == home / "lists"
    monkeypatch.setenv("HOME", str(tmp_path / "elsewhere"))
    assert find_home(home / "lists" / "a.csv") == tmp_path


@pytest.mark.parametrize("has_store", [False, True])
def test_a_draft_from_a_subfolder_is_found_by_a_run_and_tried_with_the_folders_registers(
    exports, small_fleet, run_on, tmp_path, has_store
):
    rows = "".join(f"{unit};{VESSEL_A};2026-03-0{n};OK;\n" for n, unit in enumerate(["U1", "u 1", "U2", "U9"], 1))
    registers = {name: small_fleet[name] for name in ("vessel.csv", "unit.csv")}
    folder = exports(registers)
    if has_store:
        run_on(folder)
    (folder / "rounds").mkdir()
    (folder / "rounds" / "deck_2026.csv").write_text("Serial no;IMO;Inspection date;Result;Remarks\n" + rows)
    lines = learn_command([folder / "rounds" / "deck_2026.csv"], None, None, tmp_path / "store")
    spec = tomllib.loads((folder / "dialects" / "deck.toml").read_text(encoding="utf-8"))
    assert spec["files"] == ["rounds/deck_*.csv"]
    assert any("4 records read: 2 would load, 2 would load once" in line for line in lines), lines
    assert any(line.startswith("note     1 unit number matches the register only if spacing/case/leading") for line in lines)


def test_registers_that_can_not_be_read_do_not_stop_the_dry_run(exports, tmp_path):
    folder = exports(
        {
            "vessel.csv": b"no;such\nregister;here\n",
            "deck.csv": f"Serial;IMO;Inspection date;Result\nU1;{VESSEL_A};2026-03-01;OK\n".encode(),
        }
    )
    lines = learn_command([folder / "deck.csv"], None, None, tmp_path / "none")
    assert any("1 record read: 0 would load, 1 would load once" in line for line in lines), lines


# --- what the draft and the report say -------------------------------------------------------------------------------


def list_services(head: str = "", gauge: str = "19{n}", zone: str = "Aft") -> str:
    rows = "".join(f"U{n};{{A}};2026-03-0{n};annual;{gauge.format(n=n)};2{n}.5;{zone}\n" for n in range(1, 6))
    return head + SERVICES + rows


def test_headers_without_a_column_are_shown_with_their_commonest_cells(learn, tmp_path):
    draft, spec = learn(list_services() + f"U6;{VESSEL_A};2026-03-06;annual;196;26.5;Fore\n")
    assert spec["ignore_columns"] == ["?Zone"]
    assert '#   "Zone": "Aft", "Fore"' in draft.text and "means that the column is NOT read" in draft.text
    lines = report_lines(draft, Trial(), tmp_path / "x.toml")
    assert any(line.startswith("Zone") and line.endswith('"Aft", "Fore"') for line in lines)


@pytest.mark.parametrize(
    "head, gauge, mass",
    [("Work report - presiones en psi\n", "?psi", "?kg"), ("pesos en lb; presiones en psi\n", "?psi", "?lb"),
     ("alle drukken in bar\n", "?bar", "?kg"), ("bar or psi\n", "?bar", "?kg"), ("m/s Grey Heron, in port\n", "?bar", "?kg")],
)  # fmt: skip
def test_a_unit_stated_above_the_table_is_proposed_with_that_line_as_the_reason(learn, tmp_path, head, gauge, mass):
    draft, spec = learn(list_services(head))
    columns = columns_of(spec)
    assert (columns["gauge_bar"]["unit"], columns["mass_kg"]["unit"]) == (gauge, mass)
    assert (f"above the table stands '{head.strip()}'" in draft.text) == (
        head.strip() not in ("bar or psi", "m/s Grey Heron, in port")
    )
    lines = report_lines(draft, Trial(), tmp_path / "x.toml")
    assert any(line.startswith("Gauge ") and "sure" in line and ", unit?" in line for line in lines)


def test_numbers_that_could_be_thousands_are_asked_for_also_where_no_column_reads_them(learn):
    draft, spec = learn("Serial;IMO;Service date;Work;Weight (kg)\n" + f"U1;{VESSEL_A};2026-03-01;annual;3.625\n" * 3)
    assert spec["decimal_mark"] == "?." and 'write decimal_mark = "," and thousands_mark = "."' in draft.text
    head = "Serial;IMO;Service date;Work;Weight (kg);Zqx\n"
    draft, spec = learn(head + f"U1;{VESSEL_A};2026-03-01;annual;3,5;3.625\n" * 3)
    assert (spec["decimal_mark"], spec["thousands_mark"]) == (",", "?.")
    assert "'3.625' could be thousands" in draft.text


def test_the_made_up_vessel_number_is_said_to_be_of_the_dry_run_only(learn, tmp_path):
    draft, _ = learn("Serial;Inspection date;Result\nU1;2026-03-01;OK\n")
    lines = report_lines(draft, Trial(1, 0, 1), tmp_path / "x.toml")
    assert any("9999993 was used in this dry run only" in line for line in lines)
