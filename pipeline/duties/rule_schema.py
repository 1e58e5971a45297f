"""What a rule file may hold. In: its text and schema.toml. Out: a checked `Regime`, or one sentence naming file and key."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files

from pipeline.contract import tables
from pipeline.errors import UserError

KINDS = ("duty", "limit", "ground", "placement", "number", "drop")
SLUG = re.compile(r"[a-z0-9]+([-_][a-z0-9]+)*")
PYTHON_TYPES: dict[str, tuple[type, ...]] = {
    "text": (str,), "slug": (str,), "word": (str,), "measure": (str,), "texts": (list,), "slugs": (list,), "words": (list,),
    "entries": (list,), "integer": (int,), "number": (int, float), "date": (datetime.date,), "boolean": (bool,),
}  # fmt: skip
SAID = {
    "texts": "a list of texts", "slugs": "a list of names of rules", "words": "a list of words", "entries": "a list of tables",
    "integer": "a whole number", "number": "a number", "date": "a date (2026-01-31, without quotes)", "boolean": "true or false",
}  # fmt: skip
# What of a scope fits a rule on a vessel's numbers: keys of the units that it counts, and of the vessel.
UNIT_SCOPE = ("agents", "forms", "space_categories")
VESSEL_SCOPE = ("gross_tonnage_from", "built_from_year", "built_before_year", "vessels")
Refuse = Callable[[str, str], UserError]


@dataclass(frozen=True)
class Regime:
    """One rule file: its head, and every rule as a dict of its keys, `kind` and file name among them."""

    slug: str
    file: str
    head: dict
    rules: tuple[dict, ...]

    @property
    def layer(self) -> str:
        return self.head["layer"]


@cache
def schema() -> dict[str, dict]:
    """The parts of schema.toml."""
    return tomllib.loads(files("pipeline.duties").joinpath("schema.toml").read_text(encoding="utf-8"))


@cache
def keys_of(kind: str) -> dict[str, dict]:
    """Every key that a rule of this kind may have."""
    scope = {key: spec for key, spec in schema()["scope"].items() if kind != "number" or key in UNIT_SCOPE + VESSEL_SCOPE}
    return schema()["common"] | scope | schema()[kind]


def read_regime(file: str, data: bytes) -> Regime:
    """Parse and check one file. Raises UserError bad-rule naming file and key."""
    refuse = partial(_refuse, file)
    try:
        content = tomllib.loads(data.decode("utf-8"))
    except ValueError as error:
        raise refuse("(whole file)", f"is not TOML: {error}") from error
    head = {key: value for key, value in content.items() if key not in KINDS}
    _check_keys(head, schema()["head"], "", refuse)
    _check_head(head, refuse)
    rules = []
    for kind in KINDS:
        entries = content.get(kind, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            raise refuse(kind, f"must be a list of tables, each headed [[{kind}]]")
        for number, entry in enumerate(entries, 1):
            rules.append(_check_rule(kind, entry, f"{kind}[{number}]", refuse))
    _refuse_overlaps(rules, refuse)
    return Regime(file.rsplit("/", 1)[-1].removesuffix(".toml"), file, head, tuple(rules))


def scope_of(rule: dict) -> dict:
    """The keys that say what a rule covers."""
    return {key: rule[key] for key in schema()["scope"] if key in rule}


def _refuse(file: str, key: str, why: str) -> UserError:
    return UserError("bad-rule", file=file, key=key, why=why)


def _check_head(head: dict, refuse: Refuse) -> None:
    if (head["layer"] == "flag") != ("flag" in head):
        raise refuse("flag", "must stand in a flag layer, and in no other")
    if "flag" in head and not re.fullmatch("[A-Z]{2}", head["flag"]):
        raise refuse("flag", f"{head['flag']!r} is not an ISO 3166-1 alpha-2 code")
    if "vessels" in head and head["layer"] != "company":
        raise refuse("vessels", "may stand in a company layer only")


def _check_keys(entry: dict, allowed: dict[str, dict], where: str, refuse: Refuse) -> None:
    for key, value in entry.items():
        if key not in allowed:
            raise refuse(where + key, f"is not known; known are {', '.join(allowed)}")
        _check_value(where + key, value, allowed[key], refuse)
    for key, spec in allowed.items():
        if spec.get("required") and key not in entry:
            raise refuse(where + key, "is missing")


def _check_value(where: str, value: object, spec: dict, refuse: Refuse) -> None:
    kind = spec["type"]
    is_right = isinstance(value, PYTHON_TYPES[kind]) and (kind == "boolean" or not isinstance(value, bool))
    if kind == "date" and isinstance(value, datetime.datetime):
        is_right = False
    if not is_right:
        raise refuse(where, f"{value!r} is not {SAID.get(kind, 'a text')}")
    if kind == "slug" and not SLUG.fullmatch(str(value)):
        raise refuse(where, f"{value!r} is not a name of small letters, digits and hyphens")
    if kind in ("texts", "slugs", "words"):
        if not value or not all(isinstance(item, str) and item.strip() for item in value):
            raise refuse(where, f"{value!r} must hold one text or more")
    allowed = _allowed(spec)
    for item in value if isinstance(value, list) else [value]:
        if allowed and item not in allowed:
            raise refuse(where, f"{item!r} is not known; known are {', '.join(allowed)}")
    if kind in ("integer", "number") and isinstance(value, (int, float)) and not abs(value) < 1e9:
        raise refuse(where, f"{value!r} is no sensible number")


def _allowed(spec: dict) -> tuple[str, ...]:
    if spec["type"] == "measure":
        return tuple(schema()["measures"])
    if "of" in spec:
        table, column = spec["of"].split(".")
        return tables()[table].column(column).words
    return tuple(spec.get("choices", ()))


def _check_rule(kind: str, entry: dict, place: str, refuse: Refuse) -> dict:
    where = f"{entry.get('rule_id', place)}."
    _check_keys(entry, keys_of(kind), where, refuse)
    if "effective_from" in entry and "effective_until" in entry and entry["effective_from"] >= entry["effective_until"]:
        raise refuse(where + "effective_until", "must be later than effective_from")
    CHECKS.get(kind, lambda *_: None)(entry, where, refuse)
    return {"kind": kind, **entry}


def _check_duty(entry: dict, where: str, refuse: Refuse) -> None:
    is_triggered = "triggered_by" in entry
    if entry["interval_months"] < (0 if is_triggered else 1):
        raise refuse(where + "interval_months", "must be 1 or more")
    if is_triggered != (entry["first_basis"] == "none"):
        raise refuse(where + "first_basis", "must be none where triggered_by stands, and only there")
    if is_triggered and entry["counts"] == "group":
        raise refuse(where + "triggered_by", "may not be asked of a group")
    if "window_before_months" in entry and entry.get("anchor") != "due":
        raise refuse(where + "window_before_months", 'needs anchor = "due"')
    for key in ("grace_months", "window_before_months"):
        if entry.get(key, 0) < 0:
            raise refuse(where + key, "must be 0 or more")
    if (entry["counts"] == "group") != (entry["first_basis"] == "earliest_made_on"):
        raise refuse(where + "first_basis", "must be earliest_made_on for a group, and only there")
    for key in ("satisfied_by", "triggered_by"):
        for item in entry.get(key, []):
            _check_entry(item, key, where + key, refuse)
    if not entry["satisfied_by"]:
        raise refuse(where + "satisfied_by", "must name a record")


def _check_entry(item: object, key: str, where: str, refuse: Refuse) -> None:
    allowed = schema()["duty"][key]["keys"]
    records = ("finding",) if key == "triggered_by" else ("inspection", "service")
    if not isinstance(item, dict) or item.get("record") not in records:
        raise refuse(where + ".record", f"must be one of {', '.join(records)}")
    for name, value in item.items():
        if name not in allowed:
            raise refuse(f"{where}.{name}", f"is not known; known are {', '.join(allowed)}")
        if name == "record":
            continue
        if name == "is_examination":
            if value is not True or item["record"] != "service":
                raise refuse(f"{where}.{name}", "may only be true, of a service")
            continue
        if name not in tables()[item["record"]].column_names:
            raise refuse(f"{where}.{name}", f"is no column of {item['record']}")
        words = tables()[item["record"]].column(name).words
        if value not in words:
            raise refuse(f"{where}.{name}", f"{value!r} is not known; known are {', '.join(words)}")


def _check_limit(entry: dict, where: str, refuse: Refuse) -> None:
    if ("limit_value" in entry) == ("limit_from" in entry):
        raise refuse(where + "limit_value", "or limit_from must stand there, and not both")
    unit = schema()["measures"][entry["measure"]]
    if entry["unit"] != unit:
        raise refuse(where + "unit", f"{entry['unit']!r} does not fit: {entry['measure']} is measured in {unit}")


def _check_placement(entry: dict, where: str, refuse: Refuse) -> None:
    if (entry["breach"] == "colour") != ("colour_zone_expected" in entry):
        raise refuse(where + "colour_zone_expected", 'must stand where breach = "colour", and only there')


def _check_number(entry: dict, where: str, refuse: Refuse) -> None:
    wanted = ("least",) if entry["measure"] == "portable_units" else ("first", "share", "by")
    for key in wanted:
        if key not in entry:
            raise refuse(where + key, f"is missing: {entry['measure']} needs it")
    if not 0 <= entry.get("share", 0) <= 1:
        raise refuse(where + "share", "must lie between 0 and 1")


CHECKS: dict[str, Callable[[dict, str, Refuse], None]] = {
    "duty": _check_duty,
    "limit": _check_limit,
    "placement": _check_placement,
    "number": _check_number,
}


def _refuse_overlaps(rules: list[dict], refuse: Refuse) -> None:
    """Two rules of one file that ask the same of the same units must take turns: else nobody can tell which binds."""
    first, last = datetime.date.min, datetime.date.max
    seen: dict[tuple, list[dict]] = {}
    for rule in rules:
        what = {"duty": ("duty", "counts"), "limit": ("measure", "breach", "verdict"), "number": ("measure", "by")}.get(
            rule["kind"]
        )
        if what is None:
            continue
        key = (rule["kind"], *(rule.get(name) for name in what), repr(sorted(scope_of(rule).items())))
        for other in seen.setdefault(key, []):
            if rule.get("effective_from", first) < other.get("effective_until", last) and other.get(
                "effective_from", first
            ) < rule.get("effective_until", last):
                raise refuse(
                    f"{rule['rule_id']}.effective_from", f"overlaps the dates of {other['rule_id']}, which asks the same"
                )
        seen[key].append(rule)
