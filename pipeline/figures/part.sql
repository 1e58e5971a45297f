-- figure.overdue_part: one row is a calendar month of the last 36, a vessel, an agent and a kind of space: units and units overdue on any
-- duty that counts on its last day, unit-days and unit-days overdue in it. Added up they give the rows of figure.overdue_monthly: a
-- unit has on a vessel the agent and space of its last stay there. In this file stands what a reader may choose from and add up.
create table figure.overdue_part as
with month as (
    select month_end, date_trunc('month', month_end)::date as start_on
    from (select distinct month_end from figure.overdue_monthly order by month_end desc limit 36)
),
trait as (
    select stay.imo_number, stay.unit_id, coalesce(unit.agent, 'not stated') as agent,
        coalesce(unit.space_category, 'not stated') as space_category
    from duty.stay as stay join record.unit as unit
        on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
    where stay.from_on <= $as_of::date
    qualify row_number() over (partition by stay.imo_number, stay.unit_id order by stay.from_on desc, stay.stay_no desc) = 1
),
cut as (
    select month_end, imo_number, unit_id, measure, from_on <= month_end and to_on > month_end as is_at_end,
        least(to_on, month_end + 1) - greatest(from_on, start_on) as days
    from figure.count_interval join month on from_on <= month_end and to_on > start_on
    where duty = '*' and measure in ('unit', 'overdue')
)
select month_end, imo_number, agent, space_category, count(*) filter (measure = 'unit' and is_at_end) as units,
    count(*) filter (measure = 'overdue' and is_at_end) as overdue,
    coalesce(sum(days) filter (measure = 'unit'), 0)::bigint as unit_days,
    coalesce(sum(days) filter (measure = 'overdue'), 0)::bigint as overdue_unit_days
from cut join trait using (imo_number, unit_id) group by all order by all;

-- figure.watched_part: one row is a calendar month of the last 36, a vessel, an agent and a kind of space: days on which units were under
-- observation in it, as figure.defect_rate counts them.
create table figure.watched_part as
with month as (
    select month_end, date_trunc('month', month_end)::date as start_on
    from (select distinct month_end from figure.overdue_monthly order by month_end desc limit 36)
)
select month_end, imo_number, agent, space_category,
    sum(least(to_on, month_end + 1) - greatest(from_on, start_on))::bigint as unit_days
from figure.observed join month on from_on <= month_end and to_on > start_on group by all order by all;

-- figure.defect_part: one row is a calendar month of the last 36, a vessel, an agent, a kind of space, a component and a defect: distinct
-- defects found in it, as figure.defect_rate counts them.
create table figure.defect_part as
with month as (select distinct month_end from figure.overdue_monthly order by month_end desc limit 36)
select month_end, imo_number, agent, space_category, component, defect, count(*) as findings
from figure.defect_report
join month on found_on >= date_trunc('month', month_end)::date and found_on <= month_end
where is_counted and not is_same_defect group by all order by all;

-- figure.agent_part: one row is a vessel, an agent and a kind of space: units in service on $as_of, as figure.agent_mix counts them.
create table figure.agent_part as
select imo_number, agent, space_category, count(*) as units
from (
    select imo_number, unit_id, coalesce(agent, 'not stated') as agent, coalesce(space_category, 'not stated') as space_category
    from figure.unit_now where counted = 'in service'
    qualify row_number() over (partition by imo_number, unit_id
        order by coalesce(in_service_on, made_on) desc, in_service_on desc nulls last) = 1
)
group by all order by all;
