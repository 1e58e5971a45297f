"""The rule book in force, as the pages speak of it: names of duties, what they count, which make a unit overdue.

In: rows of duty.rule. Out: `RuleBook`, which no page reads past: a duty's name, order and grouping stand nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from dashboards import words

COMMON_PRACTICE = "C"
ROUND_MONTHS = 3  # a duty that comes round at least this often stands in every list of what falls due: it is told apart
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True)
class Rule:
    """One rule: what is due, how often, and how sure its text is."""

    rule_id: str
    duty: str
    title: str
    counts: str
    interval_months: int
    certainty: str | None
    in_any: bool

    @property
    def interval(self) -> str:
        """'every month', 'every 18 months', 'every 5 years'."""
        if self.interval_months == 0:
            return "at once"
        unit, number = ("year", self.interval_months // 12) if self.interval_months % 12 == 0 else ("month", self.interval_months)
        return f"every {unit}" if number == 1 else f"every {number} {unit}s"

    @property
    def mark(self) -> str:
        """'[C] every month': how sure the text is, and how often it asks."""
        return f"[{self.certainty or '?'}] {self.interval}"

    @property
    def anchor(self) -> str:
        """Where the rule stands on the Method page."""
        return f"rule-{self.rule_id}"


@dataclass(frozen=True)
class RuleBook:
    """All rules in force."""

    rules: tuple[Rule, ...] = ()

    @cached_property
    def by_id(self) -> dict[str, Rule]:
        """Rules by their names."""
        return {rule.rule_id: rule for rule in reversed(self.rules)}

    @cached_property
    def by_duty(self) -> dict[str, Rule]:
        """The first rule of each duty."""
        return {rule.duty: rule for rule in reversed(self.rules)}

    def find_rule(self, rule_id: str | None) -> Rule | None:
        """The rule of this name."""
        return self.by_id.get(rule_id or "")

    def find_duty(self, duty: str) -> Rule | None:
        """The first rule of a duty: the baseline's, where it has one in force."""
        return self.by_duty.get(duty)

    def name_duty(self, duty: str) -> str:
        """A duty in words; '*' is any of those that make a unit overdue."""
        rule = self.find_duty(duty)
        return self.name_any() if duty == "*" else rule.title if rule else words.say_slug(duty)

    def is_group(self, duty: str) -> bool:
        """True where the duty counts sample groups, not units."""
        rule = self.find_duty(duty)
        return bool(rule and rule.counts == "group")

    def is_round(self, duty: str) -> bool:
        """True for a duty that comes round so often that nearly every unit is always about to fall due."""
        rule = self.find_duty(duty)
        return bool(rule and 0 < rule.interval_months <= ROUND_MONTHS)

    @property
    def rounds(self) -> list[str]:
        """The duties that come round so often."""
        return [duty for duty in self.duties if self.is_round(duty)]

    def say_interval(self, duty: str) -> str:
        """'every month'; where the rules of a duty differ, 'every month, or as the vessel's rule says'."""
        said = list(dict.fromkeys(rule.interval for rule in self.rules if rule.duty == duty))
        return "".join(said[:1]) + (", or as the vessel's rule says" if len(said) > 1 else "")

    def name_rounds(self) -> str:
        """'onboard checks': the duties that lists of services and tests leave out."""
        return words.say_list([f"{self.name_duty(duty)}s" for duty in self.rounds])

    def order_duty(self, duty: str) -> tuple:
        """Sort key: any duty, then those of units that enter it, the most frequent first, then the rest by name."""
        rule = self.find_duty(duty)
        if rule is None:
            return (duty != "*", True, True, 0, duty)
        return (True, not rule.in_any, rule.counts == "group", rule.interval_months, duty)

    @property
    def duties(self) -> list[str]:
        """Every duty of the book, in speaking order."""
        return sorted({rule.duty for rule in self.rules}, key=self.order_duty)

    @property
    def any_duties(self) -> list[str]:
        """The duties that make a unit overdue, in order."""
        return sorted({rule.duty for rule in self.rules if rule.in_any}, key=self.order_duty)

    def name_any(self) -> str:
        """'any of the three duties'."""
        number = len(self.any_duties)
        if number < 2:
            return self.list_any() or "any duty"
        return f"any of the {COUNTS[number] if number < len(COUNTS) else number} duties"

    def list_any(self, last: str = " or ") -> str:
        """'onboard check, annual service or pressure test'."""
        names = [self.name_duty(duty) for duty in self.any_duties]
        return last.join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)

    def say_subjects(self, duty: str, count: int) -> str:
        """'3 units', or '3 sample groups' where the duty counts those."""
        return words.say_count(count, "sample group" if self.is_group(duty) else "unit")
