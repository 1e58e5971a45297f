-- figure.back_test: one row is a half-year that is over (null cutoff: all together) and a way to order units. Each learned only from
-- half-years that were over by the cutoff. events: condemned units it learned from. units and condemned: those followed for 12 months;
-- left: gone for another reason in between, counted here and left out of precision and lift. expected: sum of the chances. Of the top 5
-- and 10 % of the list: how many that is, how many were condemned (ties in part), their share (precision), and by how much it
-- exceeds that of oldest first (gain), with 95 % limits by drawing whole vessels; of fewer than 30 vessels the wider of these and of
-- limits by drawing units, of one vessel the latter. A method without chances has no scores of them. why_not: no such list then.
create table figure.back_test (
    cutoff date, horizon_months integer, method text, kind text, events integer, units integer, condemned integer, left_otherwise integer,
    expected double, brier double, brier_skill double, log_score double, calibration_intercept double, calibration_slope double,
    top_5 double, found_5 double, precision_at_5_pct double, precision_5_low double, precision_5_high double,
    lift_at_5_pct double, gain_5 double, gain_5_low double, gain_5_high double,
    top_10 double, found_10 double, precision_at_10_pct double, precision_10_low double, precision_10_high double,
    lift_at_10_pct double, gain_10 double, gain_10_low double, gain_10_high double,
    why_not text
);

-- figure.back_test_group: one row is a fifth of the chances ('fifth', of equal size), or a band of the list ('band': the first 5 %, the
-- next 15 %, the rest), in past lists of the method 'model' a year apart: mean chance given, and how many were condemned within 12
-- months, with Wilson limits
create table figure.back_test_group (
    grouped_by text, group_no integer, label text, units integer, chance double, condemned integer, share double, low double, high double
);

-- figure.back_test_condemned: one row is a condemned unit of the list of a past day, and a fifth or band that figure.back_test_group counts it in
create table figure.back_test_condemned (grouped_by text, group_no integer, cutoff date, unit_id text);

-- figure.watch_model: one row is what the list of $as_of rests on: kind is 'rule', 'bands' or 'chances', why in words. events: condemned
-- units learned from. won, lost: half-years in which the model's first 5 % held more condemned units than oldest first, or fewer.
-- condemned_share, left_share: of units in service, within 12 months (Aalen-Johansen). checked_on, checked_expected, checked_seen,
-- checked_p: the last half-year that is over, condemned units expected and seen, and how likely so far apart; checked_order_p: how likely
-- condemned units stand so far out of the order given. A p below .005 is a sign that the model no longer holds.
create table figure.watch_model (
    kind text, why text, vessels integer, units integer, half_years integer, events integer, won integer, lost integer,
    condemned_share double, left_share double, checked_on date, checked_expected double, checked_seen integer, checked_p double, checked_order_p double
);

-- figure.watch_weight: one row is a trait of the model and by how much the odds of condemnation change with one step of it, with 95 %
-- limits by vessel. A pattern in the records, no cause.
create table figure.watch_weight (trait text, step text, odds double, low double, high double);
