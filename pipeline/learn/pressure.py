"""One pressure of a list of services: read off the gauge, or held in the test. In: the assignment. Out: the same, mended."""

from __future__ import annotations

from dataclasses import replace

from pipeline.learn.assign import Assignment
from pipeline.learn.profile import Profile
from pipeline.learn.sheet import Sheet
from pipeline.learn.vocabulary import match_word

GAUGE, PROOF, KIND = ("service", "gauge_bar"), ("service", "proof_pressure_bar"), ("service", "kind")
MOSTLY = 0.9


def settle_pressure(assignment: Assignment, sheet: Sheet, profiles: dict[str, Profile]) -> Assignment:
    """A pressure that stands only where a pressure test was done is the test's, to be confirmed."""
    matches = assignment.matches
    if GAUGE not in matches or PROOF in matches or KIND not in matches:
        return assignment
    place, kind = (sheet.headers.index(matches[slot].header) for slot in (GAUGE, KIND))
    kinds = [match_word("kind", row[kind])[0] for row in sheet.rows if row[place]]
    if not kinds or kinds.count("pressure_test") < MOSTLY * len(kinds):
        return assignment
    moved = replace(matches[GAUGE], score=0.6, why="it stands only where a pressure test was done")
    kept = {slot: match for slot, match in matches.items() if slot != GAUGE}
    return replace(assignment, matches={**kept, PROOF: moved})
