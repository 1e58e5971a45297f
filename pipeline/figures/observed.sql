-- figure.look: one row is a day on or before $as_of on which somebody looked at a unit on a vessel: an inspection that saw it, a
-- service or a finding.
create table figure.look as
with other as (
    select unit_id, imo_number, serviced_on as looked_on from record.service where serviced_on <= $as_of::date
    union select unit_id, imo_number, found_on from record.finding where found_on <= $as_of::date
),
-- A unit has one inspection a day, and record.inspection is in order of units: only what else was done on other days is put in order.
inspected as not materialized (
    select unit_id, imo_number, inspected_on as looked_on from record.inspection where was_seen(outcome) and inspected_on <= $as_of::date
)
select * from inspected
union all
(select * from other anti join inspected using (unit_id, imo_number, looked_on) order by all);

-- figure.observed: one row is a stretch of days [from_on, to_on) on which a unit was under observation on a vessel: in service, from
-- the vessel's first record on, to the unit's last look (inspection that saw it, service or finding) on or before $as_of. A day
-- counts once, however many stays of a unit on one vessel overlap on it; the stay that began last tells what the unit is.
create table figure.observed as
with last_look as (select unit_id, max(looked_on) as last_looked_on from figure.look group by unit_id),
first_look as (select imo_number, min(looked_on) as first_looked_on from figure.look group by imo_number),
watched_stay as (
    select counted.imo_number, counted.unit_id, coalesce(unit.agent, 'not stated') as agent,
        coalesce(unit.space_category, 'not stated') as space_category, coalesce(nullif(unit.maker, '*'), 'not stated') as maker,
        greatest(counted.from_on, first_looked_on) as from_on,
        least(counted.to_on, last_looked_on + 1) as to_on, stay.stay_no, stay.from_on as began_on, unit.in_service_on,
        unit.removed_on
    from duty.counted as counted join duty.stay as stay using (stay_no)
    join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
    join last_look on last_look.unit_id = counted.unit_id
    join first_look on first_look.imo_number = counted.imo_number
    where greatest(counted.from_on, first_looked_on) < least(counted.to_on, last_looked_on + 1)
),
cut as (
    select imo_number, unit_id, from_on as day from watched_stay union select imo_number, unit_id, to_on from watched_stay
),
slice as (
    select imo_number, unit_id, day as from_on, lead(day) over (partition by imo_number, unit_id order by day) as to_on from cut
)
select slice.imo_number, slice.unit_id, agent, space_category, maker, slice.from_on, slice.to_on, removed_on
from slice join watched_stay as stay on stay.imo_number = slice.imo_number and stay.unit_id = slice.unit_id
    and stay.from_on <= slice.from_on and slice.to_on <= stay.to_on
qualify row_number() over (partition by slice.imo_number, slice.unit_id, slice.from_on
    order by began_on desc, in_service_on desc nulls last, stay_no) = 1
order by slice.imo_number, slice.unit_id, slice.from_on;

-- figure.served: one row is a unit and a stretch of days [from_on, to_on) since a service by a provider: from the day after it to the
-- day of the next one, which still tells of the work before. Before the first service the provider is 'not serviced yet'.
create table figure.served as
with visit as (
    select unit_id, serviced_on, case when min(coalesce(provider, '')) <> max(coalesce(provider, '')) then 'several on one day'
        else coalesce(nullif(min(provider), '*'), 'not stated') end as provider
    from record.service where serviced_on <= $as_of::date and kind <> 'condemn' group by unit_id, serviced_on
),
turn as (
    select unit_id, serviced_on + 1 as from_on, provider from visit
    union all select distinct unit_id, date '0001-01-01', 'not serviced yet' from figure.look
)
select unit_id, provider, from_on, coalesce(lead(from_on) over (partition by unit_id order by from_on), date '9999-12-31') as to_on
from turn order by unit_id, from_on;
