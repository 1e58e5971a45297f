"""What makes a table: which ones the headers, the title and the cells tell. In: scores and profiles. Out: an `Assignment`.

A feed too many costs as much as one too few, so a second table must be told by something that the first does not have.
"""

from __future__ import annotations

from pipeline import contract
from pipeline.learn.assign import Assignment, Match, add_twins, assign_columns, note_rivals
from pipeline.learn.profile import Profile
from pipeline.learn.score import LEAST, SURE, Fit, Slot
from pipeline.learn.vocabulary import EVENT_DATES, lengthen, match_word, plain, read_data

LEAST_GAIN = 0.45
TITLE_WORTH = 0.8
NAMED = 0.85
OWN_DAY = 0.91  # a header that says what was done on that day; one that only says 'date' is worth 0.9
MOST_REPEATED = 0.05
Scores = dict[Slot, dict[str, Fit]]
Matches = dict[Slot, Match]


def assign_headers(scores: Scores, profiles: dict[str, Profile], wide_finding: bool, title: str) -> Assignment:
    """Take the table that explains most, then each further one that explains what is left."""
    alone = {name: assign_columns((name,), scores) for name in contract.tables()}
    worth = {name: explain(alone[name]) + TITLE_WORTH * _is_in_title(name, title) for name in alone}
    ranked = sorted(alone, key=lambda name: -worth[name])
    told = [
        name for name in ranked if is_told(name, alone[name], wide_finding) and not _is_ruled_out(name, alone, profiles, title)
    ]
    if not told:
        return Assignment((ranked[0],), alone[ranked[0]], False)
    chosen = (told[0],)
    for name in told[1:]:
        before, after = assign_columns(chosen, scores), assign_columns((*chosen, name), scores)
        if not _says_what_was_done(name, after):
            continue
        if all(is_told(table, after, wide_finding) for table in (*chosen, name)) and explain(after) - explain(before) >= (
            LEAST_GAIN if not _adds_a_day(name, after) else 0
        ):
            chosen = (*chosen, name)
    if wide_finding and "finding" not in chosen:
        chosen = (*chosen, "finding")
    return Assignment(chosen, finish(chosen, scores, profiles), True)


def finish(tables: tuple[str, ...], scores: Scores, profiles: dict[str, Profile]) -> Matches:
    return note_rivals(add_twins(assign_columns(tables, scores), scores, profiles), scores)


def explain(matches: Matches) -> float:
    """How much a set of matches tells; a column that many tables have tells little about the table."""
    holders = [column for table in contract.tables().values() for column in table.column_names]
    total, seen = 0.0, set()
    for (_, column), match in matches.items():
        if match.header not in seen:
            total += match.score / holders.count(column)
            seen.add(match.header)
    return total


def is_told(table: str, matches: Matches, is_check_list: bool = False) -> bool:
    """Whether the headers tell what a row of the table must have; a check list tells by its parts how a look went."""
    wanted = read_data("marks.toml")["tables"][table]
    has = {column for name, column in matches if name == table}
    own = {match.header for (name, column), match in matches.items() if name == table and column in wanted["some_of"]}
    return (
        all(column in has for column in wanted["needs"])
        and (
            len(own) >= wanted["some_of_count"]
            or (table == "service" and bool(kind_of_day(matches)))
            or (table == "inspection" and is_check_list)
        )
        and not has & set(wanted.get("never_with", ()))
        and not any(column in wanted.get("never_with", ()) and match.score >= SURE for (_, column), match in matches.items())
    )


def kind_of_day(matches: Matches) -> str:
    """The kind of service that the header of the day names, as in 'last annual service'; '' for none."""
    day = matches.get(("service", "serviced_on"))
    if day is None or day.named < OWN_DAY:
        return ""
    target, score = match_word("kind", lengthen(day.header))
    return target if target and score >= 0.75 else ""


def says_the_kind(matches: Matches) -> bool:
    """Whether the header of the day says 'annual' or names another kind than a plain service."""
    words = lengthen(matches["service", "serviced_on"].header).split()
    yearly = read_data("marks.toml")["yearly"]
    return kind_of_day(matches) != "annual_service" or any(word.startswith(tuple(yearly)) for word in words)


def _is_in_title(table: str, title: str) -> bool:
    """Whether the lines above the table or the file name speak of it."""
    words = plain(title).split()
    return any(
        (word in words) if len(word) < 5 else any(word in other for other in words)
        for word in map(plain, read_data("marks.toml")["titles"].get(table, ()))
    )


def _is_ruled_out(table: str, alone: dict[str, Matches], profiles: dict[str, Profile], title: str) -> bool:
    if table == "vessel":
        key = alone["vessel"].get(("vessel", "imo_number"))
        return key is not None and _repeats(profiles[key.header])
    if table == "unit":
        return _is_no_register(alone, profiles, title)
    if table == "service":
        return _is_no_service(alone, title)
    if table == "inspection":
        return _is_only_service(alone)
    return False


def _repeats(profile: Profile) -> bool:
    return len(profile.cells) < (1 - MOST_REPEATED) * profile.filled


def _is_no_register(alone: dict[str, Matches], profiles: dict[str, Profile], title: str) -> bool:
    """A list of looks names the units too; a register tells more of each, and each once."""
    events = [name for name in ("inspection", "service", "finding") if is_told(name, alone[name])]
    days = [alone[name].get((name, day)) for name in events for day in EVENT_DATES]
    if not any(day and day.named >= NAMED for day in days):
        return False
    marks = read_data("marks.toml")["tables"]["unit"]["register"]
    count = sum(column in marks and match.named >= NAMED for (_, column), match in alone["unit"].items())
    key = alone["unit"].get(("unit", "unit_id"))
    # A workshop's list of jobs tells of the units what they are, but not that they are aboard.
    is_job_list = (
        "service" in events and ("service", "kind") in alone["service"] and ("unit", "in_service_on") not in alone["unit"]
    )
    repeats = key is not None and _repeats(profiles[key.header])
    return repeats or count < 2 or (is_job_list and not _is_in_title("unit", title))


def _is_no_service(alone: dict[str, Matches], title: str) -> bool:
    """A date, a result and a mass are a look unless something speaks of service."""
    own = alone["service"]
    day = own.get(("service", "serviced_on"))
    marks = read_data("marks.toml")["tables"]["service"]["own"]
    return not (
        ("service", "kind") in own
        or _is_in_title("service", title)
        or (day is not None and day.named >= OWN_DAY)
        or any(column in marks and match.named >= NAMED for (_, column), match in own.items())
    )


def _is_only_service(alone: dict[str, Matches]) -> bool:
    """A list that says for each row what was done, and has no day of its own for a look, is a list of services."""
    kind, day = alone["service"].get(("service", "kind")), alone["inspection"].get(("inspection", "inspected_on"))
    return (
        is_told("service", alone["service"]) and kind is not None and kind.score >= 0.6 and (day is None or day.named < OWN_DAY)
    )


def _adds_a_day(table: str, matches: Matches) -> bool:
    """Whether it is a table for a day that says itself what was done on it."""
    return table == "service" and bool(kind_of_day(matches))


def _says_what_was_done(table: str, matches: Matches) -> bool:
    """A weight beside a check is no service unless the file says what was done; a remark is no check unless it says how it
    went, or when if that is another day."""
    if table == "service":
        return (table, "kind") in matches or bool(kind_of_day(matches))
    if table == "inspection":
        day = matches.get((table, "inspected_on"))
        others = {match.header for (name, column), match in matches.items() if name != table and column in EVENT_DATES}
        has_own_day = day is not None and day.header not in others and day.named >= NAMED
        outcome = matches.get((table, "outcome"))
        return has_own_day or (outcome is not None and outcome.score >= LEAST and day is not None and day.named >= NAMED)
    return True
