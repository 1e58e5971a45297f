"""The shapes that the reference and the pipeline's figures are both read into, and the duties as data.

In: nothing. Out: `Duty` and the `BASELINE` duties; `MonthRow`, `NowRow` and `Lateness`, which compare by value.
"""

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

FLEET = "*"
ANY_DUTY = "*"


@dataclass(frozen=True)
class Duty:
    """What has to be done, how often, and what counts as having done it."""

    name: str
    counts: str  # 'unit' or 'group'
    interval_months: int
    first_basis: tuple[str, ...]  # columns of the unit row, the first that is filled
    by_inspection: bool = False
    by_kinds: frozenset[str] = frozenset()
    form: str | None = None  # groups only: the form of unit that makes such a group
    in_any_duty: bool = False
    expelled_by: str | None = None  # units only: asked of units with this drive
    parts: frozenset[str | None] = frozenset({None, "shell", "cartridge", "both"})  # of a pressure test, what was tested
    by_examination: bool = False
    renewed_on: str | None = None  # column of the unit row: a part made on that day starts the clock anew
    is_called_for: bool = False  # falls due on the day of a finding, not after an interval


# A service that condemns the unit is no look at one that is in its place and fit.
SERVICES = frozenset({"annual_service", "recharge", "discharge_test", "pressure_test", "cartridge_check", "repair"})
# A test that does not say what was tested is one of shell and cartridge.
SHELL, CARTRIDGE = frozenset({None, "both", "shell"}), frozenset({None, "both", "cartridge"})

# Restated here by hand, not read from the pipeline's rule book: a slip in either shows as a difference.
# 1 month: common practice, no source. 12 and 120 months, and 60 for the sample of portable units: IMO Res. A.951(23)
# annex 9.1, 9.1.2 and 9.1.1. 60 for the examination of wheeled ones: MSC.1/Circ.1432 9.6. First bases, and
# that a recharge falls due on the day of the finding: the project's judgement.
BASELINE = (
    Duty("onboard_check", "unit", 1, ("in_service_on", "made_on"), by_inspection=True, by_kinds=SERVICES, in_any_duty=True),
    Duty("annual_service", "unit", 12, ("in_service_on", "made_on"),
         by_kinds=frozenset({"annual_service", "pressure_test"}), parts=SHELL, in_any_duty=True),
    Duty("pressure_test", "unit", 120, ("made_on",), by_kinds=frozenset({"pressure_test"}), parts=SHELL, in_any_duty=True),
    Duty("cartridge_test", "unit", 120, ("made_on",), by_kinds=frozenset({"pressure_test"}), parts=CARTRIDGE,
         expelled_by="cartridge", renewed_on="cartridge_made_on"),
    Duty("recharge_after_use", "unit", 0, (), by_kinds=frozenset({"recharge"}), is_called_for=True),
    Duty("wheeled_examination", "group", 60, ("made_on",), by_examination=True, form="wheeled"),
    Duty("sample_discharge", "group", 60, ("made_on",), by_kinds=frozenset({"discharge_test"}), form="portable"),
)  # fmt: skip


class MonthRow(NamedTuple):
    """Counts at the month's end, and days summed over the month; the key is (month_end, imo_number, duty)."""

    units: int
    overdue: int
    unknown: int
    overdue_unit_days: int
    unit_days: int


class NowRow(NamedTuple):
    """A unit (a set of one) or sample group (the units that have joined it aboard that vessel) overdue on as_of."""

    imo_number: str
    duty: str
    unit_ids: tuple[str, ...]
    basis_on: date
    due_on: date
    days_overdue: int


MonthKey = tuple[date, str, str]


@dataclass(frozen=True)
class Lateness:
    monthly: dict[MonthKey, MonthRow]
    now: tuple[NowRow, ...]
