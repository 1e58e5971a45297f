"""Hard features of lists as ships and workshops keep them, one small invented list each. All names and numbers are invented.

In: a list as text. Out: what `learn` proposes for it. Each list is as short as shows the feature.
"""

from __future__ import annotations

import tomllib

import pytest

from pipeline.intake.read_dialect import parse_dialect
from pipeline.learn.learn import learn_dialect
from tests.conftest import VESSEL_A, VESSEL_B


@pytest.fixture
def learn(tmp_path):
    """Call with the text of a list to get its draft, parsed; the draft as proposed is always a dialect."""

    def call(text: str, name: str = "list.csv", encoding: str = "utf-8") -> dict:
        path = tmp_path / name
        path.write_bytes(text.replace("{A}", VESSEL_A).replace("{B}", VESSEL_B).encode(encoding))
        draft = learn_dialect([path])
        parse_dialect(tomllib.loads(draft.trial_text))
        return tomllib.loads(draft.text)

    return call


def feeds(spec: dict) -> dict[str, dict]:
    return {feed["name"]: feed["columns"] for feed in spec["table"]}


def rows(form: str, count: int = 9) -> str:
    """Rows that count on: {n} is the number of the row, {nn} the same with two digits."""
    return "".join(form.replace("{nn}", f"{n:02}").replace("{n}", str(n)) + "\n" for n in range(1, count))


ROUND = "Løpenr;Apparatnr;Plassering;Middel;Vekt (lb);Trykk psi;Kontrolldato;Tilstand;Merknad\n" + "".join(
    f"{n};B-{n};Bro;CO2;2{n},5;19{n};{n + 12}.03.2026;{word};\n"
    for n, word in enumerate(["OK", "OK", "Feil", "Ikke funnet", "OK", "OK"], 1)
)


def test_a_date_a_result_and_a_remark_are_a_look_even_beside_masses_and_pressures(learn):
    spec = learn(ROUND)
    columns = feeds(spec)["inspection"]
    assert list(feeds(spec)) == ["inspection"]
    assert columns["outcome"]["words"] == {"Feil": "unsatisfactory", "Ikke funnet": "not_found"} | {"OK": "satisfactory"}
    assert (columns["unit_id"], columns["remarks"]) == ("Apparatnr", "Merknad")
    assert spec["ignore_columns"] == ["Løpenr", "?Plassering", "?Middel", "?Vekt (lb)", "?Trykk psi"]


def test_a_word_that_the_table_does_not_have_is_asked_for_not_proposed(learn):
    head = "Serial;IMO;Service date;Work done;Result\n"
    spec = learn(head + rows("U{n};{A};2026-03-{nn};annual service;OK") + "U9;{A};2026-03-09;annual service;not found\n")
    assert feeds(spec)["service"]["outcome"]["words"] == {"OK": "satisfactory", "not found": "?"}


@pytest.mark.parametrize(
    "header, cell, ignored",
    [("Lfd. Nr.", "{n}", "Lfd. Nr."), ("#", "{n}", "#"), ("Zqx", "", "Zqx"), ("Standort", "Deck 1", "?Standort"),
     ("Zqx", "{n}", "?Zqx"), ("Zqx", "grey", "?Zqx"), ("?Nr", "{n}", "??Nr")],
)  # fmt: skip
def test_what_is_surely_not_read_costs_no_edit(learn, header, cell, ignored):
    spec = learn(f"{header};Geräte-Nr;IMO;Prüfdatum;Befund\n" + rows(cell + ";G-{n};{A};2026-03-{nn};i.O."))
    assert spec["ignore_columns"] == [ignored]


def test_a_line_of_units_under_the_header(learn):
    head = "Flaska nr;IMO;Servicedatum;Åtgärd;Vikt;Manometer\n;;;;kg;psi\n"
    spec = learn(head + rows("F-{n};{A};2026-05-{nn};Årsservice;9,{n};19{n}"))
    columns = feeds(spec)["service"]
    assert spec["total_rows"] == [{"column": "Vikt", "is": ["kg"]}]
    assert (columns["mass_kg"], columns["gauge_bar"]["unit"]) == ("Vikt", "psi")


@pytest.mark.parametrize(
    "middle, end, key, value",
    [("", "Total portable: 8;;;;", "skip_foot", 1), ("", ";;;Toplam;8\nServis sorumlusu;;;;", "skip_foot", 2),
     ("Razem: 4;;;;\n", "Razem: 8;;;;", "total_rows", [{"column": "Serial", "begins": ["Razem:"]}])],
)  # fmt: skip
def test_sums_and_signatures_are_no_records(learn, middle, end, key, value):
    half = rows("U{n};{A};2026-03-{nn};OK;dry", 5)
    assert learn(f"Serial;IMO;Inspection date;Result;Remarks\n{half}{middle}{half}{end}\n")[key] == value


def test_cells_that_carry_their_units_fill_a_column_each(learn):
    head = "Serial;IMO;Agent;Size;Maker;Year of manufacture\n"
    spec = learn(head + rows("U{n};{A};CO2;5 kg;Vorrandel;201{n}") + "U9;{A};Foam;9 L;Vorrandel;2019\n")
    columns = feeds(spec)["unit"]
    assert columns["charge_kg"] == {"from": "Size", "suffixes": {"kg": "kg"}}
    assert columns["charge_l"] == {"from": "Size", "suffixes": {"l": "l"}}


def test_local_names_of_months_with_those_that_are_still_to_come(learn):
    spec = learn("Blussernr;IMO;Controledatum;Uitslag\n" + rows("N-{n};{A};{n} mrt 2026;goed") + "N-9;{A};9 mei 2026;goed\n")
    assert spec["date_formats"] == ["%d %b %Y"]
    assert spec["months"] == {"mrt": 3, "mei": 5, "juni": 6, "juli": 7, "sept": 9, "okt": 10}


def test_one_log_of_looks_work_and_defects(learn):
    head = "Data;Matricola;IMO;Tipo operazione;Esito;Componente;Anomalia;Press. (bar);Eseguito da\n"
    log = rows("{nn}.06.2026;M-{n};{A};Controllo;POS;;;;3° Uff.") + rows("{nn}.07.2026;M-{n};{A};Ricarica;POS;;;;Officina")
    log += "13.08.2026;M-1;{A};Collaudo;NEG;;;27;Officina\n" + rows("{nn}.08.2026;M-{n};{A};Anomalia;;Spina;Mancante;;3° Uff.")
    spec = learn(head + log)
    whens = {feed["name"]: set(feed["when"]["is"]) for feed in spec["table"]}
    assert whens == {"inspection": {"Controllo"}, "service": {"Ricarica", "Collaudo"}, "finding": {"Anomalia"}}
    found = feeds(spec)
    assert found["inspection"]["inspector_role"] == found["service"]["provider"] == "Eseguito da"
    assert found["service"]["proof_pressure_bar"] == "?Press. (bar)"  # it stands only where a pressure test was done


def test_a_header_that_only_says_type_is_told_by_its_cells(learn):
    head = "Seri No;IMO;Type;Tür;Üretici;İmalat yılı\n"
    spec = learn(head + rows("T{n};{A};Self;KKT;Vorrandel;201{n}") + "T9;{A};Stored press.;CO2;Vorrandel;2019\n")
    columns = feeds(spec)["unit"]
    assert (columns["expelled_by"]["from"], columns["agent"]["from"]) == ("Type", "Tür")


@pytest.mark.parametrize(
    "cells, none_words, defect",
    [(["1", "1", "1", "0"], ["?1"], {"0": {"defect": "?other"}}), (["", "", "", "X"], [], {"x": {"defect": "?other"}}),
     (["B", "B", "B", "M"], ["?b"], {"m": {"defect": "?other"}}), (["ok", "ok", "ok", "torn"], ["ok"], {"torn": {"defect": "damaged"}})],
)  # fmt: skip
def test_bare_signs_of_a_check_list_are_always_asked_for(learn, cells, none_words, defect):
    lines = [f"E-{n};{{A}};2026-03-{n:02};{';'.join(cells[(n + k) % 4] for k in range(4))}" for n in range(1, 10)]
    spec = learn("Nº extintor;IMO;Fecha;Manguera;Boquilla;Precinto;Pasador\n" + "\n".join(lines))
    wide = next(feed["wide"] for feed in spec["table"] if feed["name"] == "finding")
    assert set(wide["columns"].values()) == {"hose", "nozzle", "seal", "pin"}
    assert (wide["none_words"], wide["cells"]) == (none_words, defect)


def test_a_list_of_looks_is_no_register_though_it_names_the_units(learn):
    head = "MS Grey Heron, ИМО {A}\n№ п/п;Зав. №;Место установки;Тип;Дата осмотра;Результат;След. осмотр\n"
    spec = learn(head + rows("{n};З-{n};Камбуз;ОП-5;{n}.03.2026;исправен;2{n}.04.2026"), encoding="cp1251")
    assert spec["encoding"] == "cp1251" and list(feeds(spec)) == ["inspection"]
    assert feeds(spec)["inspection"]["stated_next_due_on"] == "След. осмотр"
    assert feeds(spec)["inspection"]["imo_number"] == {"constant": VESSEL_A}
