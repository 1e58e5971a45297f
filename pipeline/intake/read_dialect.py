"""A dialect TOML, checked key by key. In: its text. Out: a `Dialect`, or one sentence that names file and key.

A slip of the pen here must never become a silent loss: unknown keys, wrong types, words outside the vocabulary, date forms
that lose the year are all refused. So is a draft in which something is still marked "?".
"""

from __future__ import annotations

import codecs
import hashlib
import json
import tomllib
import unicodedata
from collections.abc import Iterator
from functools import cache

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, TotalRow, fold_word
from pipeline.intake.dialect_keys import FLAG, NUMBER, TABLE, TEXT, TEXTS, Fault, check_kinds
from pipeline.intake.read_feed import check_formats, parse_feed

TOP_KEYS = {
    "name": TEXT, "about": TEXT, "files": TEXTS, "encoding": TEXT, "delimiter": TEXT, "decimal_mark": TEXT,
    "thousands_mark": TEXT, "date_formats": TEXTS, "null_words": TEXTS, "skip_head": NUMBER, "skip_foot": NUMBER,
    "ignore_columns": TEXTS, "repeated_header": FLAG, "total_rows": "a list of tables", "draft": FLAG, "months": TABLE,
    "table": "a list of tables",
}  # fmt: skip
TOTAL_KEYS = {"column": TEXT, "is": TEXTS, "begins": TEXTS}


def read_dialect(data: bytes, shown_as: str) -> Dialect:
    """Read and check one dialect. Raises UserError bad-dialect naming file and key, or unsettled-draft."""
    try:
        spec = tomllib.loads(data.decode("utf-8"))
        refuse_unsettled(spec, shown_as)
        return parse_dialect(spec)
    except Fault as fault:
        raise UserError("bad-dialect", file=shown_as, key=fault.key, why=fault.why) from fault
    except (ValueError, RecursionError) as error:
        raise UserError("bad-dialect", file=shown_as, key="(whole file)", why=f"is not TOML: {error}") from error


def refuse_unsettled(spec: dict, shown_as: str) -> None:
    """Raise UserError unsettled-draft if a draft still has something marked "?"."""
    unsettled = list(find_unsettled(spec)) if spec.get("draft") is True else []
    if unsettled:
        more = f" and {len(unsettled) - 5} more" if len(unsettled) > 5 else ""
        raise UserError("unsettled-draft", file=shown_as, keys=", ".join(unsettled[:5]) + more)


def find_unsettled(value: object, where: str = "") -> Iterator[str]:
    """The keys of every key and text that begins with "?"."""
    if isinstance(value, dict):
        for key, inner in value.items():
            place = f"{where}.{key}" if where else key
            if key.startswith("?"):
                yield place
            else:
                yield from find_unsettled(inner, place)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from find_unsettled(inner, f"{where}[{number}]")
    elif isinstance(value, str) and value.startswith("?"):
        yield where


def _compose(value: object) -> object:
    """Texts in Unicode's composed form, as the cells they are compared with (Unicode Standard Annex 15, NFC)."""
    if isinstance(value, dict):
        return {unicodedata.normalize("NFC", key): _compose(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_compose(inner) for inner in value]
    return unicodedata.normalize("NFC", value) if isinstance(value, str) else value


def parse_dialect(spec: dict) -> Dialect:
    """Check a parsed dialect and freeze it."""
    spec = _compose(spec)
    check_kinds(spec, TOP_KEYS, "", ("name", "files", "table"))
    _check_encoding(spec.get("encoding", "utf-8"))
    _check_marks(spec)
    formats = check_formats(spec.get("date_formats", ["%Y-%m-%d"]), "date_formats")
    months = _parse_months(spec.get("months", {}))
    totals = tuple(_parse_total(entry, f"total_rows[{number}].") for number, entry in enumerate(spec.get("total_rows", ())))
    feeds = tuple(parse_feed(entry, formats, f"table[{number}].") for number, entry in enumerate(spec["table"]))
    return Dialect(
        name=spec["name"],
        files=tuple(spec["files"]),
        feeds=feeds,
        digest=hashlib.sha256(json.dumps(spec, default=str).encode()).hexdigest()[:16],
        encoding=spec.get("encoding", "utf-8"),
        delimiter=spec.get("delimiter", ","),
        decimal_mark=spec.get("decimal_mark", "."),
        thousands_mark=spec.get("thousands_mark", ""),
        null_words=tuple(spec.get("null_words", ())),
        skip_head=spec.get("skip_head", 0),
        skip_foot=spec.get("skip_foot", 0),
        ignore_columns=tuple(spec.get("ignore_columns", ())),
        months=months,
        has_repeated_header=spec.get("repeated_header", False),
        total_rows=totals,
    )


def _parse_total(entry: dict, where: str) -> TotalRow:
    check_kinds(entry, TOTAL_KEYS, where, ("column",))
    words, begins = ([fold_word(word) for word in entry.get(key, ())] for key in ("is", "begins"))
    if not any(words) and not any(begins) or not all(begins):
        raise Fault(f"{where}is", "or `begins` must list at least one word, none of them empty")
    return TotalRow(entry["column"], tuple(words), tuple(begins))


def _parse_months(months: dict) -> dict[str, int]:
    """Local names of months, folded, without a closing point."""
    for name, number in months.items():
        if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= 12 or not name.strip(" .").isalpha():
            raise Fault(f"months.{name}", "must be a name in letters and a number from 1 to 12")
    return {fold_word(name).strip(" ."): number for name, number in months.items()}


def _check_encoding(encoding: str) -> None:
    try:
        "a".encode(encoding).decode(encoding)
        b"\xc3\xbc".decode(encoding, "replace")
        codecs.getincrementaldecoder(encoding)("strict")
    except (LookupError, ValueError, TypeError) as error:
        raise Fault("encoding", f"{encoding!r} is no encoding of text that Python knows") from error


def _check_marks(spec: dict) -> None:
    if len(spec.get("delimiter", ",")) != 1 or spec.get("delimiter") in ('"', "\r", "\n"):
        raise Fault("delimiter", "must be one character, no quotation mark and no line end")
    if spec.get("decimal_mark", ".") not in (".", ","):
        raise Fault("decimal_mark", "must be a point or a comma")
    if spec.get("thousands_mark", "") not in ("", ".", ",", " ", "'", "\u2019", "\u00a0", "\u202f"):
        raise Fault("thousands_mark", "must be a point, a comma, an apostrophe or a space")
    if spec.get("thousands_mark", "") == spec.get("decimal_mark", "."):
        raise Fault("thousands_mark", "must differ from decimal_mark")


@cache
def canonical_dialect(table_name: str, delimiter: str = ",") -> Dialect:
    """The dialect of a file named after a canonical table: the contract's own names, ISO dates, UTF-8, commas (tabs in a .tsv)."""
    table = contract.tables()[table_name]
    columns = {column.name: {"from": column.name, "optional": not column.required} for column in table.columns}
    return parse_dialect(
        {
            "name": f"canonical-{table_name}",
            "files": [f"*{table_name}.csv", f"*{table_name}.tsv"],
            "delimiter": delimiter,
            "table": [{"name": table_name, "columns": columns}],
        }
    )
