-- one row is a unit aboard on the day
with against as (
    select unit_id, min(case verdict when 'condemn' then 0 when 'unfit' then 1 when 'placement' then 2 else 3 end) as worst from (
        select unit_id, verdict from figure.verdict where imo_number = $imo_number
        union all select unit_id, verdict from figure.placement_now where imo_number = $imo_number
    ) group by unit_id
),
late as (
    select unit_id, string_agg(said(duty), ', ' order by duty) as duties from figure.duty_now
    where imo_number = $imo_number and state = 'overdue' and not is_group group by unit_id
)
select unit_id, concat_ws(', ', position_no, space_name), concat_ws(' ', said(agent), coalesce(charge_l || ' l', charge_kg || ' kg'), form),
    case made_on_precision when 'year' then year(made_on)::varchar when 'month' then strftime(made_on, '%Y-%m') else made_on::varchar end,
    last_inspected_on, last_serviced_on,
    concat_ws('; ', nullif(counted, 'in service'), case worst when 0 then 'to condemn' when 1 then 'unfit' when 2 then 'wrong place or kind'
        when 3 then 'to be looked at' end, 'overdue: ' || duties, nullif(open_findings, 0) || if(open_findings = 1, ' open finding', ' open findings')),
    place(file_id, record_no, line_no)
from figure.unit_now left join against using (unit_id) left join late using (unit_id)
where imo_number = $imo_number order by position_no nulls last, unit_id
