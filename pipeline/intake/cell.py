"""One cell in SQL: trimmed text, a day, a number with its unit. In: a column's source and its dialect. Out: SQL expressions.

Each reads strictly what the dialect says; what it can't read comes out null, and convert.py tells the two nulls apart.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass, field

from pipeline import contract
from pipeline.contract import Column
from pipeline.intake.dialect import Dialect, Source, fold_word

BLANKS = " \t\r\n\v\f\u00a0\ufeff"
# A number and the unit that its cell carries after it. \x27 is the apostrophe, a thousands mark.
NUMBER_AND_UNIT = r"^([+-]?[0-9][0-9.,\x27\x{2019}\s\x{00a0}\x{202f}]*)(.*)$"


@dataclass
class Query:
    """A SELECT being written, with its parameters. `is_trimmed`: no cell begins or ends with a blank; to trim them takes half the time."""

    is_trimmed: bool = False
    parameters: dict[str, object] = field(default_factory=dict)

    def bind(self, value: object) -> str:
        """Make the value a parameter and return its placeholder."""
        name = f"p{len(self.parameters)}"
        self.parameters[name] = value
        return f"${name}"


def clean_sql(query: Query, header: str, headers: list[str], dialect: Dialect) -> str:
    """The trimmed cell in Unicode's composed form, or null where it is empty or one of the dialect's null words."""
    cell = f"nfc_normalize(c{headers.index(header)})"
    cell = f"nullif({cell if query.is_trimmed else f'trim({cell}, {query.bind(BLANKS)})'}, '')"
    if not dialect.null_words:
        return cell
    words = query.bind([fold_word(word) for word in dialect.null_words])
    return f"case when list_contains({words}, {lower_sql(cell)}) then null else {cell} end"


def lower_sql(text: str) -> str:
    """The text in lower case as `fold_word` has it: letter by letter, a final sigma as any other."""
    return f"replace(lower({text}), 'ς', 'σ')"


def month_sql(query: Query, text: str, dialect: Dialect) -> str:
    """The text with the first of the dialect's names of months in it in English, as %b reads it; any other word stays."""
    if not dialect.months:
        return text
    english = {name: calendar.month_abbr[number] for name, number in dialect.months.items()}
    names, months = query.bind(list(english)), query.bind(list(english.values()))
    words = f"regexp_extract_all({text}, '\\p{{L}}+')"
    word = f"list_filter({words}, lambda w: list_contains({names}, {lower_sql('w')}))[1]"
    said = f"{months}[list_position({names}, {lower_sql(word)})]"
    # Not within another word: a weekday may begin like the month.
    place = f"'(^|[^\\p{{L}}])' || {word} || '[.]?([^\\p{{L}}]|$)'"
    return f"case when {word} is null then {text} else regexp_replace({text}, {place}, '\\1' || {said} || '\\2') end"


def date_sql(query: Query, text: str, formats: tuple[str, ...]) -> str:
    """The day that the text gives under the first format that reads it, null for none."""
    # A digit is asked for, because DuckDB also takes words such as 'epoch' for a date.
    # Form by form: %Y also reads '24' as the year 24, which is no reading and must not keep a later form from trying.
    tried = [f"try_strptime({text}, {query.bind(form)})::date" for form in formats]
    return f"case when {_has_digit_sql(text)} then coalesce({', '.join(map(_near_sql, tried))}) end"


def tried_date_sql(text: str, tried: list[str]) -> str:
    """As date_sql, where columns `tried` hold what each format makes of the text: each is then worked out once."""
    return f"case when {_has_digit_sql(text)} then coalesce({', '.join(map(_near_sql, tried))}) end"


def _has_digit_sql(text: str) -> str:
    return f"case when {text} >= '0' and {text} < ':' then true else regexp_matches({text}, '[0-9]') end"


def _near_sql(day: str) -> str:
    return f"case when year({day}) between 1900 and 2200 then {day} end"


def suffix_sql(query: Query, text: str) -> str:
    """The unit that a cell carries, in lower case without spaces."""
    return f"lower(regexp_replace(regexp_extract({text}, {query.bind(NUMBER_AND_UNIT)}, 2), '[\\s\\x{{00a0}}\\x{{202f}}]+', '', 'g'))"


def number_sql(query: Query, text: str, column: Column, source: Source, dialect: Dialect) -> str:
    """Digits with the dialect's marks only: no exponent, no 'nan', no guess about a stray mark."""
    value = _plain_number_sql(query, _number_part_sql(query, text, source), dialect)
    if source.suffixes:
        cases = [
            f"when {query.bind(suffix)} then {_scale_sql(query, value, column, unit)}" for suffix, unit in source.suffixes.items()
        ]
        if source.unit:
            cases.append(f"when '' then {_scale_sql(query, value, column, source.unit)}")
        value = f"case {suffix_sql(query, text)} {' '.join(cases)} end"
    elif source.unit:
        value = _scale_sql(query, value, column, source.unit)
    if column.type == "integer":
        return f"case when ({value}) = floor({value}) then try_cast(({value}) as bigint) end"
    return value


def _number_part_sql(query: Query, text: str, source: Source) -> str:
    """The cell without the unit that it carries, where the dialect says that it does."""
    if not source.suffixes:
        return text
    return f"trim(regexp_extract({text}, {query.bind(NUMBER_AND_UNIT)}, 1), {query.bind(BLANKS)})"


def _plain_number_sql(query: Query, text: str, dialect: Dialect) -> str:
    digits, plain = "[0-9]+", text
    if dialect.thousands_mark:
        digits = f"(?:[0-9]{{1,3}}(?:[{dialect.thousands_mark}][0-9]{{3}})+|[0-9]+)"
        plain = f"replace({text}, {query.bind(dialect.thousands_mark)}, '')"
    shape = query.bind(f"[+-]?{digits}(?:[{dialect.decimal_mark}][0-9]+)?")
    number = f"try_cast(replace({plain}, {query.bind(dialect.decimal_mark)}, '.') as double)"
    return f"case when regexp_full_match({text}, {shape}) then {number} end"


def _scale_sql(query: Query, value: str, column: Column, unit: str) -> str:
    factor, minus = contract.conversions(column.unit)[unit]
    return f"(({value}) - {query.bind(minus)}::double) * {query.bind(factor)}::double"
