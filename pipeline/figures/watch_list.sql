-- figure.watch_list: one row is a unit in service on $as_of, or aboard and with a hard reason, in the order in which to look at it: hard
-- reasons first, then by chance (kind 'chances'), by the same order told in bands ('bands'), or by points of four plain signs ('rule').
-- chance_12_months: to be condemned within 12 months if kept, with 95 % limits of what units like it have; only of kind 'chances'.
-- band: first 5 %, next 15 %, the rest of the fleet; like_condemned of like_units in that band of past lists were condemned within 12
-- months. without_test: how many times that chance it has if no pressure test fell due. would_change: what would move it, and to which rank. A list is a reason to look, never a verdict.
create table figure.watch_list (
    list_rank integer, unit_id text, imo_number text, counted text, hard_reason text, kind text, band text, chance_12_months double,
    low double, high double, points double, reasons text, would_change text, rank_then integer, like_units integer,
    like_condemned integer, age_years double, test_due_on date, without_test double
);

-- figure.watch_reason: one row is a unit on the list, a reason and a record on which it rests. weight: times the odds of the fleet's
-- average unit ('odds'), points of the rule ('points'), null for a hard reason ('hard') and for what only tells that records are
-- missing ('no record').
create table figure.watch_reason (
    unit_id text, imo_number text, reason_no integer, kind text, trait text, reason text, weight double, table_name text, file_id text,
    record_no bigint, line_no bigint, seen_on date
);

-- one row is a unit in service, a sign and a record that shows it; `part` is what the record says
create temp table watch_proof as
with unit as (
    select unit_id, starts_on, imo_number, test_due_on from figure.unit_half_year where is_now
),
stay as (
    select unit_now.unit_id, unit_now.* exclude (unit_id) from figure.unit_now as unit_now join unit using (unit_id, imo_number)
    qualify row_number() over (partition by unit_id order by coalesce(in_service_on, made_on) desc, unit_now.record_no desc) = 1
),
-- a wall read, and the register row that says how thick it was when new and how thin it may be
reading as (
    with last_read as (
        select unit.unit_id, service.serviced_on as seen_on, service.wall_mm_measured, service.file_id, service.record_no, service.line_no, new_mm, least_mm,
            new_file_id, new_record_no, new_line_no,
            printf('%.2f', wall_mm_measured) || ' mm of wall read on ' || strftime(serviced_on, '%-d %b %Y') || coalesce(', of '
                || printf('%.2f', new_mm) || ' mm when new', '') || coalesce(', least ' || printf('%.2f', least_mm) || ' mm', '') as said
        from unit join record.service as service using (unit_id) left join (
            select stay.unit_id, wall_mm as new_mm, wall_min_mm as least_mm, stay.file_id as new_file_id, stay.record_no as new_record_no, stay.line_no as new_line_no
            from stay join record.unit as register on register.file_id = stay.file_id and register.record_no = stay.record_no and register.unit_id = stay.unit_id
        ) using (unit_id)
        where wall_mm_measured is not null and serviced_on > starts_on - to_months(26) and serviced_on <= starts_on
        qualify row_number() over (partition by unit.unit_id order by serviced_on desc, service.file_id desc, service.record_no desc) = 1
    )
    select unit_id, said, seen_on, 'service' as table_name, file_id, record_no, line_no from last_read
    union all
    select unit_id, said, null, 'unit', new_file_id, new_record_no, new_line_no from last_read where new_mm is not null or least_mm is not null
),
found as (
    select unit_id, component, defect, rust_grade, severity, pit_depth_mm, found_on, file_id, record_no, line_no
    from unit join record.finding using (unit_id) where found_on > starts_on - to_months(26) and found_on <= starts_on
)
select unit_id, 'corrosion' as trait, concat_ws(', ', coalesce('rust grade ' || rust_grade, 'corrosion'),
        case when severity in ('major', 'unfit') then 'called ' || severity end) || ' on ' || strftime(found_on, '%-d %b %Y') as part,
    found_on as seen_on, 'finding' as table_name, file_id, record_no, line_no
from found where defect = 'corrosion' and component in ('shell', 'lining', 'head')
union all
-- in the words of a list that does not weigh how severe it was called
select unit_id, 'grade', coalesce('rust grade ' || rust_grade, 'corrosion') || ' on ' || strftime(found_on, '%-d %b %Y'), found_on, 'finding', file_id, record_no, line_no
from found where defect = 'corrosion' and component in ('shell', 'lining', 'head')
union all
select unit_id, 'pit', 'pit of ' || printf('%.2f', pit_depth_mm) || ' mm on ' || strftime(found_on, '%-d %b %Y'), found_on, 'finding', file_id, record_no, line_no
from found where pit_depth_mm > 0 qualify row_number() over (partition by unit_id order by pit_depth_mm desc, found_on desc, record_no) = 1
union all
select unit_id, 'wall', said, seen_on, table_name, read.file_id, read.record_no, read.line_no from reading as read
union all
select unit.unit_id, 'test', 'pressure test ' || case when due_on < starts_on then 'was due ' else 'due ' end || strftime(due_on, '%-d %b %Y')
        || ', every ' || case when interval_months % 12 = 0 then (interval_months // 12)::varchar || ' years' else interval_months::varchar || ' months' end
        || ' by ' || rule_id, basis_on, case when is_first then 'unit' else 'service' end,
    basis_file_id, basis_record_no, basis_line_no
from unit join duty.span as span on span.unit_id = unit.unit_id and span.imo_number = unit.imo_number and span.due_on = unit.test_due_on
join (select rule_id, interval_months from duty.rule) using (rule_id)
where duty = 'pressure_test' and basis_on <= starts_on and judged_from <= starts_on and coalesce(judged_to > starts_on, true)
qualify row_number() over (partition by unit.unit_id order by basis_on desc, rule_id, subject_no) = 1
union all
select unit_id, 'age', floor(age_years)::integer || ' years old, made ' || case made_on_precision when 'year' then year(made_on)::varchar
    else strftime(made_on, '%b %Y') end, made_on, 'unit', file_id, record_no, line_no
from stay where made_on is not null
union all
select unit_id, trait, said, null, 'unit', file_id, record_no, line_no from stay, (values ('deck', 'stands on open deck'), ('co2', 'a CO2 cylinder')) as sign(trait, said)
where (trait = 'deck' and space_category = 'open_deck') or (trait = 'co2' and agent = 'co2')
union all
select unit_id, 'no service', 'no service on record for 26 months', null, 'unit', stay.file_id, stay.record_no, stay.line_no
from stay join (select unit_id, last_serviced_on as serviced_of_late, starts_on from figure.unit_half_year where is_now) using (unit_id)
where serviced_of_late is null and coalesce(in_service_on, made_on, starts_on) <= starts_on - to_months(26);

-- one row is a unit and a sign, in words: its last two reports, the newest first
create temp table watch_sign as
select unit_id, trait, string_agg(part, ', earlier ' order by place) as said
from (
    select *, row_number() over (partition by unit_id, trait order by seen_on desc, record_no) as place
    from (select unit_id, trait, part, max(seen_on) as seen_on, min(record_no) as record_no from watch_proof group by all)
)
where place <= 2 group by unit_id, trait;
