-- one row is a rule that binds a vessel ($imo_number; null: any of the fleet) on $as_of: what it asks, of whom, how many units aboard
-- it covers on that day, and which rules take its place for some
with bound as (
    select distinct rule.rule_no
    from duty.provision as rule join duty.binding as binding using (regime_slug)
    join record.vessel as vessel on (binding.flag is null or binding.flag = vessel.flag)
        and (binding.vessels is null or list_contains(binding.vessels, imo_number))
    where ($imo_number is null or imo_number = $imo_number) and (rule.vessels is null or list_contains(rule.vessels, imo_number))
        and is_within($as_of::date, coalesce(effective_from, date '0001-01-01'), effective_until)
),
covered as (
    select rule_id, count(distinct unit_id) as units
    from duty.in_force as force join duty.stay as stay using (stay_no)
    where ($imo_number is null or imo_number = $imo_number) and is_within($as_of::date, force.from_on, force.to_on)
        and is_within($as_of::date, stay.from_on, stay.to_on)
    group by rule_id
),
numbered as (
    select rule_id, count(distinct imo_number) as vessels from duty.vessel_in_force
    where ($imo_number is null or imo_number = $imo_number) and is_within($as_of::date, from_on, to_on) group by rule_id
),
yielding as (
    select of_rule_id as rule_id, string_agg(replaced.rule_id, ', ' order by replaced.rule_id) as yields_to
    from duty.replaced as replaced join duty.provision as taker on taker.rule_id = replaced.rule_id
    where taker.rule_no in (select rule_no from bound)
    group by of_rule_id
)
select to_json(rule)::varchar, to_json(coalesce(duty, {'duty': null}))::varchar, detail::varchar, coalesce(units, 0),
    coalesce(numbered.vessels, 0), yields_to
from duty.provision as rule join bound using (rule_no)
left join (select rule_id, {'duty': duty, 'counts': counts, 'interval_months': interval_months, 'grace_months': grace_months,
    'anchor': anchor} as duty from duty.rule) using (rule_id)
left join (
    select rule_id, to_json(asked) as detail from duty."limit" as asked
    union all select rule_id, to_json(asked) from duty.ground as asked
    union all select rule_id, to_json(asked) from duty.placement as asked
    union all select rule_id, to_json(asked) from duty.number as asked
) using (rule_id)
left join covered using (rule_id) left join numbered using (rule_id) left join yielding using (rule_id)
order by rule_no;
