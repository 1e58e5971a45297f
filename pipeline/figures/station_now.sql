-- figure.station_now: one row is a station of a fire plan and how it stands on $as_of, with the unit that serves it best; and one
-- row is a unit aboard whose position no plan of its vessel has, or that has none (station columns empty). Positions are compared
-- as written, charges in whole grams and millilitres: a plan may round what was pounds or gallons. A vessel without a plan on
-- record, or out of the fleet, has no rows. state, of the best unit: filled; more than one unit (the best of them fills it);
-- unknown (the register leaves out the agent or the charge that the plan asks about); unfit (figure.verdict calls it unfit or
-- condemned); too small; wrong agent; not found (the last look said so); empty (nothing there, or only a unit that is ashore:
-- `reason` names it). is_covered is true for the first two only: an unfit unit, or one ashore, covers nothing. Of a unit without
-- a station: not on the plan, no position. Spare units have no station.
create table figure.station_now as
with station as (
    select station.* from record.station as station join record.vessel using (imo_number)
    where is_within($as_of::date, coalesce(joined_on, $as_of::date), left_on)
),
aboard as (
    select unit_now.*, verdict.reason as unfit_reason,
        coalesce(last_missed_outcome = 'not_found' and last_missed_on >= coalesce(in_service_on, last_missed_on)
            and coalesce(last_missed_on > last_inspected_on, true) and coalesce(last_missed_on > last_serviced_on, true), false)
            as is_lost
    from (
        from figure.unit_now
        qualify row_number() over (partition by imo_number, unit_id
            order by coalesce(in_service_on, made_on) desc, in_service_on desc nulls last, record_no) = 1
    ) as unit_now
    left join (
        select imo_number, unit_id, min(verdict || ': ' || reason) as reason from figure.verdict
        where verdict in ('unfit', 'condemn') group by imo_number, unit_id
    ) as verdict using (imo_number, unit_id)
    where counted <> 'spare'
),
paired as (
    select station.* exclude (charge_l, charge_kg), aboard.unit_id, aboard.agent, aboard.charge_l, aboard.charge_kg, unfit_reason,
        last_missed_on, aboard.file_id as unit_file_id, aboard.record_no as unit_record_no, aboard.line_no as unit_line_no, case
            when aboard.unit_id is null then 'empty' when counted = 'ashore' then 'ashore' when is_lost then 'not found'
            when agent <> required_agent then 'wrong agent'
            when round(aboard.charge_l, 3) < round(required_charge_l, 3)
                or round(aboard.charge_kg, 3) < round(required_charge_kg, 3) then 'too small'
            when unfit_reason is not null then 'unfit'
            when (required_agent is not null and agent is null) or (required_charge_l is not null and aboard.charge_l is null)
                or (required_charge_kg is not null and aboard.charge_kg is null) then 'unknown'
            else 'filled' end as fit
    from (select *, null as charge_l, null as charge_kg from station) as station
    left join aboard on aboard.imo_number = station.imo_number and aboard.position_no = station.position_no
),
best as (
    select *, count(unit_id) filter (fit not in ('ashore', 'not found')) over (partition by imo_number, position_no) as units,
        row_number() over (partition by imo_number, position_no
            order by list_position(
                ['filled', 'unknown', 'unfit', 'too small', 'wrong agent', 'not found', 'ashore', 'empty'], fit), unit_id)
            as place
    from paired
)
select imo_number, position_no, space_name, space_category, required_agent, required_charge_l, required_charge_kg,
    case when fit = 'ashore' then 'empty' when fit = 'filled' and units > 1 then 'more than one unit' else fit end as state,
    fit = 'filled' as is_covered, units, unit_id, agent, charge_l, charge_kg,
    case fit when 'ashore' then 'its unit is ashore' when 'not found' then 'not found on ' || last_missed_on
        when 'unfit' then unfit_reason when 'wrong agent' then replace(agent || ' instead of ' || required_agent, '_', ' ')
        when 'too small' then concat_ws(', ',
            case when round(charge_l, 3) < round(required_charge_l, 3)
                then charge_l || ' l instead of ' || required_charge_l || ' l' end,
            case when round(charge_kg, 3) < round(required_charge_kg, 3)
                then charge_kg || ' kg instead of ' || required_charge_kg || ' kg' end)
        when 'unknown' then 'the register does not state '
            || case when required_agent is not null and agent is null then 'the agent' else 'the charge' end end as reason,
    file_id, record_no, line_no, unit_file_id, unit_record_no, unit_line_no
from best where place = 1
union all by name
select imo_number, aboard.position_no, aboard.space_name, aboard.space_category,
    case when aboard.position_no is null then 'no position' else 'not on the plan' end as state, false as is_covered, unit_id,
    agent, charge_l, charge_kg, aboard.file_id as unit_file_id, aboard.record_no as unit_record_no, aboard.line_no as unit_line_no
from aboard semi join station as planned using (imo_number)
where counted <> 'ashore' and not exists (
    select 1 from station where station.imo_number = aboard.imo_number and station.position_no = aboard.position_no)
order by imo_number, position_no, unit_id;
