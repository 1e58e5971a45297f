"""The canonical record: what each table and column is. In: the TOML files beside this one. Out: frozen tables."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

# Parents before children: a unit is known only once its vessel is, an inspection once its unit is.
TABLE_ORDER = ("vessel", "unit", "station", "spare", "inspection", "service", "finding")

SQL_TYPES = {
    "text": "VARCHAR",
    "word": "VARCHAR",
    "integer": "BIGINT",
    "decimal": "DOUBLE",
    "date": "DATE",
    "boolean": "BOOLEAN",
}


@dataclass(frozen=True)
class Column:
    """One column; `unit` is the unit it is kept in, `low`/`high` the bounds of the physically possible."""

    name: str
    type: str
    about: str
    required: bool = False
    words: tuple[str, ...] = ()
    unit: str | None = None
    low: float | None = None
    high: float | None = None
    pattern: str | None = None
    is_event: bool = False
    default: str | None = None

    @property
    def sql_type(self) -> str:
        return SQL_TYPES[self.type]


@dataclass(frozen=True)
class Table:
    """One canonical table; `key` identifies a row, `event_on` is its date of record if it has one."""

    name: str
    one_row_is: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    is_needed: bool = False
    event_on: str | None = None

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if the contract has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def column_names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)


def _read_toml(name: str) -> dict:
    return tomllib.loads(files("pipeline.contract").joinpath(name).read_text(encoding="utf-8"))


def _read_column(name: str, spec: dict) -> Column:
    return Column(
        name=name,
        type=spec["type"],
        about=spec["about"],
        required=spec.get("required", False),
        words=tuple(spec.get("words", ())),
        unit=spec.get("unit"),
        low=spec.get("min"),
        high=spec.get("max"),
        pattern=spec.get("pattern"),
        is_event=spec.get("event", False),
        default=spec.get("default"),
    )


@cache
def tables() -> dict[str, Table]:
    """All canonical tables by name, parents first."""
    found = {}
    for name in TABLE_ORDER:
        spec = _read_toml(f"{name}.toml")
        found[name] = Table(
            name=spec["table"],
            one_row_is=spec["one_row_is"],
            key=tuple(spec["key"]),
            columns=tuple(_read_column(column, entry) for column, entry in spec["columns"].items()),
            is_needed=spec.get("needed", False),
            event_on=spec.get("event_on"),
        )
    return found


@cache
def conversions(unit: str) -> dict[str, tuple[float, float]]:
    """Source units that convert into `unit`: name -> (factor, what to take off first)."""
    found = {}
    for name, entry in _read_toml("units.toml")[unit].items():
        is_scale = not isinstance(entry, dict)
        found[name] = (float(entry), 0.0) if is_scale else (entry["factor"], entry["minus_first"])
    return found


@cache
def macros_sql() -> str:
    """SQL macros for what the contract says about single values."""
    return files("pipeline.contract").joinpath("macros.sql").read_text(encoding="utf-8")
