-- one row is a rule that an inspection satisfies
create temp table looking as
select distinct rule_id from duty.satisfied_by where record = 'inspection' and kind is null and is_examination is null and tested_part is null;

-- one row is a day on which work on a unit satisfied a rule, with one record that proves it: of several the first by kind. Where a
-- rule runs from the cartridge's date of manufacture, that date is such a day: tests before it were another cartridge's. A unit has one
-- inspection a day; where it satisfies the rule as well, it is the proof, and the day is not here.
create temp table worked as
with done as (
    select rule_id, unit_id, serviced_on as done_on, min({'record': 'service', 'kind': service.kind, 'file_id': file_id,
        'record_no': record_no, 'line_no': line_no}) as proof
    from record.service as service join duty.satisfied_by as wanted
        on wanted.record = 'service' and (wanted.kind is null or wanted.kind = service.kind)
        and (wanted.is_examination is null or coalesce(service.is_examination, false))
        and (wanted.tested_part is null or coalesce(service.tested_part, 'both') in (wanted.tested_part, 'both'))
    where outcome = 'satisfactory'
    group by rule_id, unit_id, serviced_on
),
looked_too as (
    select rule_id, unit_id, inspected_on as done_on
    from (
        select unit_id, inspected_on
        from record.inspection semi join (select unit_id, done_on as inspected_on from done) as worked_on using (unit_id, inspected_on)
        where outcome = 'satisfactory'
    ), looking
)
select * from done anti join looked_too using (rule_id, unit_id, done_on)
union all
select rule_id, unit_id, cartridge_made_on, min({'record': 'unit', 'kind': 'cartridge_made_on', 'file_id': file_id,
    'record_no': record_no, 'line_no': line_no})
from duty.rule as rule, record.unit as unit where first_basis = 'cartridge_made_on' and cartridge_made_on is not null
group by rule_id, unit_id, cartridge_made_on;

-- duty.subject: one row is what a rule is asked of: a stay, or a sample group aboard a vessel, and the
-- days [from_on, to_on) of the stay on which this rule is the one in force. Where rules change, a stay has several.
create table duty.subject as
with asked as (
    select rule_id, stay.* exclude (from_on, to_on), stay.from_on as began_on, stay.to_on as left_on,
        case when stay.from_on is not null then greatest(stay.from_on, ruling.from_on) end as from_on,
        nullif(least(coalesce(stay.to_on, date '9999-12-31'), ruling.to_on), date '9999-12-31') as to_on
    from duty.in_force as ruling join duty.stay as stay using (stay_no) semi join duty.rule using (rule_id)
    where ruling.from_on < coalesce(stay.to_on, date '9999-12-31') and coalesce(stay.from_on < ruling.to_on, true)
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
)
select row_number() over (order by imo_number, subject_id, duty, rule_id, stay_no, from_on) as subject_no,
    dense_rank() over (order by imo_number, subject_id, duty) as asked_no, subject.*
from (
    select rule_id, imo_number, unit_id as subject_id, stay_no, from_on, to_on, began_on, left_on
    from asked semi join (from duty.rule where counts = 'unit') as rule using (rule_id) where from_on is not null
    union all
    select rule_id, imo_number, group_id, null, min(from_on), case when count(*) = count(to_on) then max(to_on) end,
        min(began_on), case when count(*) = count(left_on) then max(left_on) end
    from numbered group by rule_id, imo_number, group_id, island_no
) as subject join duty.rule using (rule_id);

-- duty.first_basis: one row is what a subject's first date runs from, on the days [from_on, to_on) (an open end is null). For a group
-- it is the oldest of the units that have joined it so far; of equal dates the one that came first proves it.
create table duty.first_basis as
with joined as (
    select rule_id, imo_number, group_id, unit_id, made_on,
        coalesce(stay.from_on, date '0001-01-01') as joined_on, {'record': 'unit', 'kind': 'made_on', 'file_id': file_id,
            'record_no': record_no, 'line_no': line_no} as proof
    from duty.in_force join duty.stay as stay using (stay_no) semi join (from duty.rule where counts = 'group') as rule using (rule_id)
    qualify row_number() over (partition by rule_id, imo_number, group_id, unit_id, made_on order by joined_on, stay_no) = 1
),
oldest as (
    select * exclude (place, oldest_on) from (
        select *, row_number() over by_day as place, min(made_on) over (partition by rule_id, imo_number, group_id
            order by joined_on, made_on nulls last, unit_id rows between unbounded preceding and 1 preceding) as oldest_on
        from joined window by_day as (partition by rule_id, imo_number, group_id order by joined_on, made_on nulls last, unit_id)
    ) where place = 1 or made_on < coalesce(oldest_on, date '9999-12-31')
),
reign as (
    select *, row_number() over by_day = 1 as is_first, lead(joined_on) over by_day as until_on
    from oldest window by_day as (partition by rule_id, imo_number, group_id order by joined_on)
)
select subject_no, case rule.first_basis when 'service_start' then began_on when 'none' then null else made_on end as basis_on,
    {'record': 'unit', 'kind': case when rule.first_basis = 'service_start' and not is_start_from_manufacture then 'in_service_on'
        else 'made_on' end, 'file_id': file_id, 'record_no': record_no, 'line_no': line_no} as basis, subject.from_on, subject.to_on
from duty.subject as subject join duty.stay using (stay_no) join duty.rule as rule using (rule_id)
union all
select subject_no, made_on, proof, case when is_first then from_on else greatest(from_on, joined_on) end,
    case when coalesce(until_on < to_on, until_on is not null) then until_on else to_on end
from duty.subject as subject join reign
    on reign.rule_id = subject.rule_id and reign.imo_number = subject.imo_number and reign.group_id = subject.subject_id
where stay_no is null and (is_first or coalesce(joined_on < to_on, true)) and coalesce(until_on > from_on, true);

-- duty.subject_event: one row is a day on which a subject's rule was satisfied, whichever vessel carried the unit then: basis_on is the
-- day of the work, done_on that from which it counts. They differ where a unit brings a test into a group that it joins later.
create table duty.subject_event as
with looked as (
    select rule_id, unit_id, inspected_on as done_on, {'record': 'inspection', 'kind': 'inspection', 'file_id': file_id,
        'record_no': record_no, 'line_no': line_no} as proof
    from record.inspection, looking where outcome = 'satisfactory'
),
-- Work that is older than what counted already changes nothing.
group_event as (
    select subject_no, basis_on, counts_on, proof
    from (
        select subject_no, event.done_on as basis_on, greatest(event.done_on, joined_on) as counts_on, min(proof) as proof
        from duty.subject as subject
        join duty.sample_group as member on member.rule_id = subject.rule_id and member.imo_number = subject.imo_number
            and member.group_id = subject.subject_id
        join (from looked semi join (from duty.rule where counts = 'group') as rule using (rule_id) union all from worked) as event
            on event.rule_id = subject.rule_id and event.unit_id = member.unit_id
        where stay_no is null group by all
    )
    qualify basis_on > coalesce(max(basis_on) over (partition by subject_no order by counts_on, basis_on desc
        rows between unbounded preceding and 1 preceding), date '0001-01-01')
)
select subject_no, done_on as basis_on, done_on, proof
from looked join duty.subject as subject on subject.rule_id = looked.rule_id and subject.subject_id = looked.unit_id
where stay_no is not null
union all
select subject_no, done_on, done_on, proof
from worked join duty.subject as subject on subject.rule_id = worked.rule_id and subject.subject_id = worked.unit_id
where stay_no is not null
union all
select subject_no, basis_on, counts_on, proof from group_event;
drop table looking;
drop table worked;
