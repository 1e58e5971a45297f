-- one row is a rule and a vessel that it binds
create temp table bound_vessel as
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
group by all;

-- one row is a row of the register; of units that are described alike one is held against the words of the rules: searching texts is
-- slow, and there are few of them
create temp table described as
select file_id, record_no, unit_id, agent, form, expelled_by, foam_kind, lining, space_category, space_name, agent_detail,
    shell_material, charge_kg, charge_l, cartridge_ml, dense_rank() over (order by agent, form, expelled_by, foam_kind, lining,
        space_category, space_name, agent_detail, shell_material, charge_kg, charge_l, cartridge_ml) as sort_no
from record.unit;

-- one row is a rule and a description that it speaks of. An attribute that the register leaves empty matches no scope.
create temp table suited as
select sort_no, rule_id
from (select distinct described.* exclude (file_id, record_no, unit_id) from described) as sort join duty.provision as rule
    on (agents is null or list_contains(agents, agent)) and (forms is null or list_contains(forms, form))
    and (rule.expelled_by is null or list_contains(rule.expelled_by, sort.expelled_by))
    and (foam_kinds is null or list_contains(foam_kinds, foam_kind)) and (linings is null or list_contains(linings, lining))
    and (space_categories is null or list_contains(space_categories, space_category))
    and (space_names is null or has_word(space_name, space_names))
    and (agent_details is null or has_word(agent_detail, agent_details))
    and (without_details is null or not has_word(agent_detail, without_details))
    and (shell_materials is null or has_word(shell_material, shell_materials))
    and (charge_above is null or coalesce(charge_kg, charge_l) > charge_above)
    and (charge_up_to is null or coalesce(charge_kg, charge_l) <= charge_up_to)
    and (cartridge_ml_up_to is null or cartridge_ml <= cartridge_ml_up_to);

-- one row is a unit and the day of its first pressure test
create temp table first_test as
select unit_id, min(serviced_on) as tested_on from record.service where kind = 'pressure_test' and outcome = 'satisfactory'
group by unit_id;

-- The rules of `wanted` (rule_id) that cover a stay, with the days [from_on, to_on) on which each does, before the layers are settled.
create or replace macro covering(wanted) as table
select rule_id, kind, rank, stay.stay_no as covered, true as is_sure,
    greatest(coalesce(effective_from, date '0001-01-01'), case when age_from_months is null then date '0001-01-01'
        else due_date(stay.made_on, age_from_months) end, case when tested_before then tested_on else date '0001-01-01' end) as from_on,
    least(coalesce(effective_until, date '9999-12-31'), case when age_until_months is null then date '9999-12-31'
        else due_date(stay.made_on, age_until_months) end) as to_on
from duty.stay as stay
join described on described.file_id = stay.file_id and described.record_no = stay.record_no and described.unit_id = stay.unit_id
join (from suited semi join query_table(wanted) as wanted using (rule_id)) as suited using (sort_no)
join bound_vessel as bound using (rule_id, imo_number)
left join first_test on first_test.unit_id = stay.unit_id
where (made_from is null or stay.made_on >= made_from) and (made_before is null or stay.made_on < made_before)
    and (age_from_months is null and age_until_months is null or stay.made_on is not null)
    and (tested_before is null or not tested_before or tested_on is not null);

-- one row is a pair of rules for one duty, of which the strong one never falls due later than the weak one, whatever the records
-- say: no longer to wait, the same first basis and anchor, satisfied by nothing that the other would not take, called for by all
-- that calls for the other. Rules on groups are all asked: one that covers some units of a group would leave the rest a group of
-- their own, without the others' dates. So are those whose dates run from the day due: a plan that one piece of work starts anew may
-- run behind or ahead of another. Of two that are each as strong as the other both pairs stand here.
create temp table no_laxer as
with pair as (
    select strong.rule_id as strong_id, weak.rule_id as weak_id
    from duty.rule as strong join duty.rule as weak using (duty, counts, first_basis, anchor)
    where strong.rule_id <> weak.rule_id and strong.in_any >= weak.in_any and counts = 'unit' and anchor = 'done'
        and case when strong.interval_months = weak.interval_months
                then coalesce(strong.grace_months, 0) <= coalesce(weak.grace_months, 0)
            else strong.interval_months + coalesce(strong.grace_months, 0) < weak.interval_months + coalesce(weak.grace_months, 0) end
),
-- what satisfies the strong one and would not satisfy the weak one
laxer as (
    select strong_id, weak_id from pair join duty.satisfied_by as taken on taken.rule_id = strong_id
    where not exists (
        from duty.satisfied_by as also where also.rule_id = weak_id and also.record = taken.record
            and coalesce(also.kind = taken.kind, also.kind is null)
            and coalesce(also.is_examination = taken.is_examination, also.is_examination is null)
            and coalesce(also.tested_part = taken.tested_part, also.tested_part is null))
    union all
    -- what calls for the weak one and would not call for the strong one
    select strong_id, weak_id from pair join duty.triggered_by as calling on calling.rule_id = weak_id
    where not exists (
        from duty.triggered_by as also where also.rule_id = strong_id
            and coalesce(also.component = calling.component, also.component is null)
            and coalesce(also.defect = calling.defect, also.defect is null)
            and coalesce(also.severity = calling.severity, also.severity is null))
)
select strong_id, weak_id from pair anti join laxer using (strong_id, weak_id);

-- one row is a rule that may take another's place, take it away or outdo it, or that another may: few do, and the others, which cover
-- most stays, are in force wherever they cover one
create temp table contested as
select rule_id from duty.replaced union select of_rule_id from duty.replaced
union select strong_id from no_laxer union select weak_id from no_laxer;
create temp table uncontested as select rule_id from duty.provision except select rule_id from contested;

-- one row is a contested rule that covers a stay
create temp table candidate as from covering(contested);

-- Rules taken away go first, so that what such a rule had replaced stands again; then those whose place another takes.
create temp table cut as from days_taken(candidate, true);
create temp table standing as from days_left(candidate, cut);
create or replace temp table cut as from days_taken(standing, false);
create temp table kept as from days_left(standing, cut);

-- A rule for a duty gives way to one that is no laxer; of two alike, to that of the stronger layer. Where none is the stricter in all,
-- each is asked, and the figures go by what falls due first.
create or replace temp table cut as
select weak.covered, weak.rule_id, strong.from_on, strong.to_on
from no_laxer join kept as strong on strong.rule_id = strong_id join kept as weak on weak.rule_id = weak_id
    and weak.covered = strong.covered
where (strong.rank, weak.rule_id) > (weak.rank, strong.rule_id)
    or not exists (from no_laxer as back where back.strong_id = no_laxer.weak_id and back.weak_id = no_laxer.strong_id);

-- duty.in_force: one row is a stretch of days [from_on, to_on) on which a rule binds a stay, layers settled
create table duty.in_force as
select rule_id, covered as stay_no, from_on, to_on
from (
    select rule_id, covered, from_on, to_on from days_left(kept, cut)
    union all
    select rule_id, covered, from_on, to_on from covering(uncontested) where from_on < to_on
)
order by rule_id, stay_no, from_on;
drop table first_test;
drop table suited;
drop table described;
drop table bound_vessel;
drop table contested;
drop table uncontested;
delete from duty.rule where rule_id not in (select rule_id from duty.in_force);
delete from duty.satisfied_by where rule_id not in (select rule_id from duty.rule);

-- duty.vessel_in_force: one row is a stretch of days on which a rule about a vessel's numbers binds it. One that asks for a gross
-- tonnage binds a vessel whose own nobody knows (the number then can't be told), but takes no other rule's place there.
create or replace temp table candidate as
select rule_id, kind, imo_number as covered,
    gross_tonnage_from is null or gross_tonnage is not null as is_sure, coalesce(effective_from, date '0001-01-01') as from_on,
    coalesce(effective_until, date '9999-12-31') as to_on
from duty.provision as rule join duty.binding as binding using (regime_slug)
join record.vessel as vessel on (binding.flag is null or binding.flag = vessel.flag)
    and (binding.vessels is null or list_contains(binding.vessels, imo_number))
where kind in ('number', 'drop') and (rule.vessels is null or list_contains(rule.vessels, imo_number))
    and (gross_tonnage_from is null or coalesce(gross_tonnage >= gross_tonnage_from, true))
    and (built_from_year is null or built_year >= built_from_year)
    and (built_before_year is null or built_year < built_before_year)
group by all;
create or replace temp table cut as from days_taken(candidate, true);
create or replace temp table standing as from days_left(candidate, cut);
create or replace temp table cut as from days_taken(standing, false);
create table duty.vessel_in_force as
select rule_id, covered as imo_number, from_on, to_on from days_left(standing, cut) where kind = 'number' order by all;
drop table candidate;
drop table standing;
drop table kept;
drop table cut;
drop table no_laxer;

-- duty.sample_group: one row is a unit of a group from which a sample is taken. From the day on which it joined the group aboard
-- that vessel (spares included) it lends it its date of manufacture and its tests, also once it has left; not before, so that none
-- that comes later changes what held on an earlier day. Where nobody knows the day, it was always there.
create table duty.sample_group as
select rule_id, imo_number, group_id, unit_id, min(coalesce(stay.from_on, date '0001-01-01')) as joined_on
from duty.in_force join duty.stay as stay using (stay_no) semi join (from duty.rule where counts = 'group') as rule using (rule_id)
group by rule_id, imo_number, group_id, unit_id;
