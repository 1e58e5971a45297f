-- figure.service_failure: one row is a period of service ('all', 'last 12 months') and a provider ('*' = all): units that failed soon
-- after a satisfactory service. `services`: units serviced on a day, 90 days or more before $as_of; `followed`: those that somebody looked
-- at again within 90 days (and up to the next service); `failed`: of these, those with a new major or unfit defect, or an unsatisfactory
-- inspection that no defect known at the service explains. Limits let the services of one vessel and month go together.
create table figure.service_failure (
    period text, provider text, services bigint, followed bigint, followed_unit_days bigint, failed bigint, per_100 double, low double,
    high double, clusters bigint, effective_services double, difference double, difference_low double, difference_high double,
    verdict text, why_not text
);

-- figure.service_followed: one row is a unit serviced well on a day, and what was seen of it in the 90 days after.
create table figure.service_followed as
with visit as (
    select unit_id, serviced_on, min(imo_number) as imo_number,
        coalesce(bool_and(outcome = 'satisfactory'), false) and not bool_or(kind = 'condemn') as is_good
    from record.service where serviced_on <= $as_of::date group by unit_id, serviced_on
),
turn as (
    select *, least(serviced_on + 90, lead(serviced_on) over (partition by unit_id order by serviced_on)) as to_on from visit
),
good as (
    select turn.*, provider from turn join figure.served as served
        on served.unit_id = turn.unit_id and served.from_on = serviced_on + 1
    where is_good and serviced_on + 90 <= $as_of::date and turn.imo_number in (select imo_number from record.vessel)
),
first_found as (
    select unit_id, component, defect, defect_no, found_on as first_found_on from figure.defect_report where is_counted and not is_same_defect
),
bad_find as (
    select unit_id, found_on, first_found_on from figure.defect_report
    join first_found using (unit_id, component, defect, defect_no) where is_counted and severity in ('major', 'unfit')
),
failed as (
    select good.unit_id, serviced_on from good join bad_find on bad_find.unit_id = good.unit_id
        and found_on > serviced_on and found_on <= to_on and first_found_on > serviced_on
    union
    select good.unit_id, serviced_on from good join record.inspection as inspection on inspection.unit_id = good.unit_id
        and inspected_on > serviced_on and inspected_on <= to_on and inspection.outcome = 'unsatisfactory'
    where not exists (
        from figure.defect_lasting as known where known.unit_id = good.unit_id and known.found_on <= serviced_on
            and (known.closed_on is null or known.closed_on > inspected_on)
    )
),
looked as (
    select distinct good.unit_id, serviced_on from good join figure.look as look on look.unit_id = good.unit_id
        and looked_on > serviced_on and looked_on <= to_on
),
days as (
    select good.unit_id, serviced_on, sum(least(observed.to_on, good.to_on + 1) - greatest(from_on, serviced_on + 1)) as days
    from good join figure.observed as observed on observed.unit_id = good.unit_id
        and from_on <= good.to_on and observed.to_on > serviced_on + 1
    group by all
)
select good.imo_number, good.unit_id, good.serviced_on, good.provider, good.to_on, looked.unit_id is not null as is_looked_at,
    failed.unit_id is not null as is_failed, coalesce(days, 0) as unit_days
from good left join looked using (unit_id, serviced_on) left join failed using (unit_id, serviced_on)
left join days using (unit_id, serviced_on) order by good.unit_id, good.serviced_on;

-- one row is a period, a provider, a vessel and a month of service
create temp table service_cluster as
select period, provider, imo_number, date_trunc('month', serviced_on)::date as month, count(*) as services,
    count(*) filter (is_looked_at) as followed, coalesce(sum(unit_days) filter (is_looked_at), 0)::bigint as unit_days,
    count(*) filter (is_looked_at and is_failed) as failed
from figure.service_followed
join (values ('all', date '0001-01-01'), ('last 12 months', ($as_of::date + 1 - to_months(12))::date)) as span (period, start_on)
    on serviced_on >= start_on
group by all order by all;
