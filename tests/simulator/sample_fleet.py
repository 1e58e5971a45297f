"""The six invented vessels of the sample exports. In: nothing. Out: `FLEET`, first and last day, seed."""

from __future__ import annotations

from .calendar_days import count_day
from .fleet import Vessel, make_imo_number
from .parameters import US_REGION, Truth

START, END, SEED = count_day("2020-11-01"), count_day("2026-10-31"), 77
TRUTH = Truth(transferred_per_year=0.02, unit_missed_share=0.02)  # more transfers, so that six vessels show some
FIRST_IMO = 101  # first six digits 000101 and up: never issued, as far as we know

FLEET = [
    Vessel(make_imo_number(FIRST_IMO), "Brindlemoor", "bulk carrier", "XA", 31200, 2009, -12, 45, 0, 2, 0.8),
    Vessel(
        make_imo_number(FIRST_IMO + 1),
        "Quillhaven",
        "general cargo",
        "XA",
        9800,
        2014,
        4,
        41,
        1,
        2,
        1.0,
        laid_up_from=count_day("2022-05-01"),
        laid_up_to=count_day("2022-11-15"),
    ),
    Vessel(
        make_imo_number(FIRST_IMO + 2),
        "Osterwick",
        "tanker",
        "XB",
        28400,
        2011,
        -8,
        49,
        2,
        0,
        1.0,
        bad_from=count_day("2023-01-10"),
        bad_to=count_day("2024-01-10"),
    ),
    Vessel(make_imo_number(FIRST_IMO + 3), "Vellamora", "ro-ro", "XB", 22600, 1999, 2, 50, 3, 0, 4.5),
    Vessel(make_imo_number(FIRST_IMO + 4), "Tarnholt", "container", "XC", 40100, 2006, -25, 46, US_REGION, 1, 0.7),
    Vessel(make_imo_number(FIRST_IMO + 5), "Kestrindrift", "bulk carrier", "XC", 18900, 2016, 6, 43, 0, 1, 0.9),
]
CANONICAL, OSTEN, CALDER, KESTRIN = (0, 1), (2, 3), (4,), (5,)  # who writes in which style
ASHORE = (0, 4)  # vessels with a unit ashore for service on the last day
