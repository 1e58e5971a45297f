-- figure.unit_now: one row is a stay that lasts on $as_of, with what is known of the unit and how it is counted
create table figure.unit_now as
with looked as (
    select unit_id, max(inspected_on) as last_inspected_on from record.inspection
    where inspected_on <= $as_of::date and was_seen(outcome) group by unit_id
),
serviced as (
    select unit_id, max(serviced_on) as last_serviced_on from record.service where serviced_on <= $as_of::date group by unit_id
),
missed as (
    select unit_id, max(inspected_on) as last_missed_on, max_by(outcome, inspected_on) as last_missed_outcome from record.inspection
    where inspected_on <= $as_of::date and not was_seen(outcome) group by unit_id
),
open_finding as (
    select unit_id, count(distinct (component, defect)) as open_findings, case max(case severity when 'unfit' then 3
        when 'major' then 2 when 'minor' then 1 end) when 3 then 'unfit' when 2 then 'major' when 1 then 'minor' end
        as worst_open_severity
    from record.finding where found_on <= $as_of::date and (closed_on is null or closed_on > $as_of::date) group by unit_id
),
overdue as (
    select imo_number, unit_id, count(*) as overdue_duties from figure.overdue_now where not is_group group by imo_number, unit_id
)
select unit.imo_number, unit.unit_id,
    case when unit.is_spare then 'spare'
        when is_within($as_of::date, unit.landed_from, unit.landed_to) then 'ashore'
        when is_within($as_of::date, vessel.laid_up_from, vessel.laid_up_to) then 'laid up'
        else 'in service' end as counted,
    unit.position_no, unit.space_name, unit.space_category, unit.agent, unit.agent_detail, unit.foam_kind, unit.form,
    unit.expelled_by, unit.charge_l, unit.charge_kg, unit.lining, unit.maker, unit.model, unit.made_on, unit.made_on_precision,
    ($as_of::date - unit.made_on) / 365.25 as age_years, unit.in_service_on, last_inspected_on, last_serviced_on,
    last_missed_on, last_missed_outcome, coalesce(open_findings, 0) as open_findings, worst_open_severity, coalesce(overdue_duties, 0) as overdue_duties,
    unit.file_id, unit.record_no, unit.line_no
from record.unit as unit
join record.vessel as vessel using (imo_number)
left join looked using (unit_id) left join serviced using (unit_id) left join missed using (unit_id)
left join open_finding using (unit_id)
left join overdue on overdue.imo_number = unit.imo_number and overdue.unit_id = unit.unit_id
where is_within($as_of::date, coalesce(unit.in_service_on, unit.made_on), unit.removed_on)
    and is_within($as_of::date, coalesce(vessel.joined_on, $as_of::date), vessel.left_on)
order by unit.imo_number, unit.unit_id, unit.in_service_on;
