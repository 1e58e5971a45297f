-- duty.event: one row is a day on which a unit satisfied a rule, with one record that proves it. Where a rule runs from the
-- cartridge's date of manufacture, that date is such a day: tests before it were another cartridge's.
create table duty.event as
with looked as (
    select unit_id, inspected_on as done_on, 'inspection' as record, null as kind, false as is_examination, null as tested_part,
        file_id, record_no, line_no
    from record.inspection where outcome = 'satisfactory'
    union all
    select unit_id, serviced_on, 'service', kind, coalesce(is_examination, false), coalesce(tested_part, 'both'), file_id, record_no, line_no
    from record.service where outcome = 'satisfactory'
)
select rule_id, unit_id, done_on, proof
from (
    select rule_id, unit_id, done_on,
        min({'record': looked.record, 'kind': coalesce(looked.kind, looked.record), 'file_id': file_id, 'record_no': record_no,
            'line_no': line_no}) as proof
    from looked
    join duty.satisfied_by as wanted
        on wanted.record = looked.record and (wanted.kind is null or wanted.kind = looked.kind)
        and (wanted.is_examination is null or looked.is_examination)
        and (wanted.tested_part is null or looked.tested_part in (wanted.tested_part, 'both'))
    group by rule_id, unit_id, done_on
    union all
    select rule_id, unit_id, cartridge_made_on, min({'record': 'unit', 'kind': 'cartridge_made_on', 'file_id': file_id,
        'record_no': record_no, 'line_no': line_no})
    from duty.rule as rule, record.unit as unit where first_basis = 'cartridge_made_on' and cartridge_made_on is not null
    group by rule_id, unit_id, cartridge_made_on
);

-- duty.subject: one row is what a rule is asked of: a stay, or a sample group aboard a vessel, with its first basis, and the
-- days [from_on, to_on) of the stay on which this rule is the one in force. Where rules change, a stay has several.
create table duty.subject as
with asked as (
    select rule_id, stay.* exclude (from_on, to_on), stay.from_on as began_on, stay.to_on as left_on,
        case when stay.from_on is not null then greatest(stay.from_on, force.from_on) end as from_on,
        nullif(least(coalesce(stay.to_on, date '9999-12-31'), force.to_on), date '9999-12-31') as to_on
    from duty.in_force as force join duty.stay as stay using (stay_no) semi join duty.rule using (rule_id)
    where force.from_on < coalesce(stay.to_on, date '9999-12-31') and coalesce(stay.from_on < force.to_on, true)
),
-- A group is asked on the days on which one of its units is: stretches that touch are one, so that days between are not asked.
numbered as (
    select *, count(*) filter (reached_on is null or from_on > reached_on)
        over (partition by rule_id, imo_number, group_id order by from_on, to_on, stay_no rows unbounded preceding) as island_no
    from (
        select *, max(coalesce(to_on, date '9999-12-31')) over (partition by rule_id, imo_number, group_id order by from_on, to_on, stay_no
            rows between unbounded preceding and 1 preceding) as reached_on
        from asked semi join (from duty.rule where counts = 'group') as rule using (rule_id) where from_on is not null
    )
),
-- Of equal dates of manufacture the unit and stay that come first prove the basis.
eldest as (
    select rule_id, imo_number, group_id, min(made_on) as first_basis_on,
        arg_min({'record': 'unit', 'kind': 'made_on', 'file_id': file_id, 'record_no': record_no, 'line_no': line_no},
            (coalesce(made_on, date '9999-12-31'), unit_id, stay_no)) as first_proof
    from asked group by rule_id, imo_number, group_id
)
select row_number() over (order by rule_id, imo_number, subject_id, stay_no, from_on) as subject_no, *
from (
    select rule_id, asked.imo_number, asked.unit_id as subject_id, stay_no, from_on, to_on, began_on, left_on,
        case rule.first_basis when 'service_start' then began_on when 'none' then null else made_on end as first_basis_on,
        {'record': 'unit', 'kind': case when rule.first_basis = 'service_start' and not is_start_from_manufacture then 'in_service_on'
            else 'made_on' end, 'file_id': file_id, 'record_no': record_no, 'line_no': line_no} as first_proof
    from asked join duty.rule as rule using (rule_id) where rule.counts = 'unit' and from_on is not null
    union all
    select rule_id, imo_number, group_id, null, min(from_on), case when count(*) = count(to_on) then max(to_on) end,
        min(began_on), case when count(*) = count(left_on) then max(left_on) end, first_basis_on, first_proof
    from numbered join eldest using (rule_id, imo_number, group_id)
    group by rule_id, imo_number, group_id, island_no, first_basis_on, first_proof
);

-- duty.subject_event: one row is a day on which a subject's rule was satisfied, whichever vessel carried the unit then
create table duty.subject_event as
select subject_no, done_on, proof
from duty.subject as subject join duty.event as event
    on event.rule_id = subject.rule_id and event.unit_id = subject.subject_id
where stay_no is not null
union all
select subject_no, done_on, min(proof)
from duty.subject as subject
join duty.sample_group as member
    on member.rule_id = subject.rule_id and member.imo_number = subject.imo_number and member.group_id = subject.subject_id
join duty.event as event on event.rule_id = subject.rule_id and event.unit_id = member.unit_id
where stay_no is null
group by subject_no, done_on;
