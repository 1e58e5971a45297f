"""What is published about CSV and about Unicode's normal forms, held against the reader.

In: RFC 4180, section 2 (the seven rules with their own examples, read in a stored copy of the text); W3C, "Model for Tabular
Data and Metadata on the Web", sections "Best Practice CSV" and "Parsing Tabular Data" (read in its working group's repository,
w3c/csvw, syntax/index.html); Unicode Standard Annex 15 with its NormalizationTest.txt (the lines used were read, where not marked
otherwise). Where the reader knowingly does otherwise than the text, the check says so and says why.
"""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, Feed, Source
from pipeline.intake.folder import inner_name, read_folder
from pipeline.intake.read_dialect import parse_dialect
from pipeline.intake.reader import read_records

THREE = Dialect("three", ("*",), (Feed("unit", {name: Source(header=name) for name in ("f1", "f2", "f3")}),), "digest")
HEAD = "f1,f2,f3\r\n"


def cells(text: str, dialect: Dialect = THREE) -> list[list[str]]:
    """The good records of a text; none may be broken."""
    records = read_records(text.encode(dialect.encoding), dialect, "x.csv")
    rows = [row for _, _, row in records.rows]
    assert records.broken == []
    return rows


def rules_broken(text: str) -> list[str]:
    records = read_records(text.encode(), THREE, "x.csv")
    assert [row for _, _, row in records.rows if row == ["zzz", "yyy", "xxx"]], "the record after it is read"
    return [item.rule for item in records.broken]


@pytest.mark.parametrize(
    "text, expected",
    [
        # Rule 1, its example: each record on a line of its own, ended by CRLF.
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 2, its example: the last record may have no line end.
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 4: spaces are part of a field. (The reader keeps them; typed columns are trimmed later.)
        (" aaa,bbb , ccc \r\n", [[" aaa", "bbb ", " ccc "]]),
        # Rule 5, its example: fields may be enclosed in double quotes.
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 6, its example: a line break within a quoted field (the example's second line is indented in the text only).
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 6: commas within a quoted field.
        ('"aaa","b,bb","ccc"\r\n', [["aaa", "b,bb", "ccc"]]),
        # Rule 7, its example: a double quote within a field is doubled.
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_rfc_4180_examples(text, expected):
    assert cells(HEAD + text) == expected


def test_rfc_4180_rule_3_the_header_has_the_format_of_a_record():
    """Rule 3: a header line has the same format as records, so quotes too; its names correspond to the fields."""
    assert cells('"f1","f2","f3"\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n') == [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]
    with pytest.raises(UserError, match="column twice"):
        read_records(b"f1,f1,f2,f3\r\na,b,c,d\r\n", THREE, "x.csv")


@pytest.mark.parametrize(
    "line, rule",
    [
        # Rule 4: each line should contain the same number of fields.
        ("aaa,bbb", "ragged-record"),
        ("aaa,bbb,ccc,ddd", "ragged-record"),
        # Rule 4: the last field must not be followed by a comma.
        ("aaa,bbb,ccc,", "ragged-record"),
        # Rule 7: a double quote inside a quoted field must be escaped by another. W3C, "parse a row" 3.2: after a closing quote
        # that no delimiter follows, raise an error.
        ('"aaa","b"bb","ccc"', "unclosed-quote"),
        # The same: no white space before or after the quotes (W3C, "Lines").
        ('"aaa" ,bbb,ccc', "unclosed-quote"),
    ],
)
def test_what_breaks_a_rule_is_put_aside_and_costs_its_own_line_only(line, rule):
    assert rules_broken(f"{HEAD}{line}\r\nzzz,yyy,xxx\r\n") == [rule]


def test_a_quote_within_an_unquoted_field_is_kept_as_it_is():
    """Rule 5 says that none may appear there; W3C, "parse a row" 3.1: an error if the value before it is not empty.

    We do otherwise: 1/2" hose is common in such exports, there is one way only to read it, and nothing is changed.
    """
    assert cells(HEAD + 'aaa,b"bb,3/4"\r\n') == [["aaa", 'b"bb', '3/4"']]
    assert cells(HEAD + 'aaa, "bbb",ccc\r\n') == [["aaa", ' "bbb"', "ccc"]]


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_w3c_line_ends(end):
    """ "Line Endings": CRLF or LF; line terminators of the default dialect are [CRLF, LF]. A lone CR is ours (old spreadsheets)."""
    text = f'f1,f2,f3{end}aaa,bbb,ccc{end}"a{end}a",,{end}'
    assert cells(text) == [["aaa", "bbb", "ccc"], [f"a{end}a", "", ""]]


@pytest.mark.parametrize("other", ["\x0b", "\x0c", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029"])
def test_nothing_else_ends_a_line(other):
    """The same place names CRLF and LF; what Python's str.splitlines takes beyond that is text (Python's documentation, from memory)."""
    assert len(f"a{other}b".splitlines()) == 2
    assert cells(f"{HEAD}a{other}b,bbb,ccc\n") == [[f"a{other}b", "bbb", "ccc"]]


def test_w3c_line_ends_within_cells_are_not_normalised():
    """ "Line Endings": line endings within escaped cells are not normalised."""
    assert cells(f'{HEAD}"1\r\n2\n3\r4",,x\r\n') == [["1\r\n2\n3\r4", "", "x"]]


def test_w3c_header_row_and_skipped_rows():
    """ "skip rows": rows before the header are no data; "header row count" 1: the next one names the columns."""
    records = read_records(b"Fleet list\r\n\r\nf1,f2,f3\r\na,b,c\r\n", replace(THREE, skip_head=2), "x.csv")
    assert [(number, line, row) for number, line, row in records.rows] == [(1, 4, ["a", "b", "c"])]
    assert records.headers == ["f1", "f2", "f3"] and records.lines_skipped == 1


@pytest.mark.parametrize("blank", ["\r\n", ",,\r\n", ' , ,""\r\n'])
def test_w3c_blank_rows_are_skipped_and_source_numbers_keep_counting(blank):
    """ "skip blank rows" true (the text's default is false): a row whose cells are all empty is no row, but its line counts."""
    records = read_records(f"{HEAD}{blank}aaa,bbb,ccc\r\n{blank}zzz,yyy,xxx\r\n".encode(), THREE, "x.csv")
    assert [(line, row) for _, line, row in records.rows] == [(3, ["aaa", "bbb", "ccc"]), (5, ["zzz", "yyy", "xxx"])]
    assert records.broken == []


def test_w3c_delimiter_and_encoding_of_the_dialect():
    """ "delimiter", "encoding": others than comma and UTF-8 by description; then a comma is text."""
    dialect = replace(THREE, delimiter=";", encoding="iso-8859-1")
    assert cells('f1;f2;f3\r\n1,5;"a;b";\xfcber\r\n', dialect) == [["1,5", "a;b", "\xfcber"]]


def test_w3c_bad_bytes_are_refused_not_replaced():
    """ "Parsing Tabular Data", step 5 replaces bytes that are no text by U+FFFD. We refuse the file: a changed value would stay unseen."""
    with pytest.raises(UserError) as caught:
        read_records(b"f1,f2,f3\r\na,\xff,c\r\n", THREE, "x.csv")
    assert caught.value.slug == "wrong-encoding" and "byte 12" in str(caught.value)


def test_w3c_right_to_left_text_does_not_move_cells():
    """ "Bidirectionality in CSV Files": the first cell is the text before the first comma; row 1 of its example, cut to three cells."""
    name = "\u0627\u0644\u0642\u0644\u064a\u0648\u0628\u064a\u0629"
    assert cells(f'{HEAD}{name},60.0,"2,639,808"\r\n') == [[name, "60.0", "2,639,808"]]


# source; NFC; NFD. From NormalizationTest.txt, part 0 (read), and for U+212B, U+2126 and U+FB01 from UAX 15's figures (from memory;
# for U+212B and U+2126 also in third-party texts that were read).
NORMAL_FORMS = [
    ("\u1e0a", "\u1e0a", "\u0044\u0307"),
    ("\u1e0c", "\u1e0c", "\u0044\u0323"),
    ("\u1e0a\u0323", "\u1e0c\u0307", "\u0044\u0323\u0307"),
    ("\u1e0c\u0307", "\u1e0c\u0307", "\u0044\u0323\u0307"),
    ("\u0044\u0307\u0323", "\u1e0c\u0307", "\u0044\u0323\u0307"),
    ("\u212b", "\u00c5", "\u0041\u030a"),
    ("\u2126", "\u03a9", "\u03a9"),
    ("\ufb01", "\ufb01", "\ufb01"),
]


@pytest.mark.parametrize("source, composed, apart", NORMAL_FORMS)
def test_headers_are_met_in_any_canonical_form(source, composed, apart):
    """A header in the file and in the dialect are the same text, whichever of the three forms each has."""
    assert unicodedata.normalize("NFC", source) == composed
    for wanted in (source, composed, apart):
        columns = {"unit_id": f"No {wanted}", "imo_number": "b"}
        dialect = parse_dialect({"name": "x", "files": ["*"], "table": [{"name": "unit", "columns": columns}]})
        for found in (source, composed, apart):
            records = read_records(f"No {found},b\nU1,9999993\n".encode(), dialect, "x.csv")
            assert records.headers == [f"No {composed}", "b"] and len(list(records.rows)) == 1


@pytest.mark.parametrize("source, composed, apart", NORMAL_FORMS)
def test_a_file_name_in_any_canonical_form_is_one_file(source, composed, apart, tmp_path):
    for form in (source, composed, apart):
        assert inner_name(Path("exports") / f"a{form}" / f"b{form}.csv", Path("exports")) == f"a{composed}/b{composed}.csv"
    forms = {source, composed, apart}
    for form in forms:
        (tmp_path / f"x{form}.csv").write_text("a")
    if len({path.name for path in tmp_path.iterdir()}) > 1:
        with pytest.raises(UserError, match="same text in Unicode"):
            read_folder(tmp_path, tmp_path / "store")


def test_compatibility_forms_stay_apart():
    """UAX 15: the ligature U+FB01 is compatible with, but not canonically equivalent to, "fi" (from memory): two headers, two texts."""
    assert unicodedata.normalize("NFKC", "\ufb01") == "fi"
    with pytest.raises(UserError) as caught:
        read_records(
            "\ufb01,f2,f3\na,b,c\n".encode(), replace(THREE, feeds=(Feed("unit", {"unit_id": Source(header="fi")}),)), "x.csv"
        )
    assert caught.value.slug == "header-mismatch"


def test_words_and_cells_are_met_in_any_canonical_form(exports, run_on, small_fleet):
    """The cell Ḍ̇ in three forms, and the dialect's word in a fourth order of marks: one word; the text column is kept composed."""
    forms = ["\u1e0a\u0323", "\u1e0c\u0307", "\u0044\u0323\u0307"]
    dialect = """name = "marks"
        files = ["log.csv"]
        [[table]]
        name = "inspection"
        [table.columns]
        unit_id = "No"
        imo_number = { constant = "9999993" }
        inspected_on = "Day"
        remarks = "Note"
        outcome = { from = "Seen", words = { "D\u0307\u0323" = "no_access" } }"""
    lines = [f"U1,2026-02-0{number},{form},{form}" for number, form in enumerate(forms, start=1)]
    _, con = run_on(exports({**small_fleet, "dialects/m.toml": dialect, "log.csv": "\n".join(["No,Day,Seen,Note", *lines])}))
    rows = con.execute("select remarks from record.inspection where outcome = 'no_access'").fetchall()
    assert rows == [("\u1e0c\u0307",)] * 3
