"""The true parameters of the invented fleets. In: data/. Out: `Truth`, spaces, kinds of unit, defects, providers.

Shapes and rates follow the simulator in the project's statistics notes; none is an estimate of a real fleet.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

MAKERS = (("VOR", "Vorrandel"), ("ASQ", "Ashquill"), ("TMB", "Tembrook"))  # invented
LBS, US_GAL = 0.45359237, 3.785411784  # kg and litres, exact by definition
BURN_IN_YEARS = 25  # so that ages and survivorship are right when the records start
US_REGION = 4  # vessels of this supply region buy US sizes, of one maker


@dataclass(frozen=True)
class Truth:
    """Every number that drives lives, services, checks and findings."""

    onset_shape: float = 2.2  # Weibull shape of the age at corrosion onset
    onset_frailty_sd: float = 0.25  # sd of the log of a vessel's factor on the onset scale
    wall_loss_mm_per_year: float = 0.045  # mean loss after onset
    wall_loss_gamma_shape: int = 4  # gamma shape of the loss rate: coefficient of variation .5
    wall_gauge_sd_mm: float = 0.05  # error of one wall reading
    wall_read_share: float = 0.25  # share of annual services with a wall reading (pressure tests: always)
    sensitivity_slope_per_mm: float = 4.0  # sensitivity = 1 - (1 - provider's) exp(-slope x loss)
    specificity: float = 0.985  # chance that a service of a sound unit reports no corrosion
    crew_sensitivity: float = 0.03  # chance per monthly check to report existing corrosion, times 1 - exp(-2 loss)
    crew_false_share: float = 0.0002  # chance per monthly check to report corrosion that is not there
    condemn_base: float = -6.2  # logit of condemnation at a service: constant
    condemn_per_10_years: float = 0.55  # ... times age / 10 years
    condemn_found: float = 1.6  # ... corrosion found at this service
    condemn_per_mm: float = 7.0  # ... times wall loss in mm
    condemn_pressure_test: float = 1.5  # ... pressure-tested at this service
    condemn_co2: float = -0.5  # ... CO2 cylinder
    condemn_open_deck: float = 0.3  # ... stands on open deck
    lost_per_year: float = 0.004  # competing removals
    sold_per_year: float = 0.001
    replaced_per_year: float = 0.01
    transferred_per_year: float = 0.006
    policy_share: float = 0.5  # share of purchase batches with a planned life
    policy_life_years: tuple[float, float] = (11.0, 21.0)  # planned life, uniform between
    defect_frailty_shape: int = 3  # gamma shape of a vessel's factor on defect rates
    visit_lead_days: tuple[int, int] = (10, 34)  # a visit is booked this long before the year is up
    visit_late_share: float = 0.14  # share of visits that slip, times the vessel's lateness
    visit_late_days: float = 36.0  # mean slip, times the root of the vessel's lateness
    unit_missed_share: float = 0.025  # units not reached at a visit, done later, times lateness
    test_skipped_share: float = 0.05  # tests due at a visit but left for the next, times lateness
    round_days: float = 28.9  # mean days from one monthly round to the next
    round_late_share: float = 0.04  # rounds that slip, times lateness
    check_missed_share: float = 0.02  # units skipped in a round, times lateness
    no_access_share: float = 0.004  # units that the round could not reach
    bad_year_lateness: float = 9.0  # factor on lateness in a vessel's bad year
    shut_share: float = 0.93  # share of check findings that ever get closed within the data


@dataclass(frozen=True)
class Space:
    """A kind of space: share of the units, onset scale, shares of the kinds that stand there (data/spaces.toml)."""

    category: str
    share: float
    onset_scale_years: float
    names: list[str]
    kinds: dict[str, float]


@dataclass(frozen=True)
class Kind:
    """A kind of unit as the trade sells it (data/kinds.csv; figures invented within common practice, no source)."""

    slug: str
    agent: str
    detail: str
    foam_kind: str
    expelled_by: str
    form: str
    charge: float  # kg, or litres where is_liquid
    us_charge: float  # lb or US gal
    is_liquid: bool
    empty_mass_kg: float
    shell: str
    lining: str
    wall_mm: float
    wall_min_mm: float
    test_bar: float
    model: str
    is_refillable: bool
    cartridge_kg: float
    gauge_bar: float

    @property
    def us_charge_metric(self) -> float:
        """The US size in kg, or litres where it is a liquid."""
        return self.us_charge * (US_GAL if self.is_liquid else LBS)


@dataclass(frozen=True)
class Defect:
    """A Poisson type (data/defects.csv): where it is seen, rate per unit-year, severity, the kinds it can strike."""

    seen_at: str  # 'service' or 'check'; 'corrosion' follows the onset instead of a rate
    component: str
    defect: str
    per_unit_year: float
    severity: str
    kinds: str  # 'all', or an agent, or a way of expelling
    action: str


@dataclass(frozen=True)
class Provider:
    """A service provider: chance that it sees corrosion which has cost no wall yet."""

    code: str
    name: str
    sensitivity: float


DATA = Path(__file__).parent / "data"
READ = {"str": str, "float": float, "bool": lambda text: text == "true"}


def read_rows(path: Path, row_class: type) -> tuple:
    """Rows of a CSV as frozen dataclasses."""
    types = {f.name: READ[f.type] for f in fields(row_class)}
    with path.open(encoding="utf-8", newline="") as handle:
        return tuple(row_class(**{n: types[n](v) for n, v in row.items()}) for row in csv.DictReader(handle))


SPACES = tuple(Space(c, **v) for c, v in tomllib.loads((DATA / "spaces.toml").read_text(encoding="utf-8")).items())
KINDS = read_rows(DATA / "kinds.csv", Kind)
ALL_DEFECTS = read_rows(DATA / "defects.csv", Defect)
SERVICE_DEFECTS = tuple(d for d in ALL_DEFECTS if d.seen_at == "service")
CHECK_DEFECTS = tuple(d for d in ALL_DEFECTS if d.seen_at == "check")
CORROSION, LINING = (d for d in ALL_DEFECTS if d.seen_at == "corrosion")
KIND_NUMBER = {kind.slug: number for number, kind in enumerate(KINDS)}
DEFECT_NUMBER = {defect: number for number, defect in enumerate(ALL_DEFECTS)}
PROVIDERS = (
    Provider("SKE", "Skellan Wartung", 0.55),
    Provider("MAR", "Marrowind Technical", 0.42),
    Provider("DUN", "Dunvarra Works", 0.66),
)
LINING_ONSET_FACTOR = {"none": 1.0, "zinc": 0.9, "epoxy_polyester": 1.25, "other": 1.0}  # on the onset scale
RUST_STEPS_YEARS = (1.0, 2.5, 5.0, 9.0)  # years since onset at which Ri1 turns Ri2, Ri3, Ri4, Ri5
RUST_AREA_PCT = (0.0, 0.05, 0.5, 1.0, 8.0, 45.0)  # nominal rusted area of Ri0 to Ri5, ISO 4628-3
SEVERITIES = ("minor", "major", "unfit")


def strikes(defect: Defect, kind: Kind) -> bool:
    """Whether a defect can strike a kind of unit."""
    return defect.kinds in ("all", kind.agent, kind.expelled_by)
