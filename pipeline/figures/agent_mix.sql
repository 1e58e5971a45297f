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
    select imo_number from record.vessel where is_within($as_of::date, coalesce(joined_on, $as_of::date), left_on)))
order by imo_number, agent, agent_detail, foam_kind;
