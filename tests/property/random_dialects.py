"""How a random source writes: encoding, marks, forms, words; for each column a header and a way to say its values.

In: a chooser and who there is. Out: a `SourceMaker`, from which random_sources.py draws records.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from pipeline import contract
from tests.property.canonical import KEYS, complete_imo_number
from tests.property.choosers import Chooser
from tests.property.dialect_writer import Style
from tests.property.random_cells import SCALES, Texts, compose, draw_number, fold, pick_day, write_date, write_number

UNICODE = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "gb18030", "utf-7")
ONE_BYTE = ("cp1252", "latin-1", "iso8859-15", "mac_roman", "cp437", "cp850", "koi8-r", "cp1251", "cp1253", "cp1255", "cp1258",
            "iso8859-7", "cp037", "cp864")  # fmt: skip
ASIAN = ("shift_jis", "cp932", "euc_jp", "iso2022_jp", "gbk", "big5", "euc_kr", "tis_620")
DELIMITERS = (",", ";", "\t", "|", "^", "~", " ", "§", "\x1f")
NULL_WORDS = ("n/a", "-", "nil", "none", "NULL", "?", "k.A.", "(leer)", "0000-00-00", "ΚΕΝΌ")
THOUSANDS = (".", ",", " ", "'", "\u2019", "\u00a0", "\u202f")
DAY_FORMS = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y%m%d", "%d %b %Y", "%d-%B-%Y", "%d.%m.%y", "%Y-%m-%d %H:%M:%S",
             "%a, %d %B %Y", "%b %d, %Y", "%Y_%j", "%d|%m|%Y", "%Y年%m月%d日", "%d-%m-%Y %I:%M %p", "%-d.%-m.%Y")  # fmt: skip
DAY_FIRST, MONTH_FIRST = "%d/%m/%Y", "%m/%d/%Y"
ROUGH_FORMS = (("month", "%m/%Y"), ("month", "%b %Y"), ("month", "%Y-%m"), ("year", "%Y"))
EVENTS = ("inspection", "service", "finding")
FIRST_EVENT, LAST_EVENT = date(2016, 1, 1), date(2026, 4, 30)
TABLES = KEYS | {"station": ("imo_number", "position_no")}


@dataclass(frozen=True)
class Ships:
    """Who there is: vessels, and units as (unit_id, vessel). Every unit's number begins with `prefix`."""

    prefix: str
    vessels: tuple[str, ...]
    units: tuple[tuple[str, str], ...]


@dataclass
class Plan:
    """How one canonical column is said: `draw` gives (cell, value), both empty where the source says nothing."""

    column: str
    header: str | None
    entry: object
    draw: object
    forms: tuple[str, ...] = ()


def draw_ships(chooser: Chooser, number: int) -> Ships:
    prefix = f"K{number}-"
    vessels = tuple(complete_imo_number(980001 + 3 * number + n) for n in range(chooser.pick_number(1, 2)))
    tails = ("001", "0", "U 1", 'U"2"', "=A1", "u,3", "x;9", "000", "7/8", "A|B", "Q")
    chosen = {chooser.pick_one(tails) for _ in range(chooser.pick_number(1, 4))}
    return Ships(prefix, vessels, tuple((prefix + tail, chooser.pick_one(vessels)) for tail in sorted(chosen)))


@dataclass
class SourceMaker:
    """Draws one source: first how it writes, then its columns, then its records."""

    chooser: Chooser
    name: str
    ships: Ships
    may_ask: bool = True
    headers: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        pick = self.chooser.pick_one
        encoding = pick(pick((UNICODE, ONE_BYTE, ASIAN)))
        self.texts = Texts(self.chooser, encoding)
        kept = [mark for mark in DELIMITERS if self.texts.can_write(mark)]
        delimiter = pick(kept)
        self.style = Style(
            encoding, delimiter, pick(("\n", "\r\n", "\r")), pick(("minimal", "all", "some")), self.chooser.has_chance(30),
            self.chooser.has_chance(70), tuple(self._draw_line() for _ in range(pick((0, 0, 1, 3)))),
            # A line at the foot that is as wide as a record goes to quarantine, so none is.
            tuple(self._draw_line().replace(delimiter, "") + "." for _ in range(pick((0, 0, 1, 2)))),
        )  # fmt: skip
        self.nulls = [word for word in NULL_WORDS if self.texts.can_write(word) and self.chooser.has_chance(25)]
        self.texts.taken |= {fold(word) for word in self.nulls}
        self.decimal = pick((".", ","))
        thousands = [mark for mark in THOUSANDS if mark != self.decimal and self.texts.can_write(mark)]
        self.thousands = pick(("", *thousands))
        self.forms = self._pick_forms()
        self.plans: dict[str, list[Plan]] = {}

    def _draw_line(self) -> str:
        return " ".join(self.texts.draw_word() for _ in range(self.chooser.pick_number(1, 3)))

    def _pick_forms(self) -> tuple[str, ...]:
        """One to three forms none of which reads what another writes as another day."""
        forms: list[str] = []
        for _ in range(self.chooser.pick_number(1, 3)):
            form = self.chooser.pick_one([form for form in DAY_FORMS if self.texts.can_write(form.replace("%", ""))])
            twins = {DAY_FIRST: MONTH_FIRST, MONTH_FIRST: DAY_FIRST}
            if form not in forms and twins.get(form) not in forms:
                forms.append(form)
        return tuple(forms)

    def add_header(self) -> str:
        while True:
            header = compose(self.texts.draw_word())
            if header == header.strip() and header not in self.headers and self.texts.can_write(header):
                self.headers.append(header)
                return header

    def say_nothing(self) -> str:
        return self.texts.vary_case(self.chooser.pick_one(self.nulls)) if self.nulls and self.chooser.has_chance(60) else ""

    def plan_table(self, table: str, header_of: dict[str, str], needed: tuple[str, ...]) -> None:
        """Choose the columns the source has. `header_of`: columns that share a header with another table."""
        self.plans[table] = []
        columns = [c for c in contract.tables()[table].columns if c.name in needed or self.chooser.has_chance(55)]
        columns = [c for c in columns if c.name != "made_on_precision"]
        for column in sorted(columns, key=lambda _: self.chooser.pick_number(0, 99)):
            self.plans[table].append(self._plan_column(table, column, header_of.get(column.name), column.name in needed))

    def _plan_column(self, table: str, column, header: str | None, is_needed: bool) -> Plan:
        if column.name == "imo_number" and len(self.ships.vessels) == 1 and header is None and self.chooser.has_chance(40):
            return Plan(column.name, None, {"constant": self.ships.vessels[0]}, None)
        header = header or self.add_header()
        if column.name in ("unit_id", "imo_number"):
            return self._plan_identity(column.name, header)
        entry, draw, forms = getattr(self, f"_plan_{column.type}".replace("integer", "decimal"))(table, column, header)
        if not is_needed:
            inner = draw
            draw = lambda: (self.say_nothing(), None) if self.chooser.has_chance(25) else inner()  # noqa: E731
        return Plan(column.name, header, entry, draw, forms)

    def _plan_identity(self, name: str, header: str) -> Plan:
        tails = [unit.removeprefix(self.ships.prefix) for unit, _ in self.ships.units]
        if name == "unit_id" and self.chooser.has_chance(40) and all(map(self.texts.is_free, tails)):
            return Plan(name, header, {"from": header, "prefix": self.ships.prefix}, "tail")
        return Plan(name, header, header if self.chooser.has_chance(50) else {"from": header}, "whole")

    def _plan_text(self, table, column, header):
        if column.pattern:
            letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
            return header, lambda: (self._free_code(letters),) * 2, ()
        entry: dict = {"from": header}
        if self.chooser.has_chance(15) and column.name != "position_no":
            return entry | {"prefix": "Pre-"}, lambda: self._say(self.texts.draw_cell(), "Pre-"), ()
        if self.chooser.has_chance(15):
            word, target = self.texts.draw_word(), self.texts.draw_cell().replace("\n", " ").replace("\r", " ").strip()
            target = compose(target) or "target"
            self.texts.taken.add(fold(word))
            entry["words"] = {word: target}
            return entry, lambda: self.chooser.pick_one([(self.texts.vary_case(word), target), self._say(self._other(word))]), ()
        return entry, lambda: self._say(self.texts.draw_cell()), ()

    def _other(self, word: str) -> str:
        while fold(text := self.texts.draw_cell()) == fold(word):
            pass
        return text

    def _free_code(self, letters: str) -> str:
        while not self.texts.is_free(code := self.chooser.pick_one(letters) + self.chooser.pick_one(letters)):
            pass
        return code

    def _say(self, text: str, prefix: str = "") -> tuple[str, str]:
        return self.texts.pad(text), prefix + compose(text)

    def _plan_word(self, table, column, header):
        said: dict[str, list[str]] = {}
        words: dict[str, str] = {}
        for target in column.words:
            said[target] = [target] if self.texts.is_free(target) else []
            for _ in range(self.chooser.pick_one((0, 1, 1, 2)) or (0 if said[target] else 1)):
                self.add_word(words, said[target], target, column.words)
        entry = {"from": header} | ({"words": words} if words else {})

        def draw():
            target = self.chooser.pick_one(column.words)
            return self.texts.pad(self.texts.vary_case(self.chooser.pick_one(said[target]))), target

        return entry, draw, ()

    def add_word(self, words: dict, said: list[str], target: object, reserved: tuple[str, ...]) -> None:
        while True:
            word = self.texts.draw_word()
            if word == word.strip() and fold(word) not in {fold(item) for item in (*words, *reserved)}:
                words[word] = target
                said.append(word)
                return

    def _plan_boolean(self, table, column, header):
        words: dict[str, object] = {}
        said = {True: ["true"], False: ["false"]}
        for value in (True, False):
            if self.chooser.has_chance(60):
                self.add_word(words, said[value], value if self.chooser.has_chance(50) else str(value).lower(), ("true", "false"))
        entry = {"from": header} | ({"words": words} if words else {})

        def draw():
            value = self.chooser.has_chance(50)
            return self.texts.pad(self.texts.vary_case(self.chooser.pick_one(said[value]))), value

        return entry, draw, ()

    def _plan_decimal(self, table, column, header):
        unit = self.chooser.pick_one((None, *SCALES[column.unit])) if column.unit else None
        whole = column.type == "integer"

        def draw():
            if whole:
                number = value = self.chooser.pick_number(int(column.low), int(column.high))
            else:
                number, value = draw_number(self.chooser, column.low, column.high, unit, column.unit)
            cell = write_number(self.chooser, Fraction(number), self.decimal, self.thousands)
            return (self.texts.pad(cell), value) if self.texts.is_free(cell) else draw()

        return {"from": header} | ({"unit": unit} if unit else {}), draw, ()

    def _plan_date(self, table, column, header):
        entry: dict = {"from": header}
        forms = self.forms
        if self.chooser.has_chance(30):
            forms = self._pick_forms()
            entry["formats"] = list(forms)
        first, last = (date(1995, 1, 1), date(2012, 12, 31)) if column.name == "made_on" else (FIRST_EVENT, LAST_EVENT)
        if column.name == "made_on" and self.chooser.has_chance(50):
            rough = [item for item in ROUGH_FORMS if self.chooser.has_chance(50)]
            entry |= {"formats": [*forms, *(form for _, form in rough)], "precision_into": "made_on_precision"}
            return entry, lambda: self._draw_rough(first, last, forms, rough), ()
        used = forms[0]
        if self.may_ask and len(forms) == 1 and used in (DAY_FIRST, MONTH_FIRST):
            pair = (DAY_FIRST, MONTH_FIRST) if self.chooser.has_chance(50) else (MONTH_FIRST, DAY_FIRST)
            entry["formats"] = list(pair)

        def draw():
            day = pick_day(self.chooser, first, last)
            return self._write_day(day, self.chooser.pick_one(forms), day)

        return entry, draw, forms

    def _write_day(self, day: date, form: str, value: object) -> tuple[str, object]:
        cell = write_date(day, form)
        return self.texts.pad(self.texts.vary_case(cell) if "%B" in form else cell), value

    def _draw_rough(self, first: date, last: date, forms, rough) -> tuple[str, object]:
        day = pick_day(self.chooser, first, last)
        precision, form = self.chooser.pick_one([*(("day", form) for form in forms), *rough])
        day = {"day": day, "month": day.replace(day=1), "year": date(day.year, 1, 1)}[precision]
        return self._write_day(day, form, (day, precision))
