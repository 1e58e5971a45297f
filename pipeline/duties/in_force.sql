-- duty.candidate: one row is a rule that covers a stay, with the days [from_on, to_on) on which it does, before the layers
-- are settled. An attribute that the register leaves empty matches no scope.
create temp table candidate as
with first_test as (
    select unit_id, min(serviced_on) as tested_on from record.service where kind = 'pressure_test' and outcome = 'satisfactory'
    group by unit_id
),
bound as (
    select rule.*, imo_number, max(binding.rank) as rank
    from duty.provision as rule join duty.binding as binding using (regime_slug)
    join record.vessel as vessel on (binding.flag is null or binding.flag = vessel.flag)
        and (binding.vessels is null or list_contains(binding.vessels, imo_number))
    where (rule.vessels is null or list_contains(rule.vessels, imo_number))
        and (air_temp_below_c is null or lowest_air_temp_c < air_temp_below_c)
        and (gross_tonnage_from is null or gross_tonnage >= gross_tonnage_from)
        and (built_from_year is null or built_year >= built_from_year)
        and (built_before_year is null or built_year < built_before_year)
        and kind <> 'number'
    group by all
)
select rule_id, kind, rank, stay.stay_no,
    greatest(coalesce(effective_from, date '0001-01-01'), case when age_from_months is null then date '0001-01-01'
        else due_date(stay.made_on, age_from_months) end, case when tested_before then tested_on else date '0001-01-01' end) as from_on,
    least(coalesce(effective_until, date '9999-12-31'), case when age_until_months is null then date '9999-12-31'
        else due_date(stay.made_on, age_until_months) end) as to_on
from duty.stay as stay
join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
join bound on bound.imo_number = stay.imo_number
left join first_test on first_test.unit_id = stay.unit_id
where (agents is null or list_contains(agents, unit.agent)) and (forms is null or list_contains(forms, unit.form))
    and (bound.expelled_by is null or list_contains(bound.expelled_by, unit.expelled_by))
    and (foam_kinds is null or list_contains(foam_kinds, foam_kind)) and (linings is null or list_contains(linings, lining))
    and (space_categories is null or list_contains(space_categories, space_category))
    and (space_names is null or has_word(space_name, space_names))
    and (agent_details is null or has_word(agent_detail, agent_details))
    and (without_details is null or not has_word(agent_detail, without_details))
    and (shell_materials is null or has_word(shell_material, shell_materials))
    and (charge_above is null or coalesce(unit.charge_kg, unit.charge_l) > charge_above)
    and (charge_up_to is null or coalesce(unit.charge_kg, unit.charge_l) <= charge_up_to)
    and (cartridge_ml_up_to is null or cartridge_ml <= cartridge_ml_up_to)
    and (made_from is null or stay.made_on >= made_from) and (made_before is null or stay.made_on < made_before)
    and (age_from_months is null and age_until_months is null or stay.made_on is not null)
    and (tested_before is null or not tested_before or tested_on is not null);

-- Where a rule of the same stay takes another's place, the other's days are cut out.
create temp table kept as
with hidden as (
    select old.stay_no, old.rule_id, greatest(old.from_on, new.from_on) as from_on, least(old.to_on, new.to_on) as to_on
    from candidate as old join duty.replaced as replaced on replaced.of_rule_id = old.rule_id
    join candidate as new on new.rule_id = replaced.rule_id and new.stay_no = old.stay_no
    where greatest(old.from_on, new.from_on) < least(old.to_on, new.to_on)
),
touched as (select distinct stay_no, rule_id from hidden),
point as (
    select stay_no, rule_id, from_on as day from candidate semi join touched using (stay_no, rule_id)
    union select stay_no, rule_id, to_on from candidate semi join touched using (stay_no, rule_id)
    union select stay_no, rule_id, from_on from hidden union select stay_no, rule_id, to_on from hidden
),
slice as (
    select stay_no, rule_id, day as from_on, lead(day) over (partition by stay_no, rule_id order by day) as to_on from point
)
select candidate.* from candidate anti join touched using (stay_no, rule_id) where from_on < to_on
union all
select slice.rule_id, kind, rank, slice.stay_no, slice.from_on, slice.to_on
from slice join candidate using (stay_no, rule_id)
where slice.to_on is not null and not exists (
    select 1 from hidden where hidden.stay_no = slice.stay_no and hidden.rule_id = slice.rule_id
        and hidden.from_on <= slice.from_on and slice.to_on <= hidden.to_on);

-- Of several rules for one duty the shortest governs; of equal ones that of the stronger layer.
create temp table governing as
with asked as (
    select kept.*, duty, counts, interval_months + coalesce(grace_months, 0) as months
    from kept join duty.rule as rule using (rule_id)
),
point as (
    select stay_no, duty, counts, from_on as day from asked union select stay_no, duty, counts, to_on from asked
),
slice as (
    select stay_no, duty, counts, day as from_on, lead(day) over (partition by stay_no, duty, counts order by day) as to_on from point
),
chosen as (
    select slice.stay_no, duty, counts, slice.from_on, slice.to_on, rule_id, asked.rank
    from slice join asked using (stay_no, duty, counts)
    where asked.from_on <= slice.from_on and slice.to_on <= asked.to_on
    qualify row_number() over (partition by slice.stay_no, duty, counts, slice.from_on order by months, asked.rank desc, rule_id) = 1
),
numbered as (
    select *, count(*) filter (is_new) over (partition by stay_no, duty, counts, rule_id order by from_on rows unbounded preceding) as run_no
    from (
        select *, lag(to_on) over (partition by stay_no, duty, counts, rule_id order by from_on) is distinct from from_on as is_new
        from chosen
    )
)
select rule_id, stay_no, min(from_on) as from_on, max(to_on) as to_on from numbered group by rule_id, stay_no, duty, counts, run_no;

-- duty.in_force: one row is a stretch of days [from_on, to_on) on which a rule binds a stay, layers settled
create table duty.in_force as
select * from (
    select rule_id, stay_no, from_on, to_on from governing
    union all select rule_id, stay_no, from_on, to_on from kept where kind not in ('duty', 'drop')
) order by rule_id, stay_no, from_on;
drop table candidate;
drop table kept;
drop table governing;
delete from duty.rule where rule_id not in (select rule_id from duty.in_force);
delete from duty.satisfied_by where rule_id not in (select rule_id from duty.rule);

-- duty.vessel_in_force: one row is a stretch of days on which a rule about a vessel's numbers binds it
create table duty.vessel_in_force as
with bound as (
    select rule_id, imo_number, coalesce(effective_from, date '0001-01-01') as from_on,
        coalesce(effective_until, date '9999-12-31') as to_on
    from duty.provision as rule join duty.binding as binding using (regime_slug)
    join record.vessel as vessel on (binding.flag is null or binding.flag = vessel.flag)
        and (binding.vessels is null or list_contains(binding.vessels, imo_number))
    where kind in ('number', 'drop') and (rule.vessels is null or list_contains(rule.vessels, imo_number))
        and (gross_tonnage_from is null or coalesce(gross_tonnage >= gross_tonnage_from, true))
        and (built_from_year is null or built_year >= built_from_year)
        and (built_before_year is null or built_year < built_before_year)
    group by all
),
hidden as (
    select old.rule_id, old.imo_number, new.from_on, new.to_on
    from bound as old join duty.replaced as replaced on replaced.of_rule_id = old.rule_id
    join bound as new on new.rule_id = replaced.rule_id and new.imo_number = old.imo_number
),
point as (
    select rule_id, imo_number, from_on as day from bound union select rule_id, imo_number, to_on from bound
    union select rule_id, imo_number, from_on from hidden union select rule_id, imo_number, to_on from hidden
),
slice as (
    select rule_id, imo_number, day as from_on, lead(day) over (partition by rule_id, imo_number order by day) as to_on from point
)
select slice.rule_id, slice.imo_number, slice.from_on, slice.to_on
from slice join bound using (rule_id, imo_number) join duty.provision as rule using (rule_id)
where rule.kind = 'number' and bound.from_on <= slice.from_on and slice.to_on <= bound.to_on and not exists (
    select 1 from hidden where hidden.rule_id = slice.rule_id and hidden.imo_number = slice.imo_number
        and hidden.from_on <= slice.from_on and slice.to_on <= hidden.to_on)
order by all;

-- duty.sample_group: one row is a unit of a group from which a sample is taken. A unit that was ever in the group aboard
-- that vessel, spares included, lends it its date of manufacture and its tests.
create table duty.sample_group as
select distinct rule_id, imo_number, group_id, unit_id
from duty.in_force join duty.stay using (stay_no) semi join (from duty.rule where counts = 'group') as rule using (rule_id);
