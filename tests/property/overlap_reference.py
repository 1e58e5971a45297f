"""What files that overlap come to, told in the plainest way: loops over files in order of receipt.

In: the files of one folder. Out: the fate of each row, which later file answers each quarantined record, which standing
rows are doubted. Written from the words of the README ("Rows that could not be loaded"), not from the SQL.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

NO_DAY = "2026-02-30"
WORDS = {"inspection": ("satisfactory", "unsatisfactory"), "unit": ("powder", "foam")}


@dataclass(frozen=True)
class Line:
    """One record: a row of `table`, or (`table` None) a record that is no row. `answers` is (file, record) of a sheet's row."""

    record_no: int
    table: str | None
    unit: str = ""
    imo: str = ""
    day: str = ""
    word: str = ""
    note: str = ""
    gone: str = ""
    text: str = ""
    answers: tuple[str, int] | None = None

    @property
    def key(self) -> tuple | None:
        """The key where it can be read whole."""
        if not self.unit or self.day == NO_DAY:
            return None
        if self.table == "inspection":
            return (self.table, self.unit, self.day) if self.day else None
        return (self.table, self.unit, self.imo, self.day) if self.imo else None

    @property
    def content(self) -> tuple:
        return (self.table, self.unit, self.imo, self.day, self.word, self.note, self.gone)


@dataclass(frozen=True)
class File:
    """One received file. `dumps`: table -> vessel or fleet, where the file is a full list; a sheet never is."""

    file_id: str
    path: str
    dialect: str
    lines: tuple[Line, ...]
    dumps: tuple[tuple[str, str], ...] = ()
    is_sheet: bool = False


@dataclass
class Told:
    """What is to be found: ids are (file_id, record_no)."""

    fates: dict[tuple, str] = field(default_factory=dict)
    answered_by: dict[tuple, str | None] = field(default_factory=dict)
    left_out: set[tuple] = field(default_factory=set)
    vanished: set[tuple] = field(default_factory=set)


@dataclass
class History:
    """Files in the order in which they count, the vessels and the units there are."""

    files: list[File]
    vessels: tuple[str, ...]
    units: tuple[str, ...]

    @cached_property
    def told(self) -> Told:
        told = Told()
        self.standing: dict[tuple, tuple[int, Line]] = {}
        for number, file in enumerate(self.files):
            for line in file.lines:
                told.fates[file.file_id, line.record_no] = self._place(number, file, line, told)
        for number, file in enumerate(self.files):
            for line in file.lines:
                if told.fates[file.file_id, line.record_no] == "failed":
                    later = [g for g in range(number + 1, len(self.files)) if self._answers(number, line, g)]
                    told.answered_by[file.file_id, line.record_no] = self.files[later[0]].file_id if later else None
        for key, (number, line) in self.standing.items():
            mark = (self.files[number].file_id, line.record_no)
            if self._is_left_out(key, number):
                told.left_out.add(mark)
            if self._is_vanished(key) and not line.gone:
                told.vanished.add(mark)
        return told

    @cached_property
    def known_units(self) -> set[str]:
        """A unit is known once any file's good row of a register has it, whichever file came first."""
        rows = [(file, line) for file in self.files for line in file.lines if line.table == "unit"]
        return {*self.units, *(line.unit for file, line in rows if not self._is_bad(file, line))}

    def _place(self, number: int, file: File, line: Line, told: Told) -> str:
        """The row's fate when it comes; it turns a standing one of its key into a replaced one."""
        if self._is_bad(file, line):
            return "failed"
        before = self.standing.get(line.key)
        if before and before[1].content == line.content:
            return "duplicate"
        if before:
            told.fates[self.files[before[0]].file_id, before[1].record_no] = "replaced"
        self.standing[line.key] = (number, line)
        return "standing"

    def _is_bad(self, file: File, line: Line) -> bool:
        if line.table is None or line.key is None or line.imo not in self.vessels or line.word not in WORDS[line.table]:
            return True
        if line.table == "inspection" and line.unit not in self.known_units:
            return True
        return any(other.key == line.key and other.content != line.content for other in file.lines if other.table)

    def good_keys(self, number: int) -> set[tuple]:
        file = self.files[number]
        return {line.key for line in file.lines if not self._is_bad(file, line)}

    def keys(self, number: int) -> set[tuple]:
        return {line.key for line in self.files[number].lines if line.table and line.key}

    def restates(self, number: int, later: int) -> bool:
        """A later version of the same path in which at least half of the good keys recur, or of all keys where none is good.

        A file without any key that can be read is restated too; a mended sheet never is.
        """
        file = self.files[number]
        if later <= number or self.files[later].path != file.path or any(line.answers for line in file.lines):
            return False
        asked = self.good_keys(number) or self.keys(number)
        return 2 * len(asked & self.keys(later)) >= len(asked)

    def _answers(self, number: int, line: Line, later: int) -> bool:
        file, by = self.files[number], self.files[later]
        if any(answer.answers == (file.file_id, line.record_no) for answer in by.lines) or self.restates(number, later):
            return True
        if line.answers and any(other.answers == line.answers for other in by.lines):
            return True
        if line.table is None:
            again = by.dialect == file.dialect and any(o.table is None and o.text == line.text for o in by.lines)
        elif line.key is None:
            again = by.dialect == file.dialect and any(other.table and other.content == line.content for other in by.lines)
        else:
            again = line.key in (self.keys(later) if by.dialect == file.dialect else self.good_keys(later))
        return again or self._lists_anew(number, line, later)

    def vessels_listed(self, number: int, table: str) -> set[str]:
        file = self.files[number]
        return {line.imo for line in file.lines if line.table == table and not self._is_bad(file, line)}

    def _lists_anew(self, number: int, line: Line, later: int) -> bool:
        """Whether by then a full list of the row's vessel has come; of a row without one: of every vessel of its file."""
        file, by = self.files[number], self.files[later]
        table = line.table or ("unit" if file.dialect == "list" else "inspection")
        dump = dict(by.dumps).get(table)
        if by.dialect != file.dialect or dump is None:
            return False
        if dump == "fleet":
            return True
        wanted = {line.imo} if line.imo in self.vessels else self.vessels_listed(number, table)
        since = [
            g
            for g in range(number + 1, later + 1)
            if dict(self.files[g].dumps).get(table) and self.files[g].dialect == by.dialect
        ]
        listed = set().union(*(self.vessels_listed(g, table) for g in since))
        return bool(wanted) and wanted <= listed

    def _is_left_out(self, key: tuple, number: int) -> bool:
        """Whether the row's file, in the last version that gives it, is restated by one without it, and nothing gave it since."""
        given = [g for g in range(len(self.files)) if key in self.keys(g)]
        own = [g for g in given if self.files[g].path == self.files[number].path]
        if key[0] in dict(self.files[own[-1]].dumps):
            return False
        later = [g for g in range(own[-1] + 1, len(self.files)) if self.restates(own[-1], g)]
        return bool(later) and given[-1] < later[0]

    def _is_vanished(self, key: tuple) -> bool:
        """Whether a source gave the row, and later a full list without it that should have it."""
        for dialect in {file.dialect for file in self.files}:
            given = [g for g, file in enumerate(self.files) if file.dialect == dialect and key in self.keys(g)]
            for g in range(given[-1] + 1 if given else len(self.files), len(self.files)):
                dump = dict(self.files[g].dumps).get(key[0]) if self.files[g].dialect == dialect else None
                if dump == "fleet" or (dump == "vessel" and key[2] in self.vessels_listed(g, key[0])):
                    return True
        return False
