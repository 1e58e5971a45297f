-- one row is a rule in force on $as_of and a unit that it covers. Dropped by verdict.sql.
create temp table bound as
select stay_no, rule_id from duty.in_force semi join judged using (stay_no) where is_within($as_of::date, from_on, to_on);

-- broken_limit: one row is a unit and a limit that it breaks. The rule judges the last reading (of one day: the last piece of
-- work, then the worse value); where it says the worst on record, each reading that breaks it is here, so that one that was cured
-- hides no other. The limit itself passes. Dropped by verdict.sql.
create temp table broken_limit as
with every_reading as (
    select bound.stay_no, rule_id, limits.verdict, limits.title, limits.cured_by, limits.measure, limits.unit, breach, reading,
        measure.value as full_value, as_read(measure.value, limits.unit) as value,
        as_read(coalesce(limit_value, case limit_from when 'wall_min_mm' then wall_min_mm when 'wall_mm' then wall_mm
            when 'test_pressure_bar' then test_pressure_bar when 'full_mass_kg' then full_mass_kg end), limits.unit)
            as limit_value,
        case when limits.measure in ('charge_lost_pct', 'charge_over_pct', 'charge_off_pct') then taken_g end as taken_g,
        measure.seen_on, order_in_day, measure.table_name, measure.file_id, measure.record_no, measure.line_no
    from bound join (from duty."limit" join (select rule_id, title from duty.provision) using (rule_id)) as limits using (rule_id)
    join judged on judged.stay_no = bound.stay_no
    join figure.measure as measure on measure.stay_no = bound.stay_no and measure.measure = limits.measure
    where closed_on is null or stands_when_closed
),
-- few limits are broken by any reading of a unit: only there it matters which one is judged
suspect as (select distinct stay_no, rule_id from every_reading where badness(value, breach) > badness(limit_value, breach)),
judged_reading as (
    select * from every_reading semi join suspect using (stay_no, rule_id)
    qualify row_number() over (partition by stay_no, rule_id
        order by seen_on desc, order_in_day desc, badness(full_value, breach) desc, file_id, record_no) = 1
        or reading = 'worst'
)
select * exclude (taken_g, reading, full_value), badness(value, breach) as badness, title || ': ' || write_beside(value, limit_value, unit) || ' ' || replace(unit, 'pct', '%') || ', limit '
    || in_digits(limit_value, 3)
    || coalesce(' (no charge on record: full less empty mass, ' || in_digits(taken_g / 1000, 3) || ' kg, taken)', '') as reason
from judged_reading where badness(value, breach) > badness(limit_value, breach);
