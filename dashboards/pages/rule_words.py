"""What a rule covers and asks, in words, for the tables of the Method page.

In: rows of duty.provision joined with duty.limit, ground, placement and number. Out: text.
"""

from __future__ import annotations

from typing import Any

from dashboards import words

# How each scope key of the rule book reads; `{}` takes its words, number or date.
SCOPE = {
    "agents": "{}",
    "forms": "{}",
    "expelled_by": "expelled by {}",
    "foam_kinds": "foam made by {}",
    "linings": "lined with {}",
    "space_categories": "in {}",
    "space_names": "in a space named {}",
    "agent_details": "agent described as {}",
    "without_details": "agent not described as {}",
    "shell_materials": "shell of {}",
    "charge_above": "charge above {}",
    "charge_up_to": "charge up to {}",
    "cartridge_ml_up_to": "cartridge up to {} ml",
    "made_from": "made from {} on",
    "made_before": "made before {}",
    "age_from_months": "from {} months of age",
    "age_until_months": "up to {} months of age",
    "air_temp_below_c": "where the air falls below {} °C",
    "gross_tonnage_from": "ships from {} GT",
    "built_from_year": "ships built from {}",
    "built_before_year": "ships built before {}",
    "vessels": "IMO {}",
}
FOAM = {"mechanical": "air and agitation", "chemical": "reaction"}
UNITS = {"pct": "%"}
FROM_REGISTER = {
    "wall_min_mm": "the least wall of the register",
    "wall_mm": "the wall of the register",
    "test_pressure_bar": "the test pressure of the register",
    "full_mass_kg": "the full mass of the register",
}
RECORDS = {"unit": "whatever it covers", "finding": "an open finding", "service": "a service", "inspection": "an inspection"}


def say_value(key: str, value: Any) -> str:
    """A scope value: words as 'foam or powder', numbers and dates as everywhere."""
    if isinstance(value, list):
        said = [FOAM.get(v, v) if key == "foam_kinds" else words.say_slug(v) for v in value]
        return " or ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)
    if isinstance(value, bool):
        return "yes"
    if key in ("made_from", "made_before"):
        return words.say_date(value)
    return str(value) if key.endswith("_year") else say_plain(value)


def say_plain(value: float) -> str:
    """A number without zeros that say nothing, to the third decimal, as readings are held against it."""
    return words.say_number(value, next(places for places in range(4) if round(value, places) == round(value, 3)))


def say_scope(rule: Any) -> str:
    """'CO2; in accommodation'; without a scope every unit, of a rule about numbers every vessel."""
    parts = [form.format(say_value(key, getattr(rule, key))) for key, form in SCOPE.items() if getattr(rule, key) is not None]
    if rule.tested_before:
        parts.append("once pressure tested")
    return "; ".join(parts) or ("every vessel" if rule.kind == "number" else "every unit")


def say_limit(rule: Any) -> str:
    """'charge lost: above 10 %', 'wall measured: below the least wall of the register'."""
    measure = words.say_slug("_".join(part for part in rule.measure.split("_") if part != rule.unit))
    if rule.limit_value is None:
        return f"{measure}: {rule.breach} {FROM_REGISTER.get(rule.limit_from, words.say_slug(rule.limit_from))}"
    unit = UNITS.get(rule.unit, rule.unit)
    return f"{measure}: {rule.breach} {say_plain(rule.limit_value)}{words.THIN}{unit}"


def say_ground(rule: Any) -> str:
    """'an open finding: shell; damaged; saying weld or solder'."""
    parts = [
        say_value(key, getattr(rule, key))
        for key in ("components", "defects", "severities", "kinds", "outcomes")
        if getattr(rule, key)
    ]
    parts += [f"saying {say_value('words', rule.words)}"] if rule.words else []
    record = RECORDS.get(rule.record, rule.record)
    return f"{record}: {'; '.join(parts)}" if parts else record


def say_placement(rule: Any) -> str:
    """'unsuitable', 'colour zone other than red'."""
    return f"colour zone other than {rule.colour_zone_expected}" if rule.colour_zone_expected else rule.placement


def say_numbers(rule: Any) -> str:
    """'portable units: at least 5', 'spare charges: the first 10, 50 % of the others, at most 60'."""
    parts = [
        f"at least {rule.least}" if rule.least is not None else "",
        f"one for each of the first {rule.first}" if rule.first is not None else "",
        f"for {words.say_percent(100 * rule.share, 0)} of the others" if rule.share is not None else "",
        f"at most {rule.cap}" if rule.cap is not None else "",
    ]
    return f"{words.say_slug(rule.measure)}: {', '.join(part for part in parts if part)}"
