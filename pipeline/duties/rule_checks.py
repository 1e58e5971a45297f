"""Whether the keys of a rule make sense together. In: a rule whose single keys are right. Out: nothing, or one sentence."""

from __future__ import annotations

import datetime
from collections.abc import Callable

from pipeline.contract import tables
from pipeline.duties.rule_keys import SLUG, Refuse, check_keys, keys_of, schema, show

# From the first, below the second: equal or turned about they leave nothing between them.
PAIRS = (
    ("effective_from", "effective_until"), ("age_from_months", "age_until_months"), ("charge_above", "charge_up_to"),
    ("built_from_year", "built_before_year"), ("made_from", "made_before"),
)  # fmt: skip


def check_rule(kind: str, entry: dict, place: str, refuse: Refuse) -> dict:
    """The rule with its kind; raises what `refuse` makes of a key and why. `place` names a rule that has no name yet."""
    name = entry.get("rule_id")
    where = f"{name if isinstance(name, str) and SLUG.fullmatch(name) else place}."
    check_keys(entry, keys_of(kind), where, refuse)
    for low, high in PAIRS:
        if low in entry and high in entry and entry[low] >= entry[high]:
            word = "later" if isinstance(entry[low], datetime.date) else "more"
            raise refuse(where + high, f"must be {word} than {low}, {entry[low]}")
    CHECKS.get(kind, lambda *_: None)(entry, where, refuse)
    return {"kind": kind, **entry}


def scope_of(rule: dict) -> dict:
    """The keys that say what a rule covers."""
    return {key: rule[key] for key in schema()["scope"] if key in rule}


def refuse_overlaps(rules: list[dict], refuse: Refuse) -> None:
    """Two rules of one file that ask the same of the same units must take turns: else nobody can tell which binds."""
    first, last = datetime.date.min, datetime.date.max
    seen: dict[tuple, list[dict]] = {}
    for rule in rules:
        what = {"duty": ("duty", "counts"), "limit": ("measure", "breach", "verdict"), "number": ("measure", "by")}.get(
            rule["kind"]
        )
        if what is None:
            continue
        key = (rule["kind"], *(rule.get(name) for name in what), *_sort_scope(rule))
        for other in seen.setdefault(key, []):
            begins = max(rule.get("effective_from", first), other.get("effective_from", first))
            if begins < min(rule.get("effective_until", last), other.get("effective_until", last)):
                raise refuse(
                    f"{rule['rule_id']}.effective_from", f"overlaps the dates of {other['rule_id']}, which asks the same"
                )
        seen[key].append(rule)


def _sort_scope(rule: dict) -> list[tuple]:
    """A scope as it reads, in whatever order its words stand; `false` and a missing key are the same."""
    return sorted(
        (key, tuple(sorted({word.casefold() for word in value})) if isinstance(value, list) else value)
        for key, value in scope_of(rule).items()
        if value is not False
    )


def _check_duty(entry: dict, where: str, refuse: Refuse) -> None:
    is_triggered = "triggered_by" in entry
    if entry["interval_months"] < 1 and not is_triggered:
        raise refuse(where + "interval_months", "must be 1 or more")
    if is_triggered != (entry["first_basis"] == "none"):
        raise refuse(where + "first_basis", "must be none where triggered_by stands, and only there")
    if is_triggered and entry["counts"] == "group":
        raise refuse(where + "triggered_by", "may not be asked of a group")
    if "window_before_months" in entry and entry.get("anchor") != "due":
        raise refuse(where + "window_before_months", 'needs anchor = "due"')
    if entry.get("window_before_months", 0) > entry["interval_months"]:
        raise refuse(where + "window_before_months", f"must not be more than interval_months, {entry['interval_months']}")
    if (entry["counts"] == "group") != (entry["first_basis"] == "earliest_made_on"):
        raise refuse(where + "first_basis", "must be earliest_made_on for a group, and only there")
    for key in ("satisfied_by", "triggered_by"):
        for item in entry.get(key, []):
            _check_entry(item, key, where + key, refuse)
        if key in entry and not entry[key]:
            raise refuse(where + key, "must name a record")


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
            raise refuse(f"{where}.{name}", f"{show(value)} is not known; known are {', '.join(words)}")


def _check_limit(entry: dict, where: str, refuse: Refuse) -> None:
    if ("limit_value" in entry) == ("limit_from" in entry):
        raise refuse(where + "limit_value", "or limit_from must stand there, and not both")
    unit = schema()["measures"][entry["measure"]]
    if "limit_from" in entry and (held := tables()["unit"].column(entry["limit_from"]).unit) != unit:
        raise refuse(
            where + "limit_from", f"does not fit: {entry['limit_from']} is held in {held}, {entry['measure']} measured in {unit}"
        )
    if entry["unit"] != unit:
        raise refuse(where + "unit", f"{show(entry['unit'])} does not fit: {entry['measure']} is measured in {unit}")


def _check_fit(entry: dict, kind: str, by: str, where: str, refuse: Refuse) -> None:
    """A key that says nothing of this record or measure would be passed over, and the rule mean more than it reads."""
    for key, spec in schema()[kind].items():
        if key in entry and entry[by] not in spec.get("fits", [entry[by]]):
            raise refuse(where + key, f"says nothing of {entry[by]}; it fits {', '.join(spec['fits'])}")


def _check_ground(entry: dict, where: str, refuse: Refuse) -> None:
    _check_fit(entry, "ground", "record", where, refuse)
    known = tables()[entry["record"]].column("outcome").words if "outcomes" in entry else ()
    for outcome in entry.get("outcomes", ()):
        if outcome not in known:
            raise refuse(where + "outcomes", f"{show(outcome)} is no outcome of {entry['record']}; known are {', '.join(known)}")


def _check_placement(entry: dict, where: str, refuse: Refuse) -> None:
    if (entry["breach"] == "colour") != ("colour_zone_expected" in entry):
        raise refuse(where + "colour_zone_expected", 'must stand where breach = "colour", and only there')


def _check_number(entry: dict, where: str, refuse: Refuse) -> None:
    _check_fit(entry, "number", "measure", where, refuse)
    for key in ("least",) if entry["measure"] == "portable_units" else ("first", "share", "by"):
        if key not in entry:
            raise refuse(where + key, f"is missing: {entry['measure']} needs it")
    if entry.get("cap", entry.get("first", 0)) < entry.get("first", 0):
        raise refuse(where + "cap", f"must not be less than first, {entry['first']}")


CHECKS: dict[str, Callable[[dict, str, Refuse], None]] = {
    "duty": _check_duty,
    "limit": _check_limit,
    "ground": _check_ground,
    "placement": _check_placement,
    "number": _check_number,
}
