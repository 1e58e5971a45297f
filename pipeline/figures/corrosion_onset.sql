-- figure.corrosion_onset: one row is a method, a group of units ('all', or by space_category or agent) and an age: the share on which
-- corrosion had begun, of units still clean at starts_at (conditional on it), with 95 % limits. at_risk: units watched at that age.
-- 'first clean, errors of looks allowed for' is the one to read: units clean at their first look, counted from that age on, a Weibull
-- curve with what looks miss and invent. 'first clean, delayed entry': the same units, their records taken at their word: late by what
-- looks miss. 'all units': with those found corroded at the first look as begun before it. 'naive': the first report taken as the day
-- on which it began, and every unit as watched from new: shown to compare, not to be used.
create table figure.corrosion_onset (
    method text, dimension text, value text, age_years double, starts_at double, at_risk integer, share double, low double, high double
);

-- figure.corrosion_model: one row is a method, a group of units and a number of its Weibull curve: shape, scale_years (63 % have begun),
-- a ratio of ages (open_deck .6: begins at .6 of the age elsewhere), sensitivity of a look to what has just begun and to what began
-- five years ago, its specificity. No estimate: why_not. One row
-- more, term 'units', a method and group: how many units and onsets it rests on.
create table figure.corrosion_model (
    method text, dimension text, value text, term text, units integer, onsets integer, vessels integer, estimate double, low double,
    high double, why_not text
);
