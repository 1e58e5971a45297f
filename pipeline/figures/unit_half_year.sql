-- one row is a unit that was condemned on or before $as_of, by its service record or its register row, whichever was first, and
-- the day from which that was known
create temp table condemned_unit as
select unit_id, min(on_day) as condemned_on, arg_min(imo_number, (on_day, imo_number)) as imo_number, min(known_from) as known_from from (
    select unit_id, imo_number, serviced_on as on_day, known_from from known_service where kind = 'condemn' and known_to is null
    union all
    select unit_id, imo_number, removed_on, removed_on from record.unit where removal_reason = 'condemned' and removed_on <= $as_of::date
) group by unit_id;

-- one row is a unit in service on the first day of a half-year, or on $as_of. Half-years begin once its vessel's records cover the
-- look-back of 26 months, so that no count grows with the years on record.
create temp table unit_start as
with began as (
    -- services come with a history that has no findings beside it, so records begin with the first inspection or finding
    select imo_number, coalesce(min(on_day) filter (is_look), min(on_day)) as began_on, max(on_day) as last_on from (
        select imo_number, inspected_on as on_day, true as is_look from record.inspection
        union all select imo_number, found_on, true from record.finding
        union all select imo_number, serviced_on, false from record.service)
    where on_day <= $as_of::date group by imo_number
),
start as (
    select day::date as starts_on, false as is_now from unnest(generate_series((select min(began_on) - 366 from began)::timestamp,
        $as_of::timestamp, interval 1 day)) as days(day)
    where day::date < $as_of::date and day(day) = 1 and month(day) in (1, 7)
    union all select $as_of::date, true
)
select starts_on, is_now, (starts_on - to_months(26))::date as back_on, (starts_on + to_months(12))::date as ends_on,
    counted.unit_id, counted.imo_number, stay.from_on as aboard_on, began_on, last_on, unit.* exclude (unit_id, imo_number)
from start join duty.counted as counted on counted.from_on <= starts_on and starts_on < counted.to_on
join duty.stay as stay using (stay_no)
join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
left join began on began.imo_number = counted.imo_number
where is_now or starts_on >= began_on + to_months(26)
qualify row_number() over (partition by counted.unit_id, starts_on order by stay.from_on desc, counted.imo_number, stay_no) = 1;

-- one row is a unit and a start: its services of the look-back
create temp table start_service as
select unit_id, starts_on, count(distinct serviced_on) filter (kind = 'annual_service') as annual_services,
    count(distinct serviced_on) filter (outcome = 'unsatisfactory' and kind <> 'condemn') as failed_services,
    max(serviced_on) filter (kind <> 'cartridge_check') as last_serviced_on,
    arg_max(wall_mm_measured, serviced_on) filter (wall_mm_measured is not null) as last_wall_mm,
    arg_max(outcome, serviced_on) filter (kind = 'pressure_test') = 'unsatisfactory' as is_test_failed
from unit_start join known_service using (unit_id)
where serviced_on > back_on and serviced_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to) group by unit_id, starts_on;

-- one row is a unit and a start: its findings of the look-back. Corrosion is that of shell, lining or head.
create temp table start_finding as
with found as (
    select unit_id, starts_on, found_on, component, defect, severity, pit_depth_mm, try_cast(rust_grade[3:] as integer) as grade,
        defect = 'corrosion' and component in ('shell', 'lining', 'head') as is_corrosion
    from unit_start join known_finding using (unit_id)
    where found_on > back_on and found_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to)
)
select unit_id, starts_on, count(distinct found_on) filter (is_corrosion) as corrosion_days,
    max(found_on) filter (is_corrosion) as last_corrosion_on, max(grade) filter (is_corrosion) as worst_grade,
    arg_max(grade, found_on) filter (is_corrosion and grade is not null) - arg_min(grade, found_on) filter (is_corrosion and grade is not null)
        as grade_rise,
    coalesce(bool_or(severity in ('major', 'unfit')) filter (is_corrosion), false) as is_major, max(pit_depth_mm) as pit_mm,
    count(distinct (component, defect)) filter (not is_corrosion) as other_defects, bool_or(defect = 'lining_failed') as is_lining_failed
from found group by unit_id, starts_on;

-- one row is a unit and a start: the next due date of its pressure test, from the last one known then
create temp table start_test as
select unit_id, imo_number, starts_on, min(due_on) as test_due_on from (
    select unit_id, span.imo_number, starts_on, due_on, basis_on
    from unit_start join duty.span as span using (unit_id, imo_number)
    where duty = 'pressure_test' and basis_on <= starts_on and judged_from <= starts_on and coalesce(judged_to > starts_on, true)
        and (is_first or exists (from known_service as known where known.unit_id = span.unit_id and known.serviced_on = span.basis_on
            and stood_on(is_now, starts_on, known.known_from, known.known_to)))
    qualify rank() over (partition by unit_id, imo_number, starts_on order by basis_on desc) = 1
) group by all;

-- figure.unit_half_year: one row is a unit in service on the first day of a half-year (is_now: on $as_of), with what was known of it
-- then: records of the 26 months before, by the day of the event and the day on which the record was known. What became of it within
-- 12 months: condemned is null where those months are not over, or not on record yet, or it had been condemned before and nobody
-- knew. Who left for another reason was watched for watched_share of the year. What the register says of a unit (agent, place,
-- maker, dates of its stays) is taken as it stands. is_test_due: within 18 months, for a test is done at a service of the year before
-- its due date. hard_signs: wall below the least wall, last pressure test failed, lining failed; the rules in force on a past day are
-- not worked out again. batch: units of one maker, model and year of manufacture.
create table figure.unit_half_year as
with miss as (
    select unit_id, starts_on, count(distinct inspected_on) as missed_looks from unit_start join known_miss using (unit_id)
    where inspected_on > back_on and inspected_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to) group by unit_id, starts_on
),
batch as (
    select unit_id, min(concat_ws(' · ', maker, model, year(made_on)::varchar)) as batch from record.unit
    where maker is not null and made_on is not null group by unit_id
),
others as (
    select starts_on, batch, count(*) as condemned from (select distinct starts_on, back_on from unit_start), condemned_unit join batch using (unit_id)
    where condemned_on > back_on and known_from <= starts_on group by starts_on, batch
),
aboard as (
    select starts_on, condemned_unit.imo_number, count(*) as condemned from (select distinct starts_on, back_on from unit_start), condemned_unit
    where condemned_on > back_on and known_from <= starts_on group by all
),
gone as (
    select stay.unit_id, max(least(coalesce(to_on, date '9999-12-31'), coalesce(left_on, date '9999-12-31'))) as gone_on,
        arg_max(coalesce(removal_reason, 'vessel left the fleet'), coalesce(to_on, date '9999-12-31')) as gone_reason
    from duty.stay as stay join record.vessel using (imo_number)
    join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
    group by stay.unit_id
),
told as (
    select start.*, condemned_on, case when gone_on > starts_on and gone_on <= ends_on and gone_on <= $as_of::date then gone_on end as gone_on, gone_reason,
        not is_now and ends_on <= least($as_of::date, last_on) and coalesce(condemned_on > starts_on, true) as is_over
    from unit_start as start left join condemned_unit using (unit_id) left join gone using (unit_id)
)
select starts_on, is_now, unit_id, told.imo_number, (starts_on - made_on) / 365.25 as age_years, coalesce(agent, 'not stated') as agent,
    coalesce(lining, 'not stated') as lining, coalesce(space_category, 'not stated') as space_category,
    coalesce(corrosion_days, 0) as corrosion_days, last_corrosion_on,
    coalesce(last_corrosion_on >= last_serviced_on, last_corrosion_on is not null) as is_corroded_at_last,
    worst_grade, grade_rise, coalesce(is_major, false) as is_major, pit_mm, wall_mm - last_wall_mm as wall_lost_mm,
    last_wall_mm - wall_min_mm as wall_spare_mm, coalesce(other_defects, 0) as other_defects, last_serviced_on,
    coalesce(annual_services, 0) as annual_services,
    greatest(least(2, datediff('month', greatest(aboard_on, back_on, began_on), starts_on) // 13) - coalesce(annual_services, 0), 0) as missed_services,
    coalesce(missed_looks, 0) as missed_looks, coalesce(failed_services, 0) as failed_services, test_due_on,
    coalesce(test_due_on <= starts_on + to_months(18), false) as is_test_due,
    coalesce(last_wall_mm < wall_min_mm, false)::integer + coalesce(is_test_failed, false)::integer + coalesce(is_lining_failed, false)::integer
        as hard_signs, batch, coalesce(others.condemned, 0) as batch_condemned,
    coalesce(aboard.condemned, 0) as vessel_condemned,
    case when is_over then coalesce(condemned_on <= ends_on, false) end as condemned,
    case when is_over and condemned_on <= ends_on then condemned_on end as condemned_on,
    case when is_over and coalesce(condemned_on > ends_on, true) then gone_reason end as gone_reason,
    case when is_over and coalesce(condemned_on > ends_on, true) then gone_on end as gone_on,
    case when is_over then case when coalesce(condemned_on > ends_on, true) then coalesce((gone_on - starts_on) / (ends_on - starts_on), 1.0)
        else 1.0 end end as watched_share
from told left join start_service using (unit_id, starts_on) left join start_finding using (unit_id, starts_on)
left join start_test using (unit_id, imo_number, starts_on) left join miss using (unit_id, starts_on)
left join batch using (unit_id) left join others using (starts_on, batch) left join aboard using (starts_on, imo_number)
order by starts_on, unit_id;
update figure.unit_half_year set gone_reason = null where gone_on is null;

drop table start_service;
drop table start_finding;
drop table start_test;
drop table unit_start;
drop table condemned_unit;
drop table known_miss;
drop table known_finding;
drop table known_service;
drop table file_known;
