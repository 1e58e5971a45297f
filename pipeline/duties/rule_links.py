"""Whether rule files fit together: names, what takes whose place, standards adopted. In: regimes. Out: nothing, or one sentence."""

from __future__ import annotations

import difflib
import graphlib
from collections.abc import Iterator

from pipeline.duties.rule_checks import scope_of
from pipeline.duties.rule_keys import VESSEL_SCOPE
from pipeline.duties.rule_schema import Regime
from pipeline.errors import UserError

# How alike two names of duties must be for one to be taken for a slip: a letter or two in a dozen, and no new word.
ALIKE = 0.85


def check_links(shipped: tuple[Regime, ...], own: tuple[Regime, ...]) -> None:
    """Raises UserError bad-rule: a rule named twice, a name that nobody knows or nearly one, a rule that can't take another's place, a loop."""
    regimes = shipped + own
    rules = _find_rules(regimes)
    standards = _find_standards(regimes)
    for regime in regimes:
        for name in regime.head.get("adopts", []):
            if name not in standards:
                raise _refuse(regime, "adopts", f"{name!r} is no standard; known are {', '.join(sorted(standards))}")
        for rule in regime.rules:
            for key, name in _links(rule):
                if name not in rules:
                    raise _refuse(regime, f"{rule['rule_id']}.{key}", f"{name!r} is no rule of the rule book")
    _check_loops(regimes)
    known = sorted({rule["duty"] for regime in shipped for rule in regime.rules if rule["kind"] == "duty"})
    for regime in regimes:
        for rule in regime.rules:
            _check_places(regime, rule, rules)
            if regime in own and rule["kind"] == "duty":
                _check_duty_name(regime, rule, known)


def _refuse(regime: Regime, key: str, why: str) -> UserError:
    return UserError("bad-rule", file=regime.file, key=key, why=why)


def _links(rule: dict) -> Iterator[tuple[str, str]]:
    return ((key, name) for key in ("replaces", "drops") for name in rule.get(key, []))


def _find_rules(regimes: tuple[Regime, ...]) -> dict[str, dict]:
    where: dict[str, str] = {}
    for regime in regimes:
        for rule in regime.rules:
            if rule["rule_id"] in where:
                raise _refuse(regime, f"{rule['rule_id']}.rule_id", f"stands in {where[rule['rule_id']]} already")
            where[rule["rule_id"]] = regime.file
    return {rule["rule_id"]: rule for regime in regimes for rule in regime.rules}


def _find_standards(regimes: tuple[Regime, ...]) -> dict[str, Regime]:
    found: dict[str, Regime] = {}
    for regime in regimes:
        if regime.layer == "standard" and found.setdefault(regime.stem, regime) is not regime:
            raise _refuse(
                regime, "(file name)", f"is that of {found[regime.stem].file}, and a standard is adopted by its file's name"
            )
    return found


def _check_places(regime: Regime, rule: dict, rules: dict[str, dict]) -> None:
    for key, name in _links(rule):
        kind, where = rules[name]["kind"], f"{rule['rule_id']}.{key}"
        if kind == "drop":
            raise _refuse(
                regime, where, f"{name!r} is a [[drop]], whose place no rule can take: write the rule that you want in force"
            )
        if key == "replaces" and kind != rule["kind"]:
            raise _refuse(regime, where, f"{name!r} is a [[{kind}]], whose place a [[{rule['kind']}]] can't take")
        # A number is asked of a whole vessel: taken away for some of its units, it would be gone for all.
        if key == "drops" and kind == "number" and (odd := [name for name in scope_of(rule) if name not in VESSEL_SCOPE]):
            raise _refuse(
                regime, f"{rule['rule_id']}.{odd[0]}", f"can't bound the loss of {name!r}, which is asked of a vessel as a whole"
            )


def _check_duty_name(regime: Regime, rule: dict, known: list[str]) -> None:
    name = rule["duty"]
    if name in known:
        return
    if near := difflib.get_close_matches(name.replace("-", "_"), known, 1, ALIKE):
        why = f"{name!r} is not known, and too like {near[0]!r}: write that, or for a duty of your own another name"
        raise _refuse(regime, f"{rule['rule_id']}.duty", why)


def _check_loops(regimes: tuple[Regime, ...]) -> None:
    """Rules that replace each other in a circle, or standards that adopt each other, leave nothing in force."""
    places = {
        rule["rule_id"]: (regime, f"{rule['rule_id']}.{key}", [name for _, name in _links(rule)])
        for regime in regimes
        for rule in regime.rules
        for key, _ in _links(rule)
    }
    adopts = {
        regime.stem: (regime, "adopts", regime.head["adopts"])
        for regime in regimes
        if regime.layer == "standard" and "adopts" in regime.head
    }
    for links in (places, adopts):
        try:
            graphlib.TopologicalSorter({name: others for name, (_, _, others) in links.items()}).prepare()
        except graphlib.CycleError as error:
            loop = error.args[1][:0:-1]  # each leads to the next; the first stands again at the end, and is left out
            at = loop.index(min(loop, key=list(links).index))
            regime, key, _ = links[loop[at]]
            raise _refuse(regime, key, f"leads in a loop: {' -> '.join([*loop[at:], *loop[: at + 1]])}") from error
