"""Kinds of values in a dialect, and the fault that names a key. In: a parsed TOML table. Out: nothing, or a `Fault`."""

from __future__ import annotations

MOST_LINES = 1_000_000
TEXT, TEXTS, NUMBER, TABLE, FLAG = "text", "a list of texts", "a whole number up to a million", "a table", "true or false"
IS_KIND = {
    TEXT: lambda value: isinstance(value, str),
    TEXTS: lambda value: isinstance(value, list) and all(isinstance(item, str) for item in value),
    NUMBER: lambda value: isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= MOST_LINES,
    TABLE: lambda value: isinstance(value, dict),
    FLAG: lambda value: isinstance(value, bool),
    "a list of tables": lambda value: isinstance(value, list) and all(isinstance(item, dict) for item in value),
}


class Fault(Exception):
    """A fault in a dialect, before the file name is known."""

    def __init__(self, key: str, why: str) -> None:
        super().__init__(why)
        self.key, self.why = key, why


def check_kinds(spec: dict, kinds: dict[str, str], where: str, needed: tuple[str, ...] = ()) -> None:
    """Every key known and of its kind, the needed ones there and not empty."""
    for key, value in spec.items():
        if key not in kinds:
            raise Fault(f"{where}{key}", f"is not known; known are {', '.join(kinds)}")
        if not IS_KIND[kinds[key]](value):
            raise Fault(f"{where}{key}", f"must be {kinds[key]}, not {value!r}")
    for key in needed:
        if not spec.get(key):
            raise Fault(f"{where}{key}", "is missing or empty")
