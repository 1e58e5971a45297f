-- figure.unit_now: one row is a stay that lasts on $as_of, with what is known of the unit and how it is counted
create table figure.unit_now as
with looked as (
    select unit_id, max(inspected_on) as last_inspected_on from record.inspection
    where inspected_on <= $as_of::date and was_seen(outcome) group by unit_id
),
serviced as (
    select unit_id, max(serviced_on) as last_serviced_on from record.service where serviced_on <= $as_of::date group by unit_id
),
open_finding as (
    select unit_id, count(distinct (component, defect)) as open_findings
    from record.finding where found_on <= $as_of::date and (closed_on is null or closed_on > $as_of::date) group by unit_id
),
overdue as (
    select imo_number, unit_id, count(*) as overdue_duties from figure.overdue_now where not is_group group by imo_number, unit_id
)
select unit.imo_number, unit.unit_id,
    case when unit.is_spare then 'spare'
        when unit.landed_from <= $as_of::date and ($as_of::date < unit.landed_to or unit.landed_to is null) then 'ashore'
        when vessel.laid_up_from <= $as_of::date and ($as_of::date < vessel.laid_up_to or vessel.laid_up_to is null) then 'laid up'
        else 'in service' end as counted,
    unit.position_no, unit.space_name, unit.space_category, unit.agent, unit.agent_detail, unit.foam_kind, unit.form,
    unit.expelled_by, unit.charge_l, unit.charge_kg, unit.lining, unit.maker, unit.model, unit.made_on, unit.made_on_precision,
    ($as_of::date - unit.made_on) / 365.25 as age_years, unit.in_service_on, last_inspected_on, last_serviced_on,
    coalesce(open_findings, 0) as open_findings, coalesce(overdue_duties, 0) as overdue_duties,
    unit.file_id, unit.record_no, unit.line_no
from record.unit as unit
join record.vessel as vessel using (imo_number)
left join looked using (unit_id) left join serviced using (unit_id) left join open_finding using (unit_id)
left join overdue on overdue.imo_number = unit.imo_number and overdue.unit_id = unit.unit_id
where coalesce(unit.in_service_on, unit.made_on) <= $as_of::date and ($as_of::date < unit.removed_on or unit.removed_on is null)
    and (vessel.joined_on is null or vessel.joined_on <= $as_of::date) and (vessel.left_on is null or $as_of::date < vessel.left_on)
order by unit.imo_number, unit.unit_id, unit.in_service_on;

-- figure.agent_mix: one row is a vessel, an agent, its detail and kind of foam: what is in service on $as_of. Charges are added
-- as decimals: a sum of doubles depends on the order of its terms.
create table figure.agent_mix as
with held as (
    select imo_number, agent, sum(spare_charges)::bigint as spare_charges_held
    from (
        select * from record.spare where counted_on <= $as_of::date
        qualify counted_on = max(counted_on) over (partition by imo_number, agent)
    )
    group by imo_number, agent
),
unit as (
    select * from figure.unit_now where counted = 'in service'
    qualify row_number() over (partition by imo_number, unit_id
        order by coalesce(in_service_on, made_on) desc, in_service_on desc nulls last) = 1
),
mix as (
    select imo_number, agent, agent_detail, foam_kind, count(*) as units, sum(charge_l::decimal(12, 4))::double as total_charge_l,
        sum(charge_kg::decimal(12, 4))::double as total_charge_kg,
        count(*) filter (foam_kind = 'chemical' or expelled_by = 'reaction') as obsolete_units
    from unit group by all
)
select imo_number, agent, agent_detail, foam_kind, coalesce(units, 0) as units, total_charge_l, total_charge_kg,
    coalesce(obsolete_units, 0) as obsolete_units,
    case when row_number() over (partition by imo_number, agent order by agent_detail, foam_kind) = 1
    then spare_charges_held end as spare_charges_held
from mix full join held using (imo_number, agent)
where units is not null or (spare_charges_held > 0 and imo_number in (
    select imo_number from record.vessel
    where (joined_on is null or joined_on <= $as_of::date) and (left_on is null or $as_of::date < left_on)))
order by imo_number, agent, agent_detail, foam_kind;

-- figure.freshness: one row is a vessel and the day of its last record, of any kind, on or before $as_of
create table figure.freshness as
with seen as (
    select imo_number, inspected_on as seen_on from record.inspection
    union all select imo_number, serviced_on from record.service
    union all select imo_number, found_on from record.finding
    union all select imo_number, counted_on from record.spare
)
select imo_number, max(seen_on) filter (seen_on <= $as_of::date) as last_record_on,
    $as_of::date - max(seen_on) filter (seen_on <= $as_of::date) as days_since
from record.vessel left join seen using (imo_number) group by imo_number order by imo_number;
