"""What a single key of a rule file may hold. In: a table of the file and its part of schema.toml. Out: nothing, or one sentence."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files

from pipeline.contract import tables
from pipeline.contract.imo_number import is_imo_number
from pipeline.errors import UserError

SLUG = re.compile(r"[a-z0-9]+([-_][a-z0-9]+)*")
PYTHON_TYPES: dict[str, tuple[type, ...]] = {
    "text": (str,), "slug": (str,), "word": (str,), "measure": (str,), "texts": (list,), "slugs": (list,), "words": (list,),
    "imo_numbers": (list,), "entries": (list,), "integer": (int,), "number": (int, float), "date": (datetime.date,), "boolean": (bool,),
}  # fmt: skip
SAID = {
    "texts": "a list of texts", "slugs": "a list of names of rules", "words": "a list of words", "entries": "a list of tables",
    "imo_numbers": "a list of IMO numbers in quotes", "integer": "a whole number", "number": "a number",
    "date": "a date (2026-01-31, without quotes)", "boolean": "true or false",
}  # fmt: skip
LISTS = ("texts", "slugs", "words", "imo_numbers")
# What of a scope fits a rule on a vessel's numbers: keys of the units that it counts, and of the vessel.
UNIT_SCOPE = ("agents", "forms", "space_categories")
VESSEL_SCOPE = ("gross_tonnage_from", "built_from_year", "built_before_year", "vessels")
# Of a text: characters that would forge lines or colours where it is printed. A text of several lines may hold line ends and tabs.
CONTROL = re.compile("[\x00-\x1f\x7f-\x9f]")
Refuse = Callable[[str, str], UserError]


@cache
def schema() -> dict[str, dict]:
    """The parts of schema.toml."""
    return tomllib.loads(files("pipeline.duties").joinpath("schema.toml").read_text(encoding="utf-8"))


@cache
def keys_of(kind: str) -> dict[str, dict]:
    """Every key that a rule of this kind may have."""
    scope = {key: spec for key, spec in schema()["scope"].items() if kind != "number" or key in UNIT_SCOPE + VESSEL_SCOPE}
    return schema()["common"] | scope | schema()[kind]


def check_keys(entry: dict, allowed: dict[str, dict], where: str, refuse: Refuse) -> None:
    """Every key of a table is known and holds what it may, none that is required is missing; else raises what `refuse` makes."""
    for key, value in entry.items():
        if key not in allowed:
            raise refuse(where + key, f"is not known; known are {', '.join(allowed)}")
        _check_value(where + key, value, allowed[key], refuse)
    for key, spec in allowed.items():
        if spec.get("required") and key not in entry:
            raise refuse(where + key, "is missing")


def show(value: object) -> str:
    """A value as it may stand in a sentence. Python writes no whole number of more than 4,300 digits, which TOML can hold."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):
        return "what stands there"
    return text if len(text) <= 100 else f"{text[:100]}…"


def _check_value(where: str, value: object, spec: dict, refuse: Refuse) -> None:
    kind = spec["type"]
    is_right = isinstance(value, PYTHON_TYPES[kind]) and (kind == "boolean" or not isinstance(value, bool))
    if not is_right or (kind == "date" and isinstance(value, datetime.datetime)):
        raise refuse(where, f"{show(value)} is not {SAID.get(kind, 'a text')}")
    if kind == "slug" and not SLUG.fullmatch(value):
        raise refuse(where, f"{show(value)} is not a name of small letters, digits and hyphens")
    if kind in LISTS and not (value and all(isinstance(item, str) for item in value)):
        raise refuse(where, f"{show(value)} must hold one text or more")
    if kind in ("integer", "number") and not spec["min"] <= value <= spec["max"]:
        raise refuse(where, f"{show(value)} is out of bounds: from {spec['min']:g} to {spec['max']:,}")
    for item in value if kind in LISTS else [value]:
        _check_item(where, item, spec, refuse)


def _check_item(where: str, item: object, spec: dict, refuse: Refuse) -> None:
    allowed = _allowed(spec)
    if allowed and item not in allowed:
        raise refuse(where, f"{show(item)} is not known; known are {', '.join(allowed)}")
    text = re.sub("[\n\t]", " ", item) if spec.get("lines") else item
    if isinstance(text, str) and (not text.strip() or CONTROL.search(text)):
        raise refuse(where, f"{show(item)} is empty or holds a control character")
    if spec["type"] == "texts" and not any(sign.isalnum() for sign in item):
        raise refuse(where, f"{show(item)} holds no letter and no digit, and would be found nowhere")
    if spec["type"] == "imo_numbers" and not is_imo_number(item):
        raise refuse(where, f"{show(item)} is not an IMO number: seven digits, the last of which checks the others")


def _allowed(spec: dict) -> tuple[str, ...]:
    if spec["type"] == "measure":
        return tuple(schema()["measures"])
    if "of" in spec:
        table, column = spec["of"].split(".")
        return tables()[table].column(column).words
    return tuple(spec.get("choices", ()))
