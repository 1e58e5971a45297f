-- corrosion_unit: one row is a unit in service that was looked at, with its band of ages and the worst that was ever found on its shell.
create temp table corrosion_unit as
with band as (
    select * from (values (0, 5, '0–4'), (5, 10, '5–9'), (10, 15, '10–14'), (15, 20, '15–19'), (20, 1000, '20 and over'))
        as band (from_years, to_years, age_band_years)
),
corroded as (
    select unit_id, max(rust_grade) as worst_grade, count(*) as findings
    from record.finding where defect = 'corrosion' and found_on <= $as_of::date group by unit_id
)
select age_band_years, from_years, coalesce(agent, 'not stated') as agent, coalesce(lining, 'not stated') as lining,
    coalesce(space_category, 'not stated') as space_category, imo_number, findings, worst_grade
from figure.unit_now as unit_now
join band on made_on + to_years(from_years) <= $as_of::date and made_on + to_years(to_years) > $as_of::date
left join corroded using (unit_id)
where counted = 'in service' and (last_inspected_on is not null or last_serviced_on is not null
    or unit_id in (select unit_id from record.finding where found_on <= $as_of::date))
qualify row_number() over (partition by unit_now.unit_id
    order by coalesce(in_service_on, made_on) desc, in_service_on desc nulls last, imo_number) = 1;

-- figure.corrosion_by_age: one row is a band of ages, an agent, a lining and a kind of space ('*' = all of them): units in service on
-- $as_of that were looked at, and how many of them ever had corrosion found, with Wilson limits. Survivors only: a
-- corroded unit that was condemned is no longer here, so this is no risk of a unit's life. share_smooth: the nearest shares that never
-- fall with age, of bands of ten units or more (pooled neighbours, weighted by units); null for smaller bands.
create table figure.corrosion_by_age as
with counted as (
    select from_years, age_band_years, coalesce(agent, '*') as agent, coalesce(lining, '*') as lining,
        coalesce(space_category, '*') as space_category, count(*) as units, count(findings) as units_corroded,
        count(*) filter (worst_grade = 'Ri1') as worst_ri1, count(*) filter (worst_grade = 'Ri2') as worst_ri2,
        count(*) filter (worst_grade = 'Ri3') as worst_ri3, count(*) filter (worst_grade = 'Ri4') as worst_ri4,
        count(*) filter (worst_grade = 'Ri5') as worst_ri5,
        count(findings) filter (worst_grade is null or worst_grade = 'Ri0') as worst_ungraded
    from corrosion_unit
    group by grouping sets ((from_years, age_band_years), (from_years, age_band_years, agent),
        (from_years, age_band_years, lining), (from_years, age_band_years, space_category))
)
select age_band_years, agent, lining, space_category, units, units_corroded, units_corroded / units as share,
    wilson_low(units_corroded, units) as low, wilson_high(units_corroded, units) as high, * exclude (from_years,
    age_band_years, agent, lining, space_category, units, units_corroded), null::double as share_smooth
from counted order by agent, lining, space_category, from_years;

-- figure.corrosion_part: one row is a band of ages, a vessel, an agent and a kind of space: the units of figure.corrosion_by_age, and how
-- many of them ever had corrosion found; to be added up as a reader chooses.
create table figure.corrosion_part as
select age_band_years, imo_number, agent, space_category, count(*) as units, count(findings) as units_corroded
from corrosion_unit group by from_years, age_band_years, imo_number, agent, space_category
order by from_years, imo_number, agent, space_category;
drop table corrosion_unit;
