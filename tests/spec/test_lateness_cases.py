"""The hand-worked cases of lateness_cases.md, against the day-by-day reference and against the pipeline.

In: the cases. Out: both must give exactly the rows written down. The pipeline gets all cases judged on one day in one
run: they share no vessel and no unit.
"""

import functools

import pytest

from tests.property.canonical import merge_fleets
from tests.property.lateness import Lateness
from tests.property.pipeline_door import read_lateness, run_fleet
from tests.property.reference_lateness import measure_lateness
from tests.spec.read_cases import CASES_FILE, Case, read_cases

CASES = read_cases(CASES_FILE.read_text(encoding="utf-8"))
by_title = pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])


def assert_case_holds(case: Case, lateness: Lateness) -> None:
    assert case.months, "a case without an expectation"
    assert {key: lateness.monthly.get(key) for key in case.months} == case.months
    found = {key: [row for row in lateness.now if (row.imo_number, row.duty) == key] for key in case.now}
    assert found == case.now


@by_title
def test_reference(case):
    assert_case_holds(case, measure_lateness(case.fleet))


@pytest.fixture(scope="module")
def run_once(tmp_path_factory):
    """The figures of all cases judged on a day; one run per day."""

    @functools.cache
    def run_cases_of(as_of):
        fleet = merge_fleets([case.fleet for case in CASES if case.fleet.as_of == as_of])
        return read_lateness(run_fleet(fleet, tmp_path_factory.mktemp("spec")))

    return run_cases_of


@by_title
def test_pipeline(case, run_once):
    assert_case_holds(case, run_once(case.fleet.as_of))
