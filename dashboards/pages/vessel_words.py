"""The opening sentence and the facts of a vessel's page.

In: `VesselData`. Out: markup and `Facts`. Open findings are those of units in service, as on the Fleet page.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from markupsafe import Markup

from dashboards import standing, words
from dashboards.blocks import Context, Fact, Facts, Vessel
from dashboards.pages import bare_records
from dashboards.pages.fleet import say_severities
from dashboards.pages.unit_names import name_safely
from dashboards.pages.vessel_data import VesselData

ROOT = "../"  # a vessel's page lies one folder deep


def write_answer(vessel: Vessel, data: VesselData, context: Context, where: str = "below") -> str:
    """The state of the vessel in a sentence; `where` its register stands."""
    day, now, book = words.say_date(context.as_of), data.standing.now if data.standing else None, context.book
    if now is None or not now.units:
        why = "; the vessel is laid up, so its units are counted apart" if vessel.is_laid_up else ""
        return f"On {day} no unit is in service on {vessel.name}{why}. Its register stands {where}, as far as the records go."
    late = [c for c in data.duties if c.duty != "*" and c.now.overdue]
    say = partial(context.say_count, scope=vessel.imo_number, root=ROOT)
    units = [say_duty(c.now.overdue, c.duty, context, say) for c in late if c.duty in book.any_duties]
    besides = [say_duty(c.now.overdue, c.duty, context, say) for c in late if is_beside(c.duty, context)]
    others = [
        Markup("besides, {} {} overdue").format(
            Markup(words.say_list(besides)),
            words.say_verb(sum(c.now.overdue for c in late if is_beside(c.duty, context)), "is", "are"),
        )
    ]
    groups = (others if besides else []) + [
        f"{book.say_subjects(c.duty, c.now.overdue)} {words.say_verb(c.now.overdue, 'is', 'are')} overdue for {book.name_duty(c.duty)}"
        for c in late
        if book.is_group(c.duty)
    ]
    found = data.found
    unfit = Markup(", {} of them unfit").format(say(found.unfit, "found-unfit")) if found.unfit else ""
    having = (
        Markup("{} {}").format(say(found.found, "found"), "unit" if found.found == 1 else "units") if found.found else "no units"
    )
    findings = Markup("{} in service {} open findings{}").format(having, words.say_verb(found.found, "has", "have"), unfit)
    return Markup("{}{}. {}.{}").format(
        standing.say_standing(now, f" on board {vessel.name}", context, ROOT),
        Markup(f" ({words.say_list(units)})") if units else "",
        Markup("; ").join([words.say_capital(groups[0]), *groups[1:], findings] if groups else [say_first(findings)]),
        bare_records.say_bare_vessel() if data.is_bare else "",
    )


def is_beside(duty: str, context: Context) -> bool:
    """True for a duty of units that does not make one overdue in the count of those overdue for anything."""
    return duty not in context.book.any_duties and not context.book.is_group(duty)


def say_duty(count: int, duty: str, context: Context, say: Callable[..., str]) -> Markup:
    """'6 onboard checks', the number leading to them."""
    noun = words.say_count(count, context.book.name_duty(duty)).partition(" ")[2]
    return Markup("{} {}").format(say(count, f"overdue-{duty}"), noun)


def say_first(findings: Markup) -> Markup:
    """The sentence with a capital, whether a number begins it or a word."""
    return findings if findings.startswith("<") else Markup(words.say_capital(findings))


def list_facts(vessel: Vessel, data: VesselData, context: Context) -> Facts:
    """The numbers to start from."""
    counted = {word: sum(1 for u in data.units if u.counted == word) for word in ("spare", "ashore", "laid up")}
    imo = vessel.imo_number
    apart = [f"{context.say_count(n, f'apart-{name_safely(word)}', imo, ROOT)} {word}" for word, n in counted.items() if n]
    now, book = data.standing.now if data.standing else None, context.book
    late, unknown = ([i for i in data.items if i.state == state] for state in ("overdue", "unknown"))
    ahead = sum(1 for i in data.items if i.state == "in time" and not book.is_round(i.duty))
    facts = [
        Fact(
            "Units in service",
            context.tell_count(now.units if now else 0, "duty-any", imo),
            Markup(f"counted apart: {words.say_list(apart)}") if apart else "",
        ),
        Fact("Overdue items", context.tell_count(len(late), "overdue-items", imo), "a unit late on two duties is two items"),
        Fact("Due within 90 days", context.tell_count(ahead, "due-90", imo), f"services and tests; {book.name_rounds()} apart"),
        Fact(
            "Open findings",
            context.tell_count(data.found.open_findings, "open-findings", imo),
            say_severities(data.found, context, imo, ROOT),
        ),
        say_freshness(data),
    ]
    if unknown:
        facts.insert(
            2, Fact("Due date unknown", context.tell_count(len(unknown), "unknown-items", imo), "items; never taken as in time")
        )
    return Facts(tuple(facts))


def say_freshness(data: VesselData) -> Fact:
    """How old the last record is."""
    if data.fresh is None or data.fresh.last_record_on is None:
        return Fact("Last record", words.NONE, "no inspection, service or finding on record")
    age = words.say_count(data.fresh.days_since, "day") + " ago" if data.fresh.days_since else "today"
    return Fact("Last record", age.replace(" ", words.THIN), f"on {words.say_date(data.fresh.last_record_on)}")
