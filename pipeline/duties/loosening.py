"""What a rule asks less than the one whose place it takes. In: two rules of one kind. Out: words, or None.

schema.toml says of every key in which direction it asks less, and how that is said. Keys are compared one by one: a rule that is
stricter in one and laxer in another is said to ask less in the other. What can't be compared is said too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from pipeline.duties.rule_keys import UNIT_SCOPE, schema


def say_less(new: dict, old: dict) -> str | None:
    """All that `new` asks less than `old`, as they stand in a rule file; None where it asks for as much or more."""
    new, old = _fill_in(new), _fill_in(old)
    found = [said for key, spec in schema()[new["kind"]].items() for said in _compare(key, spec, new, old)]
    if new["kind"] == "number":
        found += _compare_units(new, old)
    return ", ".join(found) or None


def _fill_in(rule: dict) -> dict:
    """The rule with what its missing keys mean. A date that runs from the day done has no window."""
    meant = {key: spec["missing"] for key, spec in schema()[rule["kind"]].items() if "missing" in spec}
    return meant | ({} if rule.get("anchor") == "due" else {"window_before_months": 0}) | rule


def _compare(key: str, spec: dict, new: dict, old: dict) -> Iterator[str]:
    mine, theirs = new.get(key), old.get(key)
    match spec["less"]:
        case "higher" if mine > theirs:
            yield _say(spec, mine, theirs)
        case "lower" if mine < theirs:
            yield _say(spec, mine, theirs)
        case "weaker" if mine != theirs and _is_weaker(spec["weakest_first"], mine, theirs):
            yield _say(spec, mine, theirs)
        case "fewer" | "more" as which:
            name = key.replace("_", " ")
            only, lacks = (spec.get("said", f"{word} {name} {{items}}") for word in ("only", "leaves out"))
            yield from _compare_lists(spec, which, mine, theirs, only, lacks)
        case "limit":
            yield from _compare_limits(new, old)


def _is_weaker(weakest_first: list, mine: object, theirs: object) -> bool:
    ranks = {word: n for n, words in enumerate(weakest_first) for word in (words if isinstance(words, list) else [words])}
    return mine not in ranks or theirs not in ranks or ranks[mine] < ranks[theirs]


def _compare_lists(spec: dict, which: str, mine: list | None, theirs: list | None, only: str, lacks: str) -> Iterator[str]:
    """fewer: what the old one lists and the new one does not hold; more: the other way about. None lists all there is."""
    wide, narrow = (mine, theirs) if which == "fewer" else (theirs, mine)
    if wide is None:
        return
    if narrow is None:
        yield only.format(items=_write(wide))
    elif lacking := [item for item in narrow if not any(_holds(spec["type"], other, item) for other in wide)]:
        yield lacks.format(items=_write(lacking))


def _holds(kind: str, wide: object, item: object) -> bool:
    """Whether the item is meant by the other too: a text that holds 'bulging' holds 'bulg'; a key that is left out means any.

    A text counts at the beginning of a word, with a star anywhere: 'weld' is not meant by 'rewelded', nor all of '*weld' by 'weld'.
    """
    if kind == "entries":
        return all(item.get(key) == value for key, value in wide.items())
    if kind != "texts":
        return wide == item
    wide, item = (re.sub(r"[^\w*]+", " ", f" {text.casefold()}") for text in (wide, item))
    if wide.startswith(" *"):
        return wide[2:] in item
    return not item.startswith(" *") and wide in item


def _compare_limits(new: dict, old: dict) -> Iterator[str]:
    if (new["measure"], new["breach"]) != (old["measure"], old["breach"]):
        return
    mine, theirs = new.get("limit_value"), old.get("limit_value")
    if mine is None or theirs is None:
        if mine != theirs or new.get("limit_from") != old.get("limit_from"):
            yield f"limit {_say_limit(new)} instead of {_say_limit(old)}"
    elif mine != theirs and (mine > theirs) == (new["breach"] == "above"):
        yield f"limit {mine:g} instead of {theirs:g} {new['unit']}"


def _say_limit(rule: dict) -> str:
    return f"{rule['limit_value']:g} {rule['unit']}" if "limit_value" in rule else f"the register's {_write(rule['limit_from'])}"


def _compare_units(new: dict, old: dict) -> Iterator[str]:
    """A rule on numbers gives way on a whole vessel. Spares are then asked of no unit that the new one leaves out; of portable
    units there must be a number, so that those which it counts besides make the number up."""
    for key in UNIT_SCOPE:
        name, spec = key.replace("_", " "), schema()["scope"][key]
        if new["measure"] == "portable_units":
            yield from _compare_lists(
                spec, "more", new.get(key), old.get(key), f"counts any {name}", f"also counts {name} {{items}}"
            )
        else:
            yield from _compare_lists(
                spec, "fewer", new.get(key), old.get(key), f"only {name} {{items}}", f"leaves out {name} {{items}}"
            )


def _say(spec: dict, mine: object, theirs: object) -> str:
    called = spec.get("called", {})
    new, old = (called[value] if isinstance(value, str) and value in called else _write(value) for value in (mine, theirs))
    said = spec["said"].format(new=new, old=old)
    return re.sub(r"\b1 months\b", "1 month", said)


def _write(value: object) -> str:
    """A value in words: 'hose or shell', 'made on', 0.5."""
    if isinstance(value, list):
        return " or ".join(_write(item) for item in value)
    if isinstance(value, (int, float)):
        return "any number of" if value == math.inf else f"{value:g}"
    return str(value).replace("_", " ")
