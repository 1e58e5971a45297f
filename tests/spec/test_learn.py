"""What `learn` finds out, as small tables: the file, what is proposed, what is left open. All names and numbers invented.

Measured 2026-11-25 on twenty invented lists (English, German, Dutch, French, Spanish, Italian, Portuguese, Nordic, Polish, Greek,
Croatian, Turkish, Russian, Indonesian, Filipino), written by someone who had not read the word lists. Ten were read while the
rules and words were mended, the other ten were only counted by a script, three times. First count -> last count:
  read ten:   columns right 59 -> 105 of 106; called sure 67 -> 103, of them wrong 18 -> 0; hand edits 162 -> 26 lines
  unread ten: columns right 44 -> 76 of 84; called sure 30 -> 75, of them wrong 3 -> 0; hand edits 144 -> 56 lines
No word called sure was wrong, no header that the truth maps was called surely ignored, every draft as proposed was a dialect.
"""

from __future__ import annotations

import difflib
import gzip
import re
import tomllib
import zipfile
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.read_dialect import find_unsettled, parse_dialect, read_dialect
from pipeline.learn.command import learn_command
from pipeline.learn.encoding import guess_encoding
from pipeline.learn.learn import learn_dialect
from pipeline.learn.profile import is_imo_number, split_unit
from pipeline.learn.settle import settle_marks
from pipeline.learn.trial import Trial
from pipeline.learn.vocabulary import WORD_SURE, match_word, score_header
from tests.conftest import VESSEL_A, VESSEL_B

SAMPLES = Path(__file__).parents[2] / "sample_exports"


@pytest.fixture
def learn(tmp_path):
    """Call with text or bytes (and a file name) to get the draft and its parsed TOML."""

    def call(data: str | bytes, name: str = "source.csv"):
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        draft = learn_dialect([path])
        spec = tomllib.loads(draft.text)
        assert bool(list(find_unsettled(spec))) == bool(draft.unsettled)
        parse_dialect(tomllib.loads(draft.trial_text))
        return draft, spec

    return call


def columns_of(spec: dict, table: str) -> dict[str, object]:
    return next(feed["columns"] for feed in spec["table"] if feed["name"] == table)


HEAD = "Serial no;IMO;Inspection date;Result;Remarks\n"
ROWS = [f"U{number};{VESSEL_A};2026-03-{number:02};OK;" for number in range(1, 9)]


# --- the file as it lies there ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "encoding, mark",
    [("utf-8", b""), ("utf-8", b"\xef\xbb\xbf"), ("utf-16", b""), ("utf-16-le", b""), ("utf-16-be", b""), ("cp1252", b""),
     ("mac_roman", b""), ("cp850", b"")],
)  # fmt: skip
def test_encoding_is_told_by_the_words_of_the_trade(encoding, mark):
    text = "Gerät;Löschmittel;Prüfer;Maßnahme\nU1;Kohlensäure;2. Offizier;geprüft\n" * 3
    guess = guess_encoding(mark + text.encode(encoding))
    assert guess is not None and guess.is_sure
    assert (mark + text.encode(encoding)).decode(guess.name).removeprefix("\ufeff") == text


def test_an_encoding_that_no_word_proves_is_asked_for():
    guess = guess_encoding("Serial;Who\nU1;Xåq\nU2;Wöz\n".encode("cp1252"))
    assert guess is not None and not guess.is_sure
    assert guess_encoding("Serial;Who\nU1;Xåq\n".encode()).name == "utf-8"
    assert guess_encoding(b"\x00\x01\x02\xff" * 50) is None


@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
def test_delimiter_head_and_foot(learn, delimiter):
    lines = (HEAD + "\n".join(ROWS)).replace(";", delimiter)
    draft, spec = learn(f"Round of the month, all decks; see also sheet 2\n\n{lines}\nTotal: 8 rows\n")
    assert (spec.get("delimiter"), spec["skip_head"], spec["skip_foot"]) == (delimiter, 2, 1)
    assert len(draft.plan.sheet.rows) == 8
    assert draft.unsettled == ()


def test_semicolons_win_over_more_frequent_decimal_commas(learn):
    head = "Serial;IMO;Service date;Work;Weight (kg);Pressure (bar);Wall (mm)\n"
    rows = "".join(f"U{n};{VESSEL_A};2026-03-0{n};annual service;1{n},25;1{n},5;1,{n}5\n" for n in range(1, 9))
    _, spec = learn(head + rows)
    assert (spec["delimiter"], spec["decimal_mark"]) == (";", ",")


def test_a_foot_that_only_its_shape_tells_is_asked_for(learn):
    draft, spec = learn(HEAD + "\n".join(ROWS) + "\nport of call Quiet Haven\n")
    assert spec["?skip_foot"] == 1 and "?skip_foot = 1" in draft.unsettled[0] + " = 1"


def test_repeated_headers_and_totals_are_no_rows(learn):
    middle = HEAD + "\n".join(ROWS[4:])
    draft, spec = learn(HEAD + "\n".join(ROWS[:4]) + "\nTotal;;;4;\n" + middle + "\nTotal;;;4;\n")
    assert spec["repeated_header"] is True
    assert spec["total_rows"] == [{"column": "Serial no", "is": ["Total"]}]
    assert len(draft.plan.sheet.rows) == 8


def test_packed_files_are_learnt_too(tmp_path):
    data = (HEAD + "\n".join(ROWS) + "\n").encode()
    (tmp_path / "round_2026.csv.gz").write_bytes(gzip.compress(data))
    with zipfile.ZipFile(tmp_path / "rounds_2026.zip", "w") as archive:
        archive.writestr("deck/round_1.csv", data)
    gz, zipped = learn_dialect([tmp_path / "round_2026.csv.gz"]), learn_dialect([tmp_path / "rounds_2026.zip"])
    assert tomllib.loads(gz.text)["files"] == ["round_*.csv"]
    assert parse_dialect(tomllib.loads(gz.trial_text)).reads("round_2027.csv.gz")
    assert len(zipped.plan.sheet.rows) == 8


# --- single skills ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "cells, decimal, thousands, is_sure",
    [
        (["6,5", "12"], ",", "", True), (["6.5", "1,234.5"], ".", ",", True), (["1.234,5"], ",", ".", True),
        (["1.234.567"], ",", ".", True), (["1 234,5"], ",", " ", True), (["1.234", "2.345"], ".", "", False),
        (["1,234"], ",", "", False), (["1,234", "0,5"], ",", "", True), (["1.234", "6,5"], ",", ".", True),
        (["12", "7"], ".", "", True), (["6.5"] * 5 + ["6,5"] * 5, ".", "", False), (["0.123"], ".", "", True),
    ],
)  # fmt: skip
def test_decimal_and_thousands_marks(cells, decimal, thousands, is_sure):
    mark, group, _ = settle_marks([Counter(cells)])
    assert (mark.text, mark.is_sure) == (decimal, is_sure)
    assert not is_sure or group.text == thousands


@pytest.mark.parametrize(
    "cells, formats, is_settled",
    [
        (["2026-03-01", "2026-03-02"], ["%Y-%m-%d"], True),
        (["31.01.2026", "01.02.2026"], ["%d.%m.%Y"], True),
        (["01/31/2026", "02/01/2026"], ["%m/%d/%Y"], True),
        (["01/02/2026", "03/04/2026"], ["?"], False),
        (["01.02.2026", "03.04.2026"], ["?"], False),
        (["13/01/2026", "01/13/2026"], ["?"], False),
        (["3 Apr 2026", "14 May 2026"], ["%d %b %Y"], True),
        (["2026-03-01 08:15", "2026-03-02 23:59"], ["%Y-%m-%d %H:%M"], True),
        (["20260301", "20260415"], ["%Y%m%d"], True),
        (["13.01.26", "01.02.26"], ["%d.%m.%y"], True),
        (["13.01.75", "01.02.75"], ["?%d.%m.%y"], False),
        (["13.01.26", "13.01.27", "13.01.28"], ["?"], False),
        (["98-01-20", "99-02-21"], ["%y-%m-%d"], True),
        (["20-01-10", "21-02-11"], ["?"], False),
        (["03.01.26", "04.02.26", "31.12.99"], ["%d.%m.%y"], True),
        (["26-05-01"], ["?"], False),
        (["3. März 2026", "4. Mai 2026"], ["%d. %b %Y"], True),
    ],
)
def test_date_forms(learn, cells, formats, is_settled):
    rows = "".join(f"U{n};{VESSEL_A};{cell};OK;\n" for n, cell in enumerate(cells))
    draft, spec = learn(HEAD + rows)
    assert (not draft.unsettled) == is_settled, draft.unsettled
    assert spec["date_formats"] == formats
    if formats == ["?"]:
        assert re.search(
            r'write "%d.%m.%Y" or "%m.%d.%Y"|write "%d.%m.%y" or "%y.%m.%d"|write "%d.%m.%y" or .* or "%y', draft.text
        )


def test_one_column_settles_the_order_of_another_but_not_against_its_own_cells(learn):
    head = "Serial;IMO;Inspection date;Result;Next due\n"
    _, spec = learn(head + f"U1;{VESSEL_A};03/04/2026;OK;30/04/2026\nU2;{VESSEL_A};05/04/2026;OK;31/05/2026\n")
    assert spec["date_formats"] == ["%d/%m/%Y"]
    draft, spec = learn(head + f"U1;{VESSEL_A};04/13/2026;OK;30/04/2026\nU2;{VESSEL_A};04/14/2026;OK;31/05/2026\n")
    due = columns_of(spec, "inspection")["stated_next_due_on"]
    assert spec["date_formats"] == ["%m/%d/%Y"] and due["formats"] == ["%d/%m/%Y"]


@pytest.mark.parametrize(
    "key, word, target, is_sure",
    [
        ("outcome", "i.O.", "satisfactory", True), ("outcome", "goedgekeurd", "satisfactory", True),
        ("outcome", "NICHT in Ordnung", "unsatisfactory", True), ("outcome", "ikke godkjent", "unsatisfactory", True),
        ("outcome", "introuvable", "not_found", True), ("outcome", "satisfactry", "satisfactory", True),
        ("outcome", "OK?", "satisfactory", False), ("outcome", "partly good", "satisfactory", False),
        ("outcome", "purple", None, False), ("agent", "Pulverlöscher 6 kg", "powder", True),
        ("agent", "poudre ABC", "powder", True), ("agent", "CO2 5kg", "co2", True), ("agent", "Kohlendioxid", "co2", True),
        ("agent", "dióxido de carbono", "co2", True), ("agent", "espuma", "foam", True), ("agent", "wodnista", "water", False),
        ("kind", "Jahreswartung", "annual_service", True), ("kind", "épreuve hydraulique", "pressure_test", True),
        ("component", "Schlauch", "hose", True), ("defect", "verrostet", "corrosion", True), ("severity", "B", "major", False),
        ("boolean", "ja", "true", True), ("boolean", "NON", "false", True), ("boolean", "x", "true", True),
        ("boolean", "perhaps", None, False), ("outcome", "not so good", "unsatisfactory", False),
    ],
)  # fmt: skip
def test_words(key, word, target, is_sure):
    found, score = match_word(key, word)
    assert (score >= WORD_SURE) == is_sure
    assert found == target if is_sure or target is None else found in (target, None)


@pytest.mark.parametrize(
    "header, bare, unit",
    [("Weight (lbs)", "Weight", "lb"), ("Druck [bar]", "Druck", "bar"), ("Charge ml", "Charge", "ml"), ("wall_mm", "wall", "mm"),
     ("Test, psi", "Test", "psi"), ("Serial", "Serial", None), ("Ausstoß (%)", "Ausstoß", "pct"), ("T (°F)", "T", "F"),
     ("Remarks (see sheet)", "Remarks (see sheet)", None), ("Masse (kg, netto)", "Masse", "kg")],
)  # fmt: skip
def test_units_in_headers(header, bare, unit):
    assert split_unit(header) == (bare, unit)


@pytest.mark.parametrize("header, column", [
    ("Serial-No.", "unit_id"), ("GERÄTE NR", "unit_id"), ("Prüfdatum", "inspected_on"), ("Numéro de série", "unit_id"),
    ("Fecha de inspección", "inspected_on"), ("Löschmittel", "agent"), ("Inspecton date", "inspected_on"), ("nextDue", "stated_next_due_on"),
])  # fmt: skip
def test_headers_whatever_their_case_accents_and_slips(header, column):
    assert score_header(header, column) > 0.85
    assert score_header(header, "rust_grade") < 0.5


def test_a_pressure_or_mass_without_a_unit_is_asked_for(learn):
    head = "Serial;IMO;Service date;Work;Gauge;Weight (kg)\n"
    draft, spec = learn(head + "".join(f"U{n};{VESSEL_A};2026-03-0{n};annual;19{n}.5;12.{n}\n" for n in range(1, 6)))
    columns = columns_of(spec, "service")
    assert columns["gauge_bar"]["unit"] == "?bar" and columns["mass_kg"] == "Weight (kg)"
    assert any("gauge_bar" in place for place in draft.unsettled)


def test_numbers_that_are_imo_numbers_need_no_header(learn):
    _, spec = learn(f"Serial;Whatever;Inspection date;Result\nU1;{VESSEL_A};2026-03-01;OK\nU2;{VESSEL_B};2026-03-01;OK\n")
    assert columns_of(spec, "inspection")["imo_number"] == "Whatever"
    # The worked example of the IMO ship identification number scheme: 9074729.
    assert is_imo_number("9074729") and not is_imo_number("9074728")


@pytest.mark.parametrize(
    "head, name, constant",
    [(f"MS Quiet Heron, IMO {VESSEL_A}\n", "a.csv", VESSEL_A), ("MS Quiet Heron\n", f"round_{VESSEL_A}.csv", f"?{VESSEL_A}"),
     ("MS Quiet Heron\n", "a.csv", "?")],
)  # fmt: skip
def test_the_vessel_above_the_table_in_the_name_or_asked_for(learn, head, name, constant):
    _, spec = learn(head + "Serial;Inspection date;Result\nU1;2026-03-01;OK\nU2;2026-03-01;OK\n", name)
    assert columns_of(spec, "inspection")["imo_number"] == {"constant": constant}


def test_signs_of_an_empty_cell_are_known_and_words_for_it_are_proposed(learn):
    head = "Serial;IMO;Service date;Work;Weight (kg);Provider\n"
    rows = "".join(f"U{n};{VESSEL_A};2026-03-0{n};annual;{'n/a' if n % 2 else '12.5'};n/a\n" for n in range(1, 8))
    assert learn(head + rows)[1]["null_words"] == ["n/a"]
    assert learn(head + rows.replace("n/a", "nil"))[1]["null_words"] == ["?nil"]
    assert "null_words" not in learn(head + rows.replace("n/a;n/a", "12.5;n/a"))[1]


def test_records_of_two_kinds_are_told_apart_by_the_column_that_says_so(learn):
    head = "Was;Löscher-Nr;IMO;Datum;Ergebnis;Bauteil;Mangelart\n"
    rows = [f"Rundgang;U{n};{VESSEL_A};{n}.03.2026;i.O.;;" for n in range(1, 29)]
    rows += [f"Schaden;U{n};{VESSEL_A};{n}.03.2026;;Schlauch;gerissen" for n in range(1, 5)]
    draft, spec = learn(head + "\n".join(rows))
    whens = {feed["name"]: feed["when"] for feed in spec["table"]}
    assert whens == {"inspection": {"column": "Was", "is": ["Rundgang"]}, "finding": {"column": "Was", "is": ["Schaden"]}}
    assert columns_of(spec, "finding")["found_by"] == {"constant": "inspection"}
    assert draft.unsettled == ()


def test_a_check_list_with_a_column_a_part(learn):
    head = "Tag,IMO,Date,Result,Hose,Nozzle,Pin,Seal,Gauge\n"
    rows = [f"U{n},{VESSEL_A},2026-03-{n:02},OK,ok,ok,ok,ok,ok" for n in range(1, 20)]
    rows += [
        f"U20,{VESSEL_A},2026-03-20,not OK,torn,ok,ok,missing,ok",
        f"U21,{VESSEL_A},2026-03-20,not OK,ok,ok,rust 2,wobbly,ok",
    ]
    _, spec = learn(head + "\n".join(rows))
    wide = next(feed["wide"] for feed in spec["table"] if feed["name"] == "finding")
    assert wide["columns"] == {"Hose": "hose", "Nozzle": "nozzle", "Pin": "pin", "Seal": "seal", "Gauge": "gauge"}
    assert wide["none_words"] == ["ok"]
    assert wide["cells"]["torn"] == {"defect": "damaged"} and wide["cells"]["wobbly"] == {"defect": "?"}
    assert wide["cells"]["rust 2"] == {"defect": "corrosion", "rust_grade": "?Ri2"}


def test_a_register_that_carries_the_last_look_feeds_two_tables(learn):
    head = "Serial,IMO,Agent,Charge (kg),Maker,Year of manufacture,Last inspection,Result\n"
    rows = "".join(f"U{n},{VESSEL_A},CO2,5,Vorrandel,201{n},2026-03-2{n},OK\n" for n in range(1, 9))
    _, spec = learn(head + rows)
    assert {feed["name"] for feed in spec["table"]} == {"unit", "inspection"}
    assert columns_of(spec, "inspection")["inspected_on"] == "Last inspection"
    assert columns_of(spec, "unit")["made_on"]["precision_into"] == "made_on_precision"


def test_no_header_is_silently_ignored_and_none_goes_to_two_columns(learn):
    draft, spec = learn("Serial,Colour of paint,IMO,Inspection date,Result,Zqx\n" + f"U1,red,{VESSEL_A},2026-03-20,OK,7\n" * 3)
    assert spec["ignore_columns"] == ["?Colour of paint", "?Zqx"]
    headers = [finding.header for finding in draft.findings]
    assert sorted(headers) == sorted(set(headers))


# --- hostile text ----------------------------------------------------------------------------------------------------

HOSTILE = [
    'He said "x"',
    "a\\b",
    "[table]",
    "= 1",
    "# no comment",
    "'''",
    '"""',
    "x\u2028y",
    "\u202eabc",
    "tab\there",
    "?why",
    "日本",
]


def test_hostile_headers_and_cells_stay_text(learn):
    quoted = lambda cells: ";".join('"' + cell.replace('"', '""') + '"' for cell in cells)  # noqa: E731
    words = ["OK"] * 40 + HOSTILE
    lines = [quoted(["Serial", "IMO", "Inspection date", "Result", *HOSTILE])]
    lines += [
        quoted([f"U{n}", VESSEL_A, f"2026-03-{n % 28 + 1:02}", word, *["z"] * len(HOSTILE)]) for n, word in enumerate(words)
    ]
    draft, spec = learn("\n".join(lines))
    assert {finding.header for finding in draft.findings} == {"Serial", "IMO", "Inspection date", "Result", *HOSTILE}
    texts = {value.removeprefix("?") for value in columns_of(spec, "inspection").values() if isinstance(value, str)}
    assert set(HOSTILE) <= texts | {header[1:] for header in spec["ignore_columns"]}
    outcome = columns_of(spec, "inspection")["outcome"]
    assert outcome["from"] == "Result" and set(outcome["words"]) == {
        word.lower() if word in ("OK",) else word for word in HOSTILE
    } | {"OK"}
    assert {outcome["words"][word] for word in HOSTILE} == {"?"}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(
    st.binary(max_size=400),
    st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace")),
    st.lists(st.lists(st.text(max_size=8), min_size=3, max_size=3), max_size=6).map(
        lambda rows: "\n".join(";".join(row) for row in [["Serial", "Inspection date", "Result"], *rows]).encode("utf-8", "replace")),
))  # fmt: skip
def test_any_bytes_give_a_draft_that_parses_or_one_sentence(tmp_path, data):
    path = tmp_path / "any.csv"
    path.write_bytes(data)
    try:
        draft = learn_dialect([path])
    except UserError as error:
        assert "\n" not in str(error).strip()
        return
    assert bool(list(find_unsettled(tomllib.loads(draft.text)))) == bool(draft.unsettled)
    assert parse_dialect(tomllib.loads(draft.trial_text)).name == draft.name


# --- what a user can get wrong ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data, slug",
    [(b"", "no-data-in-file"), (b" \n\n", "no-data-in-file"), (b"\x89PNG\x00\x01\x02" * 40, "not-csv"), (b"just prose, \nnothing\n", "no-columns"),
     (b"1;2;3\n4;5;6\n7;8;9\n", "no-columns"), (b"Qwx;Zyv\na;b\nc;d\n", "nothing-learned")],
)  # fmt: skip
def test_what_is_no_export_is_refused_in_one_sentence(tmp_path, data, slug):
    (tmp_path / "x.csv").write_bytes(data)
    with pytest.raises(UserError) as raised:
        learn_dialect([tmp_path / "x.csv"])
    assert raised.value.slug == slug


def test_files_of_two_kinds_and_missing_files_are_refused(tmp_path):
    (tmp_path / "a.csv").write_text(HEAD + "\n".join(ROWS))
    (tmp_path / "b.csv").write_text(HEAD.replace("Remarks", "Notes") + "\n".join(ROWS))
    with pytest.raises(UserError, match="new 'Notes'; without 'Remarks'"):
        learn_dialect([tmp_path / "a.csv", tmp_path / "b.csv"])
    with pytest.raises(UserError) as raised:
        learn_dialect([tmp_path / "absent.csv"])
    assert raised.value.slug == "unreadable-file"


def test_a_dialect_that_exists_is_never_overwritten(tmp_path):
    (tmp_path / "a.csv").write_text(HEAD + "\n".join(ROWS))
    (tmp_path / "dialects").mkdir()
    (tmp_path / "dialects" / "a.toml").write_text("mine")
    with pytest.raises(UserError) as raised:
        learn_command([tmp_path / "a.csv"], None, None, tmp_path / "store")
    assert raised.value.slug == "dialect-exists"
    assert (tmp_path / "dialects" / "a.toml").read_text() == "mine"


def test_a_name_leads_to_no_other_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.learn.command.try_draft", lambda *_: Trial())  # no matter here, and slow
    (tmp_path / "a.csv").write_text(HEAD + "\n".join(ROWS))
    learn_command([tmp_path / "a.csv"], "../../sly\nname", None, tmp_path / "store")
    (written,) = (tmp_path / "dialects").iterdir()
    assert written.name == "sly-name.toml"
    assert tomllib.loads(written.read_text(encoding="utf-8"))["name"] == "../../sly\nname"


# --- an unseen source, taken on --------------------------------------------------------------------------------------

DUTCH = """\
Keuringsstaat brandblussers
Blusser-identificatie;IMO scheepsnummer;Dag van keuring;Uitgevoerd werk;Uitslag keuring;Gewogen gewicht [lbs];Manometerstand (psi);Druk tijdens persproef (psi);Keuringsrapport;Volgende keurbeurt;Bijzonderheden
U1;{A};14.03.2026;jaarlijkse onderhoudsbeurt;goedgekeurd;26,46;195,5;;R-26/17;14.03.2027;
U2;{A};14.03.2026;hervulling poeder;goedgekeurd;1.026,50;;;R-26/17;14.03.2027;nieuw poeder
U2;{A};15.03.2026;hydrostatische persproef;afgekeurd;33,07;;391,6;R-26/18;;buiten gebruik
U2;{A};16.03.2026;afkeuring;afgekeurd;;;;R-26/18;;
U1;{A};17.03.2026;jaarlijkse onderhoudsbeurt;goedgekeurd;20,1;210,25;;R-26/19;15.03.2027;
Totaal;5;;;;;;;;;
"""


def settle(text: str) -> str:
    """What a person does who finds every proposal right: take the marks away, and the line `draft`."""
    lines = text.replace("draft = true\n", "").splitlines()
    return "\n".join(line if line.startswith("#") else line.replace('"?', '"') for line in lines) + "\n"


def count_edits(before: str, after: str) -> int:
    """Lines changed or taken out by hand."""
    pairs = difflib.SequenceMatcher(None, before.splitlines(), after.splitlines(), autojunk=False).get_opcodes()
    return sum(max(b - a, d - c) for kind, a, b, c, d in pairs if kind != "equal")


def test_the_headers_of_the_unseen_source_are_in_no_list():
    known = (Path(__file__).parents[2] / "pipeline/learn/synonyms.toml").read_text(encoding="utf-8").lower()
    headers = DUTCH.splitlines()[1].lower().split(";")
    assert len(headers) == 11
    assert [header for header in headers if f'"{split_unit(header)[0].lower()}"' in known] == []


def test_an_unseen_source_is_taken_on_with_under_ten_lines_of_hand_edits(exports, small_fleet, run_on, tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.learn.command.try_draft", lambda *_: Trial())  # the dry run has a test of its own below
    folder = exports(
        {
            **{k: small_fleet[k] for k in ("vessel.csv", "unit.csv")},
            "keuringen_2026.csv": DUTCH.format(A=VESSEL_A).encode("cp1252"),
        }
    )
    learn_command([folder / "keuringen_2026.csv"], None, None, tmp_path / "none")
    draft_path = folder / "dialects" / "keuringen.toml"
    text = draft_path.read_text(encoding="utf-8")
    with pytest.raises(UserError) as raised:
        run_on(folder)
    assert raised.value.slug == "unsettled-draft"

    settled = settle(text)
    assert 0 < count_edits(text, settled) < 10, count_edits(text, settled)
    draft_path.write_text(settled, encoding="utf-8")
    summary, con = run_on(folder)
    assert summary.rows_quarantined == 0
    rows = con.execute(
        "select unit_id, serviced_on::varchar, kind, outcome, mass_kg, gauge_bar, proof_pressure_bar, certificate_no, "
        "stated_next_due_on::varchar from record.service order by serviced_on, unit_id"
    ).fetchall()
    # International pound and psi, exact by definition (NIST SP 811, appendix B): 0.45359237 kg, 0.0689475729 bar.
    lb, psi = 0.45359237, 0.0689475729
    expected = [
        ("U1", "2026-03-14", "annual_service", "satisfactory", 26.46 * lb, 195.5 * psi, None, "R-26/17", "2027-03-14"),
        ("U2", "2026-03-14", "recharge", "satisfactory", 1026.5 * lb, None, None, "R-26/17", "2027-03-14"),
        ("U2", "2026-03-15", "pressure_test", "unsatisfactory", 33.07 * lb, None, 391.6 * psi, "R-26/18", None),
        ("U2", "2026-03-16", "condemn", "unsatisfactory", None, None, None, "R-26/18", None),
        ("U1", "2026-03-17", "annual_service", "satisfactory", 20.1 * lb, 210.25 * psi, None, "R-26/19", "2027-03-15"),
    ]
    for row, wanted in zip(rows, expected, strict=True):
        assert row[:4] + row[7:] == wanted[:4] + wanted[7:]
        for value, number in zip(row[4:7], wanted[4:7], strict=True):
            assert value == (number if number is None else pytest.approx(number, rel=1e-6))


# Four more sources in other languages, written before `learn` was first run on them. `told` is what a person who knows the
# source would write. Edits are the line `draft`, each line with a "?", and two lines for a column wrong or missing. The lists
# were then widened by what they showed (abbreviations, 'emplazamiento'), so a fifth source may cost more.
UNSEEN = {
    "spanish": (
        """Relación de extintores a bordo - B/M Garza Gris (OMI {A})

Nº orden;Número del extintor;Emplazamiento a bordo;Tipo de local;Agente extinguidor;Carga nominal (kg);Peso total lleno (kg);Presión de timbre (MPa);Casa fabricante;Modelo del aparato;Año fabricación;Alta a bordo;Recargable por la tripulación
1;GG-001;Puente;Puente de mando;Polvo ABC;6;9,8;2,7;Vorrandel;V6;2016;12/04/2017;Sí
2;GG-002;Cocina;Cocina;CO2;5;14,1;25;Ashquill;A5;2018;25/09/2018;No
3;GG-003;Cámara de máquinas, babor;Sala de máquinas;Espuma AFFF;9;15,2;1,9;Tembrook;T9;2012;12/04/2017;Sí
""",
        "unit",
        {"unit_id": "Número del extintor", "space_name": "Emplazamiento a bordo", "space_category": "Tipo de local",
         "agent": "Agente extinguidor", "charge_kg": "Carga nominal (kg)", "full_mass_kg": "Peso total lleno (kg)",
         "test_pressure_bar": "Presión de timbre (MPa)", "maker": "Casa fabricante", "model": "Modelo del aparato",
         "made_on": "Año fabricación", "in_service_on": "Alta a bordo", "refillable_on_board": "Recargable por la tripulación"},
    ),
    "swedish": (
        "Datum för rond\tSläckarnummer\tFartygets IMO\tSkick vid rond\tUtförd av\tNotering\tNästa rond senast\n"
        + "".join(f"2026-03-{n:02}\tS-{n}\t{{A}}\t{'utan anmärkning' if n % 5 else 'saknas'}\tstyrman\t\t2026-04-{n:02}\n"
                  for n in range(1, 29)),
        "inspection",
        {"unit_id": "Släckarnummer", "imo_number": "Fartygets IMO", "inspected_on": "Datum för rond", "outcome": "Skick vid rond",
         "inspector_role": "Utförd av", "remarks": "Notering", "stated_next_due_on": "Nästa rond senast"},
    ),
    "english": (
        """Bottle ID|Ship's IMO No.|Svc Dt|Job done|P/F|Wt as found (lb)|Gage (psi)|Hydro to (psi)|Cert #|Tech notes
B-1|{A}|3/14/26|Annual maint.|P|22.4|195|||
B-2|{A}|3/15/26|Hydro test|F|31||400|C77|bulged
B-3|{A}|3/16/26|Recharged|P|18.2|195||C78|
""",
        "service",
        {"unit_id": "Bottle ID", "imo_number": "Ship's IMO No.", "serviced_on": "Svc Dt", "kind": "Job done", "outcome": "P/F",
         "mass_kg": "Wt as found (lb)", "gauge_bar": "Gage (psi)", "proof_pressure_bar": "Hydro to (psi)", "certificate_no": "Cert #"},
    ),
    "french": (
        "Numéro extincteur,Navire OMI,Contrôlé le,Résultat du contrôle,Contrôleur,Observations diverses\n"
        + "".join(f"X{n:03},{{A}},{n:02}/02/2026,conforme,second,\n" for n in range(1, 20)),
        "inspection",
        {"unit_id": "Numéro extincteur", "imo_number": "Navire OMI", "inspected_on": "Contrôlé le",
         "outcome": "Résultat du contrôle", "inspector_role": "Contrôleur", "remarks": "Observations diverses"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("language", UNSEEN)
def test_other_unseen_sources_cost_under_ten_edits_too(learn, language):
    text, table, told = UNSEEN[language]
    draft, spec = learn(text.replace("{A}", VESSEL_A).encode("cp1252"))
    columns = {
        name: value["from"] if isinstance(value, dict) and "from" in value else value
        for name, value in columns_of(spec, table).items()
    }
    wrong = [name for name, header in told.items() if str(columns.get(name)).removeprefix("?") != header]
    sure_but_wrong = [name for name in wrong if name in columns and not str(columns[name]).startswith("?")]
    assert sure_but_wrong == []
    assert count_edits(draft.text, settle(draft.text)) + 2 * len(wrong) < 10, (wrong, draft.unsettled)


def list_store(store: Path) -> dict[Path, bytes]:
    """What a store holds; files once parsed may stay parsed, under a name that their content gives."""
    files = (path for path in store.rglob("*") if path.is_file())
    return {path: path.read_bytes() for path in files if "parsed" not in path.relative_to(store).parts}


def test_the_dry_run_counts_with_what_the_store_holds_and_says_why(exports, small_fleet, run_on, tmp_path):
    run_on(exports(small_fleet))
    held = list_store(tmp_path / "store")
    text = (
        HEAD
        + f"U1;{VESSEL_A};2026-03-01;OK;\nU2;{VESSEL_A};2026-03-02;OK;\nU9;{VESSEL_A};2026-03-03;OK;\nU1;{VESSEL_A};2026-02-31;OK;\n"
    )
    path = tmp_path / "round.csv"
    path.write_text(text)
    lines = learn_command([path], None, tmp_path / "out.toml", tmp_path / "store")
    told = next(line for line in lines if "records read" in line)
    assert (
        "4 records read: 2 would load, 1 would load once their vessel or unit is in a register" in told
        and "1 would be put aside" in told
    )
    assert any("impossible-date (inspection): 1, e.g. line 5" in line for line in lines)
    assert held and list_store(tmp_path / "store") == held


# --- sources that the project knows ----------------------------------------------------------------------------------


def sample_dialects():
    return sorted((SAMPLES / "dialects").glob("*.toml"))


def compare(path: Path) -> dict[str, Counter]:
    """Learn a sample source from its files; counts of columns and words right, missed and wrong though called sure."""
    spec = tomllib.loads(path.read_text(encoding="utf-8"))
    dialect = read_dialect(path.read_bytes(), path.name)
    inner = [file for file in sorted(SAMPLES.rglob("*.csv")) if dialect.reads(file.relative_to(SAMPLES).as_posix())]
    draft = learn_dialect(inner)
    cells = {h: {row[n].lower() for row in draft.plan.sheet.rows} for n, h in enumerate(draft.plan.sheet.headers)}
    found = {feed.table.text: {column.name: column for column in feed.columns} for feed in draft.plan.feeds}
    counts = {"columns": Counter(), "words": Counter()}
    for feed in spec["table"]:
        for name, source in feed["columns"].items():
            source = {"from": source} if isinstance(source, str) else source
            if "from" not in source:
                continue
            column = found.get(feed["name"], {}).get(name)
            right = column is not None and column.source.text == source["from"]
            own_unit = contract.tables()[feed["name"]].column(name).unit
            right = right and (column.unit.text if column.unit else own_unit) == source.get("unit", own_unit)
            counts["columns"]["right" if right else "missed"] += 1
            if contract.tables()[feed["name"]].column(name).type == "text":
                continue  # what free text is called in English is its reader's choice
            words = {plan.word.lower(): plan for plan in column.words} if right else {}
            for word, target in source.get("words", {}).items():
                if word.lower() in cells[source["from"]] and word.lower() != target:
                    plan = words.get(word.lower())
                    ok = plan is not None and plan.target == target
                    counts["words"]["right" if ok else "missed"] += 1
                    counts["words"]["sure but wrong"] += bool(plan and plan.is_sure and not ok)
    return counts


@pytest.mark.parametrize("path", sample_dialects(), ids=lambda path: path.stem)
def test_sample_sources_are_rediscovered(path):
    """Measured 2026-11-25 over the ten: 210 of 210 columns and 150 of 150 words right, none wrong that is called sure. The
    trade lists were written by someone who had read these sources, so this is a floor against regress and no proof of skill:
    that is for the unseen sources above.
    """
    counts = compare(path)
    columns, words = counts["columns"], counts["words"]
    assert columns["right"] >= 0.95 * columns.total(), counts
    assert words["right"] >= 0.9 * (words["right"] + words["missed"]), counts
    assert words["sure but wrong"] == 0, counts
