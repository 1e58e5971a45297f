-- change.cell: one row is a cell that differs between the two moments: of a figure (`is_figure`), of a record, or a row set aside. What it was
-- then, what it is now, why, and the records behind both. In: cell_diff, cell_why, change.unit_reason, unit_how, vessel_told, record_change.

create or replace temp macro say_units(number) as number || case number when 1 then ' unit' else ' units' end;

-- As figure.agent_mix takes them.
create temp view older_unit as from older.figure.unit_now;
create temp view newer_unit as from newer.figure.unit_now;
create or replace temp macro unit_in_service(units) as table
select imo_number, unit_id, concat_ws(', ', coalesce(agent, 'agent not on record'), agent_detail, foam_kind) as item
from query_table(units) where counted = 'in service'
qualify row_number() over (partition by imo_number, unit_id order by coalesce(in_service_on, made_on) desc, in_service_on desc nulls last) = 1;

-- one row is a count of a month and, for each way in which units came to differ, how many did
create temp table month_why as
with counted as (
    select cell_no, reason.sign, reason.unit_id, reason.how, coalesce(now_value, '0')::bigint - coalesce(then_value, '0')::bigint as difference
    from cell_diff as cell left join change.unit_reason as reason on (cell.imo_number = '*' or reason.imo_number = cell.imo_number)
        and reason.duty = cell.duty and reason.month_end = cell.month_end and reason.measure = column_name
    where table_name = 'overdue_monthly'
),
by_how as (select cell_no, how, count(distinct unit_id) as units from counted where unit_id is not null group by all),
said_how as (
    select cell_no, string_agg(how || ' (' || say_units(units) || ')', '; ' order by units desc, how) as how from by_how group by cell_no
),
summed as (
    select cell_no, any_value(difference) as difference, coalesce(sum(sign), 0) as found,
        string_agg(unit_id, ', ' order by unit_id) filter (sign = 1) as begun, count(*) filter (sign = 1) as begun_units,
        string_agg(unit_id, ', ' order by unit_id) filter (sign = -1) as ended, count(*) filter (sign = -1) as ended_units
    from counted group by cell_no
),
-- Months are counted from the first inspection or service on record: earlier ones are no rows at all.
first_month as (
    select greatest((select min(month_end) from older.figure.overdue_monthly), (select min(month_end) from newer.figure.overdue_monthly)) as month_end
)
select cell_no, case when difference = found and begun_units + ended_units > 0 then concat_ws('; ',
        say_units(nullif(ended_units, 0)) || ' no longer counted: ' || ended, say_units(nullif(begun_units, 0)) || ' newly counted: ' || begun, how)
    when cell_diff.month_end < first_month.month_end
        then 'months are counted from the first inspection or service on record, and at one of the two moments that is a later one'
    when difference = 0 then 'the row itself is new or gone: in this month something was counted on some days at one of the two moments only'
    else 'could not be traced to single units: ' || found || ' of ' || difference || ' are' end as why
from summed join cell_diff using (cell_no) left join said_how using (cell_no), first_month;

-- one row is a unit in service that a row of the agent mix counts at one moment only
create temp table mix_unit as
with then_in as (from unit_in_service('older_unit')), now_in as (from unit_in_service('newer_unit'))
select *, 1 as sign from (from now_in except from then_in) union all select *, -1 from (from then_in except from now_in);

create temp table mix_why as
select cell.*, sum(sign) as found, coalesce(now_value, '0')::double - coalesce(then_value, '0')::double as difference,
    count(*) filter (sign = -1) as ended_units, string_agg(unit_id, ', ' order by unit_id) filter (sign = -1) as ended,
    count(*) filter (sign = 1) as begun_units, string_agg(unit_id, ', ' order by unit_id) filter (sign = 1) as begun
from (select cell_no, imo_number, item, now_value, then_value from cell_diff where table_name = 'agent_mix' and column_name = 'units') as cell
join (select * exclude (unit_id), unit_id from mix_unit) using (imo_number, item)
group by all;

-- one row is a count of a vessel that rests on several records: the units and counts of spares that differ
create temp table vessel_why as
with unit_agent as (
    select imo_number, unit_id, agent from older.figure.unit_now union select imo_number, unit_id, agent from newer.figure.unit_now
),
asked as (select cell_no, imo_number, agent, table_name, column_name, rests_on from cell_diff where table_name in ('agent_mix', 'number_now')),
units as (
    select distinct cell_no, unit_how.unit_id, how from asked join unit_how using (imo_number)
    where column_name <> 'spare_charges_held' and (asked.table_name = 'number_now' or unit_how.table_name = 'unit_now'
        or column_name = 'unsuitable_placements' and unit_how.table_name = 'placement_now') and (asked.agent is null or exists (
        select 1 from unit_agent where unit_agent.imo_number = asked.imo_number and unit_agent.unit_id = unit_how.unit_id and unit_agent.agent = asked.agent))
),
by_how as (select cell_no, how, count(distinct unit_id) as units, string_agg(distinct unit_id, ', ' order by unit_id) as names from units group by all),
spares as (
    select cell_no, string_agg(distinct told, '; ' order by told) as told from asked join vessel_told as other using (imo_number)
    where list_contains(rests_on, other.table_name) and (other.table_name = 'vessel' or asked.table_name = 'number_now' or column_name like 'spare%')
        and (other.table_name <> 'spare' or asked.agent is null or other.agent = asked.agent)
    group by cell_no
)
select cell_no, concat_ws('; ', string_agg(say_units(units) || ' differ' || case when units = 1 then 's: ' else ': ' end || names || ' – ' || by_how.how, '; '
        order by units desc, by_how.how), any_value(told)) as why
from asked left join by_how using (cell_no) left join spares using (cell_no) group by cell_no;

create table change.cell as
with vessel as (
    select coalesce(n.imo_number, o.imo_number) as imo_number, coalesce(n.vessel_name, o.vessel_name) as vessel_name
    from older.record.vessel as o full join newer.record.vessel as n using (imo_number)
),
-- A cell that rests on other records than its row's own is cited by the newest of them, not by the row.
cited as (
    select cell_no, arg_min({'then_file_id': then_file_id, 'then_record_no': then_record_no, 'then_line_no': then_line_no,
        'now_file_id': now_file_id, 'now_record_no': now_record_no, 'now_line_no': now_line_no}, n) as record
    from (select *, row_number() over (partition by cell_no order by day desc nulls last, told) as n from cause join record_change using (change_no))
    group by cell_no
),
figures as (
    select true as is_figure, cell.table_name, cell.imo_number, cell.unit_id, duty, cell.item, month_end, cell.column_name, cell.then_value, cell.now_value,
        coalesce(cell_why.why, month_why.why, case when mix_why.found = mix_why.difference then concat_ws('; ',
            say_units(nullif(mix_why.ended_units, 0)) || ' no longer counted: ' || mix_why.ended,
            say_units(nullif(mix_why.begun_units, 0)) || ' newly counted: ' || mix_why.begun, nullif(vessel_why.why, '')) end,
            nullif(vessel_why.why, ''), 'could not be traced to a record') as why,
        if(is_own, cell.then_file_id, record.then_file_id) as then_file_id, if(is_own, cell.then_record_no, record.then_record_no) as then_record_no,
        if(is_own, cell.then_line_no, record.then_line_no) as then_line_no, if(is_own, cell.now_file_id, record.now_file_id) as now_file_id,
        if(is_own, cell.now_record_no, record.now_record_no) as now_record_no, if(is_own, cell.now_line_no, record.now_line_no) as now_line_no
    from cell_diff as cell left join cited using (cell_no) left join cell_why using (cell_no) left join month_why using (cell_no) left join mix_why using (cell_no)
    left join vessel_why using (cell_no)
),
records as (
    select false, table_name, imo_number, unit_id, null, said, null, coalesce(cell.name, '(record)'),
        case when kind = 'gone' then said else cell.old end, case when kind = 'new' then said else cell.new end,
        coalesce(how, 'could not be traced'), then_file_id, then_record_no, then_line_no, now_file_id, now_record_no, now_line_no
    from (select * exclude (cells), unnest(case when kind = 'changed' then cells else [null] end) as cell from record_change)
),
set_aside as (
    select false, table_name, null, null, null, path || ', record ' || record_no, null, coalesce(column_name, '(record)'),
        case what when 'set aside' then null else 'set aside: ' || rule end, case what when 'set aside' then 'set aside: ' || rule end,
        reason, case what when 'set aside' then null else file_id end, case what when 'set aside' then null else record_no end,
        case what when 'set aside' then null else line_no end, case what when 'set aside' then file_id end,
        case what when 'set aside' then record_no end, case what when 'set aside' then line_no end
    from change.set_aside
)
select joined.* exclude (then_file_id, then_record_no, then_line_no, now_file_id, now_record_no, now_line_no),
    case when imo_number = '*' then 'the fleet' else vessel_name end as vessel_name, then_file.path as then_path, then_record_no, then_line_no,
    now_file.path as now_path, now_record_no, now_line_no
from (from figures union all from records union all from set_aside) as joined left join vessel using (imo_number)
left join change.receipt as then_file on then_file.file_id = then_file_id left join change.receipt as now_file on now_file.file_id = now_file_id
order by is_figure desc, table_name, vessel_name nulls first, imo_number, unit_id nulls first, duty nulls first, item, month_end, column_name, then_value, now_value, why;
