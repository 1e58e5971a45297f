-- figure.agent_mix: one row is a vessel, an agent, its detail and kind of foam: what is in service on $as_of. Charges are added
-- as decimals: a sum of doubles depends on the order of its terms. Spare charges stand on the first row of their agent.
-- spare_charges_required reads the vessel's rule for spare charges of each agent by itself (each has its own first ten): never
-- less, added up, than what the rule asks of the vessel as one pool, which figure.number_now has. It is of units known to be
-- refillable on board; refill_unknown_units counts those of which nobody said. Null where no rule binds, or nothing is known of
-- any unit. unsuitable_placements counts units that stand where a rule says they may not; doubtful ones are not in it.
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
    select unit_now.*, refillable_on_board
    from figure.unit_now as unit_now
    join record.unit as unit on unit.file_id = unit_now.file_id and unit.record_no = unit_now.record_no
        and unit.unit_id = unit_now.unit_id
    where counted = 'in service'
    qualify row_number() over (partition by unit_now.imo_number, unit_now.unit_id
        order by coalesce(unit_now.in_service_on, unit_now.made_on) desc, unit_now.in_service_on desc nulls last) = 1
),
misplaced as (select distinct imo_number, unit_id, true as is_misplaced from figure.placement_now where breach = 'unsuitable'),
mix as (
    select imo_number, agent, agent_detail, foam_kind, count(*) as units, sum(charge_l::decimal(12, 4))::double as total_charge_l,
        sum(charge_kg::decimal(12, 4))::double as total_charge_kg,
        count(*) filter (foam_kind = 'chemical' or expelled_by = 'reaction') as obsolete_units,
        count(*) filter (is_misplaced) as unsuitable_placements
    from unit left join misplaced using (imo_number, unit_id) group by all
),
spare_rule as (
    select imo_number, number.*, agents, forms, space_categories
    from duty.vessel_in_force as force join duty.number as number using (rule_id)
    join (select rule_id, agents, forms, space_categories from duty.provision) using (rule_id)
    where measure = 'spare_charges' and is_within($as_of::date, from_on, to_on)
),
-- What each agent (and size, where the rule counts by size) calls for; of several rules of a vessel, the one that asks most.
sized as (
    select unit.imo_number, unit.agent, rule_id, count(*) filter (refillable_on_board is null) as unknown_units,
        count(refillable_on_board) as told_units,
        spares_required(count(*) filter (refillable_on_board), first, share, cap) as spares
    from unit join spare_rule as rule on rule.imo_number = unit.imo_number
        and (agents is null or list_contains(agents, agent)) and (forms is null or list_contains(forms, form))
        and (space_categories is null or list_contains(space_categories, space_category))
    group by unit.imo_number, unit.agent, rule_id, first, share, cap,
        case when "by" = 'agent_and_size' then [round(charge_l, 1), round(charge_kg, 1)] end
),
required as (
    select imo_number, agent, max(spares) as spare_charges_required, max(unknown_units) as refill_unknown_units
    from (
        select imo_number, agent, rule_id, case when sum(told_units) > 0 then sum(spares) end::bigint as spares,
            sum(unknown_units)::bigint as unknown_units
        from sized group by imo_number, agent, rule_id
    )
    group by imo_number, agent
)
select imo_number, agent, agent_detail, foam_kind, coalesce(units, 0) as units, total_charge_l, total_charge_kg,
    coalesce(obsolete_units, 0) as obsolete_units, case when is_first then spare_charges_held end as spare_charges_held,
    case when is_first then spare_charges_required end as spare_charges_required,
    coalesce(unsuitable_placements, 0) as unsuitable_placements,
    case when is_first then refill_unknown_units end as refill_unknown_units
from (
    select *, row_number() over (partition by imo_number, agent order by agent_detail, foam_kind) = 1 as is_first
    from mix full join held using (imo_number, agent)
)
left join required using (imo_number, agent)
where units is not null or (spare_charges_held > 0 and imo_number in (
    select imo_number from record.vessel where is_within($as_of::date, coalesce(joined_on, $as_of::date), left_on)))
order by imo_number, agent, agent_detail, foam_kind;
