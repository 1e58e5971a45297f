-- figure.number_now: one row is a vessel and a rule about its numbers in force on $as_of; where a rule counts by agent, or by
-- agent and size, one row for each. Units are those in service or laid up aboard; `units` those that the rule surely covers,
-- `unknown_units` those of which the register leaves out what would tell (form, space, agent, whether it can be refilled on
-- board). required is what `units` call for, required_at_most what they and the unknown ones would. held is what there is:
-- portable units, spare charges by the last count of each agent, whole spare units. usable leaves out what helps nobody: units
-- that figure.verdict calls unfit or condemned, charges of which there are more than units of their agent (and size), spare units
-- of another agent or size. Sizes are the same when they are to a tenth of a litre or kilogram. state: met, short, unknown.
-- short_by is the least that is missing for sure. reason says what is not known or not usable.
create table figure.number_now as
with rule as (
    select rule_id, imo_number, number.* exclude (rule_id), agents, forms, space_categories, source, clause, certainty,
        breach_label, gross_tonnage_from is not null and gross_tonnage is null as is_size_unknown
    from duty.vessel_in_force as force join duty.number as number using (rule_id)
    join (
        select rule_id, agents, forms, space_categories, gross_tonnage_from, source, clause, certainty, breach_label
        from duty.provision
    ) as provision using (rule_id)
    join record.vessel as vessel using (imo_number)
    where is_within($as_of::date, from_on, to_on) and is_within($as_of::date, coalesce(joined_on, $as_of::date), left_on)
),
aboard as (
    select unit_now.counted, unit.*, verdict.unit_id is not null as is_unfit
    from figure.unit_now as unit_now
    join record.unit as unit on unit.file_id = unit_now.file_id and unit.record_no = unit_now.record_no
        and unit.unit_id = unit_now.unit_id
    left join (select distinct imo_number, unit_id from figure.verdict where verdict in ('unfit', 'condemn')) as verdict
        on verdict.imo_number = unit.imo_number and verdict.unit_id = unit.unit_id
    where unit_now.counted <> 'ashore'
    qualify row_number() over (partition by unit.imo_number, unit.unit_id
        order by coalesce(unit.in_service_on, unit.made_on) desc, unit.in_service_on desc nulls last, unit.record_no) = 1
),
-- Whether a rule covers a unit: true, false, or null where the register does not tell.
asked as (
    select rule_id, aboard.*, measure, "by",
        (agents is null or list_contains(agents, agent)) and (forms is null or list_contains(forms, form))
        and (space_categories is null or list_contains(space_categories, space_category)) and case measure
            when 'spare_charges' then refillable_on_board and case when agent is not null then true end
            when 'spare_units' then not refillable_on_board and case when agent is not null then true end
            else true end as is_covered
    from rule join aboard using (imo_number) where counted <> 'spare'
),
-- An item is what one spare fits: an agent, or an agent and a size.
item as (
    select rule_id, imo_number, measure, "by", agent, case when is_sized then round(charge_l, 1) end as charge_l,
        case when is_sized then round(charge_kg, 1) end as charge_kg, is_sized, count(*) filter (is_covered) as units,
        count(*) filter (is_covered is null) as unknown_units, count(*) filter (is_covered and is_unfit) as unfit_units
    from (select *, measure = 'spare_units' or "by" = 'agent_and_size' as is_sized from asked)
    where coalesce(is_covered, true)
    group by all
),
last_count as (
    select * replace (round(charge_l, 1) as charge_l, round(charge_kg, 1) as charge_kg) from record.spare
    where counted_on <= $as_of::date
    qualify counted_on = max(counted_on) over (partition by imo_number, agent)
),
-- A count without a number, or without a size where sizes are asked, tells nothing of the item.
counted_charges as (
    select rule_id, item.imo_number, item.agent, item.charge_l, item.charge_kg, case
            when count(*) > count(spare_charges) or bool_or(is_sized and last_count.charge_l is null and last_count.charge_kg is null) then null
            else coalesce(sum(spare_charges) filter (not is_sized or (last_count.charge_l is not distinct from item.charge_l
                and last_count.charge_kg is not distinct from item.charge_kg)), 0) end as charges
    from item join last_count on last_count.imo_number = item.imo_number and last_count.agent = item.agent
    where measure = 'spare_charges' group by rule_id, item.imo_number, item.agent, item.charge_l, item.charge_kg
),
supplied as (
    select item.*, case item.measure
        when 'spare_units' then (
            select count(*) from aboard where aboard.imo_number = item.imo_number and counted = 'spare' and not is_unfit
                and aboard.agent = item.agent and round(aboard.charge_l, 1) is not distinct from item.charge_l
                and round(aboard.charge_kg, 1) is not distinct from item.charge_kg)
        when 'spare_charges' then charges
        end as item_held
    from item left join counted_charges as counted on counted.rule_id = item.rule_id and counted.imo_number = item.imo_number
        and counted.agent = item.agent and counted.charge_l is not distinct from item.charge_l
        and counted.charge_kg is not distinct from item.charge_kg
),
grouped as (
    select rule_id, imo_number, case when "by" in ('agent', 'agent_and_size') then agent end as agent,
        case when "by" = 'agent_and_size' then charge_l end as charge_l,
        case when "by" = 'agent_and_size' then charge_kg end as charge_kg,
        sum(units)::bigint as units, sum(unknown_units)::bigint as unknown_units, sum(unfit_units)::bigint as unfit_units,
        sum(item_held)::bigint as item_held,
        -- least() passes over a null, hence the filter: a count that nobody made covers no unit.
        sum(least(item_held, units + unknown_units)) filter (item_held is not null)::bigint as item_usable,
        coalesce(sum(units + unknown_units) filter (item_held is null), 0)::bigint as uncounted_units,
        array_to_string(list_sort(list_distinct(list(replace(coalesce(agent, 'an agent not stated'), '_', ' ')) filter (item_held is null))), ', ')
            as uncounted
    from supplied
    group by all
),
pooled as (
    select rule.*, grouped.agent, grouped.charge_l, grouped.charge_kg, coalesce(units, 0) as units,
        coalesce(unknown_units, 0) as unknown_units, coalesce(unfit_units, 0) as unfit_units,
        coalesce(uncounted_units, 0) as uncounted_units, uncounted, item_held, coalesce(item_usable, 0) as item_usable,
        (select count(*) from aboard where aboard.imo_number = rule.imo_number) = 0 as is_empty,
        -- Of the vessel as a whole, spares that fit no unit are held too.
        (select sum(spare_charges)::bigint from last_count where last_count.imo_number = rule.imo_number
            and (agents is null or list_contains(agents, last_count.agent))) as charges_aboard,
        (select count(*) from aboard where aboard.imo_number = rule.imo_number and counted = 'spare'
            and (agents is null or list_contains(agents, aboard.agent)) and (forms is null or list_contains(forms, aboard.form)))
            as units_aboard
    from rule left join grouped using (rule_id, imo_number)
    where grouped.rule_id is not null or coalesce("by", 'vessel') = 'vessel'
),
weighed as (
    select *, case when is_size_unknown or is_empty then null when measure = 'portable_units' then least
            else spares_required(units, first, share, cap) end as required,
        case when measure = 'portable_units' then least else spares_required(units + unknown_units, first, share, cap) end
            as required_at_most,
        case when measure = 'portable_units' then units when "by" <> 'vessel' then item_held
            when measure = 'spare_charges' then charges_aboard else units_aboard end as held,
        case when measure = 'portable_units' then units - unfit_units else item_usable end as usable,
        case measure when 'portable_units' then unknown_units when 'spare_charges' then uncounted_units else 0 end as maybe
    from pooled
),
settled as (
    select *, case when required is null then 'unknown' when usable >= required_at_most then 'met'
        when usable + maybe < required then 'short' else 'unknown' end as state
    from weighed
)
select imo_number, rule_id, measure, agent, charge_l, charge_kg, units, unknown_units, required,
    case when required is not null then required_at_most end as required_at_most, held, usable,
    case state when 'short' then required - usable - maybe when 'met' then 0 end as short_by, state,
    nullif(concat_ws('; ', case when is_size_unknown then 'gross tonnage is not stated' end,
        case when is_empty then 'no unit on the register' end,
        case when unknown_units > 0 then 'units of which the register does not tell: ' || unknown_units end,
        case when measure = 'portable_units' and unfit_units > 0 then 'units not fit, left out: ' || unfit_units end,
        case when measure = 'spare_charges' and uncounted is not null then 'no usable count of spare charges: ' || uncounted end,
        case when measure <> 'portable_units' and held > usable then 'held but of use to no unit: ' || (held - usable) end), '')
        as reason,
    source, clause, certainty, breach_label
from settled
order by imo_number, rule_id, agent, charge_l, charge_kg;
