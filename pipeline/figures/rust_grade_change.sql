-- figure.rust_grade_change: one row is a step from one rust grade (ISO 4628-3, Ri0 to Ri5) of the shell to that of the next day on which
-- it was graded. pairs: how often it was seen; unit_years: time between the looks of all pairs that begin at from_grade; of a rise the
-- rate per 100 unit-years with Garwood limits. A step is 'worse', 'same' or 'better'; a fall is a repaint or a difference of reading,
-- not a rate. A look that reported no corrosion has no grade and is no part of a pair.
create table figure.rust_grade_change as
with graded as (
    select unit_id, found_on, max(rust_grade) as grade from record.finding
    where defect = 'corrosion' and component = 'shell' and rust_grade is not null and found_on <= $as_of::date
    group by unit_id, found_on
),
step as (
    select grade as from_grade, lead(grade) over later as to_grade, lead(found_on) over later - found_on as days
    from graded window later as (partition by unit_id order by found_on)
),
exposed as (select from_grade, sum(days) / 365.25 as unit_years from step where to_grade is not null group by from_grade),
counted as (select from_grade, to_grade, count(*) as pairs from step where to_grade is not null group by all)
select from_grade, to_grade, case when to_grade > from_grade then 'worse' when to_grade = from_grade then 'same' else 'better' end as kind,
    pairs, unit_years, case when kind = 'worse' then 100 * pairs / unit_years end as per_100_unit_years,
    case when kind = 'worse' then 100 * garwood_low(pairs) / unit_years end as low,
    case when kind = 'worse' then 100 * garwood_high(pairs) / unit_years end as high
from counted join exposed using (from_grade) order by from_grade, to_grade;
