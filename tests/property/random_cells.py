"""Canonical values and the cells that say them in some source's words.

In: a chooser and how a source writes. Out: texts that stress a reader (quotes, delimiters, line ends, formulas, leading zeros,
letters of many scripts), numbers with marks and units, dates in given forms. A number's value is exact, as a Fraction: factors
are worked out here from their definitions, not taken from the contract.
"""

import unicodedata
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction

from tests.property.choosers import Chooser

# Definitions: pound 0.45359237 kg and inch 0.0254 m (1959 agreement), standard gravity 9.80665 m/s2, US gallon 231 cubic inches
# (NIST Special Publication 811, appendix B; values from memory, exact by definition).
POUND, INCH = Fraction(45359237, 100000000), Fraction(254, 10000)
PSI_IN_BAR = POUND * Fraction(980665, 100000) / INCH**2 / 100000
SCALES = {
    "l": {"ml": Fraction(1, 1000), "us_gal": 231 * INCH**3 * 1000, "l": Fraction(1)},
    "ml": {"l": Fraction(1000), "ml": Fraction(1)},
    "kg": {"g": Fraction(1, 1000), "lb": POUND, "oz": POUND / 16, "kg": Fraction(1)},
    "bar": {"psi": PSI_IN_BAR, "mpa": Fraction(10), "kpa": Fraction(1, 100), "bar": Fraction(1)},
    "mm": {"cm": Fraction(10), "in": INCH * 1000, "mm": Fraction(1)},
    "m": {"ft": 12 * INCH, "m": Fraction(1)},
    "s": {"min": Fraction(60), "s": Fraction(1)},
    "pct": {"fraction": Fraction(100), "pct": Fraction(1)},
    "C": {"F": Fraction(5, 9), "C": Fraction(1)},
}
OFFSETS = {"F": 32}

# What a cell may begin or end with and lose: README of the contract says text is trimmed.
BLANKS = " \t\r\n\v\f\u00a0\ufeff"
SCRIPTS = (
    "abcdefghijklmnopqrstuvwxyzABCXYZ0123456789", "0123456789", "\"',;|\t:=+-@/\\#%&()<>{}[]~^`$?!*_. ",
    "äöüÄÖßéèêñçøåæœłžšđğşİı€£¥§°±µ“”‘’„–—…²½", "αβγδςσωΣΩάή", "йцукенгЖЯёЁіїў", "日本語消火器カタカナｶﾅ々ー、。",
    "灭火器检查滅火器檢查", "소화기검사", "مطفأةحريق", "מטףאש", "เครื่องดับเพลิง", "\u0301\u0308\u0323\u0302", "ÅΩﬁ①㎏", "🧯🚢",
    "\u2003\u2009\u2028\u0085\u00a0\u202f\u200b\u200d\u200f\u001c\u000b\u000c",
)  # fmt: skip
NASTY = (
    "=1+1", '=HYPERLINK("x";"y")', "+49 40 123", "-5", "@SUM(A1)", "007", "0", "1e5", "NaN", "inf", "true", "1,000", "''", '"', '""',
    "'=x", "NULL", "\\N", "\\", "\\n", "a\\", "epoch", "2024-02-30", "<b>&amp;</b>", "${x}", "$p0", "{0}", "%s", "--x", "# no", "A  B",
)  # fmt: skip


@dataclass
class Texts:
    """Texts that an encoding can hold. `taken` are words (lower case) that mean something else in this source."""

    chooser: Chooser
    encoding: str
    taken: set[str] = field(default_factory=set)
    may_break: bool = True

    def __post_init__(self) -> None:
        kept = ("".join(c for c in script if self.can_write(c)) for script in SCRIPTS)
        self.scripts = [script for script in kept if script]

    def can_write(self, text: str) -> bool:
        try:
            return f"a{text}a".encode(self.encoding).decode(self.encoding) == f"a{text}a"
        except UnicodeError:
            return False

    def draw_cell(self, longest: int = 10) -> str:
        """A cell that says something, without blanks at its ends, in whatever form of Unicode."""
        while True:
            text = self._draw(longest).strip(BLANKS)
            if self.is_free(text) and self.can_write(text):
                return text

    def is_free(self, text: str) -> bool:
        plain = unicodedata.normalize("NFC", text).strip(BLANKS)
        return bool(plain.strip()) and fold(plain) not in self.taken

    def _draw(self, longest: int) -> str:
        kind = self.chooser.pick_number(0, 9)
        if kind == 9:
            return self.chooser.pick_one(NASTY)
        script = self.chooser.pick_one(self.scripts)
        letters = [self.chooser.pick_one(script) for _ in range(self.chooser.pick_number(1, longest))]
        if kind >= 7:
            letters.insert(len(letters) // 2, self.chooser.pick_one(self.chooser.pick_one(self.scripts)))
        if kind == 6 and self.may_break:
            letters.insert(len(letters) // 2, self.chooser.pick_one(["\n", "\r\n", "\r", "\n\n", "\n\t", "\n,"]))
        return "".join(letters)

    def draw_word(self) -> str:
        """A word of a source's own vocabulary or a header: one line, and the same in lower case whoever lowers it."""
        kept, self.may_break = self.may_break, False
        word = self.draw_cell(8)
        while word != word.strip() or "\r" in word or "\n" in word:
            word = self.draw_cell(8)
        self.may_break = kept
        return word

    def vary_case(self, word: str) -> str:
        """The word in another case that means the same."""
        varied = self.chooser.pick_one([word, word.upper(), word.lower(), word.title()]) if "İ" not in word else word
        return varied if fold(varied) == fold(word) and self.can_write(varied) else word

    def pad(self, cell: str) -> str:
        """Blanks around the cell, which say nothing."""
        blanks = [blank for blank in (" ", "  ", "\t", "\u00a0") if self.can_write(blank)]
        return cell if self.chooser.has_chance(85) else self.chooser.pick_one(blanks) + cell + self.chooser.pick_one(["", " "])


def fold(text: str) -> str:
    """A word as it is compared: case does not count, nor whether a sigma ends the word."""
    return unicodedata.normalize("NFC", text).strip().lower().replace("ς", "σ")


def compose(text: str) -> str:
    return unicodedata.normalize("NFC", text)


def draw_number(chooser: Chooser, low: float, high: float, unit: str | None, kept_in: str | None) -> tuple[Fraction, Fraction]:
    """(number as the source writes it, value in the contract's unit), within the contract's bounds."""
    scale = SCALES[kept_in][unit] if unit else Fraction(1)
    offset = OFFSETS.get(unit, 0)
    least, most = Fraction(str(low)) / scale + offset, Fraction(str(high)) / scale + offset
    digits = Fraction(10 ** chooser.pick_number(0, 3))
    first, last = -((-least * digits) // 1), (most * digits) // 1
    if last < first:
        digits = Fraction(100000)
        first, last = -((-least * digits) // 1), (most * digits) // 1
    edge = chooser.pick_number(0, 9)
    number = {8: first, 9: last}.get(edge, first + chooser.pick_number(0, int(last - first))) / digits
    return number, (number - offset) * scale


def write_number(chooser: Chooser, number: Fraction, decimal_mark: str, thousands_mark: str) -> str:
    """A number with a finite decimal form in digits and the source's marks."""
    places = 0
    while (number * 10**places).denominator != 1:
        places += 1
    places += chooser.pick_one([0, 0, 0, 1, 2])
    scaled = abs(number) * 10**places
    whole, part = divmod(int(scaled), 10**places)
    digits = str(whole)
    if thousands_mark and whole >= 1000 and chooser.has_chance(70):
        digits = f"{whole:,}".replace(",", thousands_mark)
    elif chooser.has_chance(10):
        digits = f"00{digits}"
    sign = "-" if number < 0 else "+" if chooser.has_chance(8) else ""
    return sign + digits + (f"{decimal_mark}{part:0{places}d}" if places else "")


MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def write_date(day: date, form: str) -> str:
    """The day in a strptime form, with no help from strftime."""
    parts = {
        "%Y": f"{day.year:04d}", "%y": f"{day.year % 100:02d}", "%m": f"{day.month:02d}", "%d": f"{day.day:02d}",
        "%b": MONTHS[day.month - 1][:3], "%B": MONTHS[day.month - 1], "%A": DAYS[day.weekday()], "%a": DAYS[day.weekday()][:3],
        "%j": f"{(day - date(day.year, 1, 1)).days + 1:03d}", "%H": "23", "%M": "05", "%S": "59", "%I": "11", "%p": "PM", "%%": "%",
        "%-d": str(day.day), "%-m": str(day.month),
    }  # fmt: skip
    for mark, text in parts.items():
        form = form.replace(mark, text)
    return form


def pick_day(chooser: Chooser, first: date, last: date) -> date:
    day = first + timedelta(days=chooser.pick_number(0, (last - first).days))
    return chooser.pick_one([day, day, day, day.replace(day=1), date(2024, 2, 29)]) if day.year > 2015 else day
