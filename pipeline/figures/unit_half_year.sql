-- one row is a vessel and a day on which something was recorded aboard, and the day from which that was known
create temp table known_day as
select imo_number, is_look, on_day, taken_up_on, min(known_on(on_day, received_on, taken_up_on)) as known_from,
    bool_or(received_on <= taken_up_on) as is_taken_up
from event_day join file_day using (file_id) left join taken_up using (imo_number) where on_day <= $as_of::date group by all;

-- one row is a word, of a service record or a register row, that a unit was condemned on or before $as_of, and the days on which it stood
create temp table condemned_word as
select unit_id, imo_number, serviced_on as on_day, known_from, known_to from known_service where kind = 'condemn'
union all
select unit_id, imo_number, removed_on, greatest(known_from, removed_on), known_to from known_unit
where removal_reason = 'condemned' and removed_on <= $as_of::date;

-- one row is a unit that was condemned on or before $as_of, by whichever record was first, and the day from which any told so
create temp table condemned_unit as
select unit_id, min(on_day) filter (known_to is null) as condemned_on, min(known_from) as known_from from condemned_word
group by unit_id having condemned_on is not null;

-- one row is a day on which there is a list: the first of a half-year, and $as_of
create temp table start_day as
select day::date as starts_on, false as is_now from unnest(generate_series((select min(on_day) - 366 from known_day)::timestamp,
    $as_of::timestamp, interval 1 day)) as days(day)
where day::date < $as_of::date and day(day) = 1 and month(day) in (1, 7)
union all select $as_of::date, true;

-- one row is a vessel and such a day: since when its records go, as known then. Services come with a history that has no findings
-- beside it, so records begin with the first inspection or finding; with services only where 26 months brought nothing else.
create temp table began as
select starts_on, is_now, imo_number, coalesce(
    min(on_day) filter (is_look and (is_now or known_from <= starts_on or (starts_on < taken_up_on and is_taken_up))),
    min(on_day) filter (is_now or (known_from <= starts_on and (starts_on < taken_up_on or starts_on >= taken_up_on + to_months(26))))) as began_on
from start_day, known_day group by starts_on, is_now, imo_number;

-- one row is a unit in service on the first day of a half-year, by the register as known then, or on $as_of. Half-years begin once its
-- vessel's records cover the look-back of 26 months, so that no count grows with the years on record.
create temp table unit_start as
with aboard as (
    select starts_on, counted.is_now, unit_id, unit.imo_number, coalesce(in_service_on, made_on) as aboard_on, unit.record_no,
        unit.* exclude (unit_id, imo_number, record_no, file_id, known_from, known_to, in_service_on, removed_on, removal_reason, is_spare, landed_from, landed_to)
    from start_day as counted, known_unit as unit left join known_vessel as vessel using (imo_number)
    where not counted.is_now and unit.known_from <= starts_on and coalesce(unit.known_to > starts_on, true)
        and vessel.known_from <= starts_on and coalesce(vessel.known_to > starts_on, true) and not is_spare
        and is_within(starts_on, greatest(coalesce(in_service_on, made_on), coalesce(joined_on, coalesce(in_service_on, made_on))),
            least(coalesce(removed_on, date '9999-12-31'), coalesce(left_on, date '9999-12-31')))
        and not (is_within(starts_on, landed_from, landed_to) and coalesce(landed_to > landed_from, true))
        and not (is_within(starts_on, laid_up_from, laid_up_to) and coalesce(laid_up_to > laid_up_from, true))
    union all by name
    select starts_on, true as is_now, unit_id, counted.imo_number, stay.from_on as aboard_on, stay.stay_no as record_no,
        unit.made_on, unit.agent, unit.lining, unit.space_category, unit.wall_mm, unit.wall_min_mm, unit.maker, unit.model
    from start_day join duty.counted as counted on counted.from_on <= starts_on and starts_on < counted.to_on
    join duty.stay as stay using (stay_no, unit_id)
    join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id where is_now
)
select aboard.* exclude (record_no), (starts_on - to_months(26))::date as back_on, (starts_on + to_months(12))::date as ends_on, began_on
from aboard left join began using (starts_on, is_now, imo_number)
where is_now or starts_on >= began_on + to_months(26)
qualify row_number() over (partition by unit_id, starts_on, is_now order by aboard_on desc, imo_number, record_no desc) = 1;

-- one row is a unit and a start: its services of the look-back
create temp table start_service as
select unit_id, starts_on, is_now, count(distinct serviced_on) filter (kind = 'annual_service') as annual_services,
    count(distinct serviced_on) filter (outcome = 'unsatisfactory' and kind <> 'condemn') as failed_services,
    max(serviced_on) filter (kind <> 'cartridge_check') as last_serviced_on,
    arg_max(wall_mm_measured, (serviced_on, file_id, record_no)) filter (wall_mm_measured is not null) as last_wall_mm,
    arg_max(outcome, serviced_on) filter (kind = 'pressure_test') = 'unsatisfactory' as is_test_failed
from unit_start join known_service using (unit_id)
where serviced_on > back_on and serviced_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to) group by unit_id, starts_on, is_now;

-- one row is a unit and a start: its findings of the look-back. Corrosion is that of shell, lining or head.
create temp table start_finding as
with found as (
    select unit_id, starts_on, is_now, found_on, component, defect, severity, pit_depth_mm, try_cast(substr(rust_grade, 3) as integer) as grade,
        defect = 'corrosion' and component in ('shell', 'lining', 'head') as is_corrosion
    from unit_start join known_finding using (unit_id)
    where found_on > back_on and found_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to)
)
select unit_id, starts_on, is_now, count(distinct found_on) filter (is_corrosion) as corrosion_days,
    max(found_on) filter (is_corrosion) as last_corrosion_on, max(grade) filter (is_corrosion) as worst_grade,
    arg_max(grade, found_on) filter (is_corrosion and grade is not null) - arg_min(grade, found_on) filter (is_corrosion and grade is not null)
        as grade_rise,
    coalesce(bool_or(severity in ('major', 'unfit')) filter (is_corrosion), false) as is_major, max(pit_depth_mm) as pit_mm,
    count(distinct (component, defect)) filter (not is_corrosion) as other_defects, bool_or(defect = 'lining_failed') as is_lining_failed
from found group by unit_id, starts_on, is_now;

-- one row is a unit and a start: the next due date of its pressure test. Today's is that of the span; a past one runs from the last test
-- known then, or from the register as known then, under the rule that binds its stay.
create temp table start_test as
with ruled as (
    select distinct unit_id, starts_on, rule_id, interval_months, coalesce(grace_months, 0) as grace_months,
        case first_basis when 'service_start' then aboard_on when 'none' then null else unit_start.made_on end as first_on
    from unit_start join duty.stay as stay using (unit_id, imo_number) join duty.in_force as ruling using (stay_no)
    join duty.rule as rule using (rule_id)
    where not is_now and duty = 'pressure_test' and counts = 'unit' and ruling.from_on <= starts_on and coalesce(ruling.to_on > starts_on, true)
),
tested as (
    select ruled.unit_id, starts_on, ruled.rule_id, max(serviced_on) as tested_on
    from ruled join known_service as known using (unit_id) join duty.satisfied_by as wanted on wanted.rule_id = ruled.rule_id
        and wanted.record = 'service' and coalesce(wanted.kind = known.kind, wanted.kind is null)
        and (wanted.is_examination is null or coalesce(known.is_examination, false))
        and (wanted.tested_part is null or coalesce(known.tested_part, 'both') in (wanted.tested_part, 'both'))
    where outcome = 'satisfactory' and serviced_on <= starts_on and stood_on(false, starts_on, known_from, known_to)
    group by all
)
select unit_id, starts_on, false as is_now,
    min(due_date(due_date(coalesce(tested_on, first_on), interval_months), grace_months)) as test_due_on
from ruled left join tested using (unit_id, starts_on, rule_id) group by unit_id, starts_on
union all
select unit_id, starts_on, true, min(due_on) from (
    select unit_id, starts_on, due_on from unit_start join duty.span as span using (unit_id, imo_number)
    where is_now and duty = 'pressure_test' and basis_on <= starts_on and judged_from <= starts_on and coalesce(judged_to > starts_on, true)
    qualify rank() over (partition by unit_id, imo_number order by basis_on desc) = 1
) group by unit_id, starts_on;

-- figure.unit_half_year: one row is a unit in service on the first day of a half-year (is_now: on $as_of), with what was known of it
-- then, register included: records of the 26 months before, by the day of the event and the day on which the record was known. What
-- became of it within 12 months, as known now: condemned is null where those months are not over, or not on record yet, or it was
-- out of service then and nobody knew. told_on: the day by which the vessel's records known then reached the end of those months;
-- condemned_known_on, gone_known_on: the days from which that it was condemned, or gone, was known. Who left for another reason was
-- watched for watched_share of the year. is_test_due: within 18 months, for a test is done at a service of the year before
-- its due date. hard_signs: wall below the least wall, last pressure test failed, lining failed; the rules in force on a past day are
-- not worked out again. batch: units of one maker, model and year of manufacture.
create table figure.unit_half_year as
with miss as (
    select unit_id, starts_on, is_now, count(distinct inspected_on) as missed_looks from unit_start join known_miss using (unit_id)
    where inspected_on > back_on and inspected_on <= starts_on and stood_on(is_now, starts_on, known_from, known_to) group by all
),
batch as (
    select unit_id, starts_on, is_now, concat_ws(' · ', maker, model, year(made_on)::varchar) as batch from unit_start
    where maker is not null and made_on is not null
),
out_then as (
    select starts_on, is_now, word.unit_id, arg_min(word.imo_number, on_day) as imo_number from start_day, condemned_word as word
    where on_day > (starts_on - to_months(26))::date and on_day <= starts_on and stood_on(is_now, starts_on, known_from, known_to)
    group by starts_on, is_now, word.unit_id
),
made as (
    select starts_on, is_now, unit_id, min(concat_ws(' · ', maker, model, year(made_on)::varchar)) as batch
    from start_day join known_unit as unit on stood_on(is_now, starts_on, known_from, known_to)
    semi join out_then on out_then.unit_id = unit.unit_id
    where maker is not null and made_on is not null group by all
),
others as (
    select starts_on, is_now, batch, count(*) as condemned from out_then join made using (starts_on, is_now, unit_id) group by all
),
aboard as (select starts_on, is_now, imo_number, count(*) as condemned from out_then group by all),
gone as (
    select stay.unit_id, max(least(coalesce(to_on, date '9999-12-31'), coalesce(left_on, date '9999-12-31'))) as gone_on,
        arg_max(coalesce(removal_reason, 'vessel left the fleet'), coalesce(to_on, date '9999-12-31')) as gone_reason
    from duty.stay as stay join record.vessel using (imo_number)
    join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
    group by stay.unit_id
),
gone_word as (select unit_id, min(greatest(known_from, removed_on)) as known_from from known_unit where removed_on is not null group by unit_id),
reached as (
    select imo_number, starts_on, min(case when is_taken_up then (starts_on + to_months(12))::date else known_from end) as told_on
    from start_day join known_day on on_day >= (starts_on + to_months(12))::date where not is_now group by imo_number, starts_on
),
told as (
    select start.*, told_on, condemned_on, condemned_unit.known_from as condemned_known_on,
        case when gone_on > starts_on and gone_on <= ends_on and gone_on <= $as_of::date then gone_on end as gone_on, gone_reason,
        gone_word.known_from as gone_known_on,
        not is_now and ends_on <= $as_of::date and told_on is not null and coalesce(condemned_on > starts_on, true)
            and exists (from duty.counted as counted where counted.unit_id = start.unit_id and counted.from_on <= starts_on and starts_on < counted.to_on)
            as is_over
    from unit_start as start left join condemned_unit using (unit_id) left join gone using (unit_id) left join gone_word using (unit_id)
    left join reached using (imo_number, starts_on)
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
        else 1.0 end end as watched_share,
    case when is_over then told_on end as told_on,
    case when is_over and condemned_on <= ends_on then condemned_known_on end as condemned_known_on,
    case when is_over and coalesce(condemned_on > ends_on, true) and gone_on is not null then greatest(gone_on, gone_known_on) end as gone_known_on
from told left join start_service using (unit_id, starts_on, is_now) left join start_finding using (unit_id, starts_on, is_now)
left join start_test using (unit_id, starts_on, is_now) left join miss using (unit_id, starts_on, is_now)
left join batch using (unit_id, starts_on, is_now) left join others using (starts_on, is_now, batch)
left join aboard using (starts_on, is_now, imo_number)
order by starts_on, unit_id;
update figure.unit_half_year set gone_reason = null where gone_on is null;

drop table start_service;
drop table start_finding;
drop table start_test;
drop table unit_start;
drop table began;
drop table start_day;
drop table condemned_unit;
drop table condemned_word;
drop table known_day;
drop table known_vessel;
drop table known_unit;
drop table known_miss;
drop table known_finding;
drop table known_service;
drop table corrected;
drop table taken_up;
drop table event_day;
drop table file_day;
