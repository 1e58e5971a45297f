-- Why counts differ: the units that are counted at one moment and not at the other. In: cell_diff, record_change, bears_on, cause.

-- one row is a vessel, a duty and a month of which units are compared one by one: where a count differs, and on the day itself
create temp table month_asked as
select distinct imo_number, duty, month_end from cell_diff where table_name = 'overdue_monthly' and imo_number <> '*'
-- On the day itself other units may make up the same number.
union
select imo_number, '*', $as_of::date from older.record.vessel union select imo_number, '*', $as_of::date from newer.record.vessel;

-- change.overdue: one row is a vessel ('*' the fleet): units overdue on $as_of by any duty that counts for it, then and now
create table change.overdue as
with n as (from newer.figure.overdue_monthly where duty = '*' and month_end = $as_of::date),
o as (from older.figure.overdue_monthly where duty = '*' and month_end = $as_of::date)
select imo_number, coalesce(o.overdue, 0) as overdue_then, coalesce(n.overdue, 0) as overdue_now
from o full join n using (imo_number) order by imo_number;

create temp view older_piece as from older.figure.count_interval;
create temp view newer_piece as from newer.figure.count_interval;

create or replace temp macro counted_in(pieces) as table
with on_day as (
    select distinct asked.imo_number, asked.duty, asked.month_end, unit_id, measure
    from month_asked as asked join query_table(pieces) as piece on piece.imo_number = asked.imo_number and piece.duty = asked.duty
        and piece.from_on <= asked.month_end and piece.to_on > asked.month_end
)
select * replace (case measure when 'unit' then 'units' when 'open' then 'unknown' else measure end as measure)
from on_day where measure <> 'open' or (imo_number, duty, month_end, unit_id) not in (
    select (imo_number, duty, month_end, unit_id) from on_day where measure = 'overdue');

-- one row is a unit that is counted on the last day of a month at one moment and not at the other: sign 1 now, -1 then
create temp table unit_month as
select *, 1 as sign from (from counted_in('newer_piece') except from counted_in('older_piece'))
union all
select *, -1 from (from counted_in('older_piece') except from counted_in('newer_piece'));

-- one row is such a unit and a record that explains it: the basis of what stood open on that day at either moment, else all that bear on it
create temp table month_cause as
with asked as (
    select distinct imo_number, unit_id, duty, month_end, measure = 'units' as is_register from unit_month
),
basis as (
    select asked.*, basis_file_id as file_id, basis_record_no as record_no from asked join (
        select span.*, in_any from older.duty.span as span join older.duty.rule using (rule_id)
        union all select span.*, in_any from newer.duty.span as span join newer.duty.rule using (rule_id)
    ) as span on span.imo_number = asked.imo_number and span.unit_id = asked.unit_id and (span.duty = asked.duty or asked.duty = '*' and in_any)
        and basis_on <= month_end and coalesce(done_on > month_end, true)
    where not is_register
),
tiered as (
    select basis.* exclude (file_id, record_no), change_no, case when table_name in ('unit', 'vessel') then 2 else 1 end as tier
    from basis join record_change on now_file_id = file_id and now_record_no = record_no
    union
    select basis.* exclude (file_id, record_no), change_no, case when table_name in ('unit', 'vessel') then 2 else 1 end
    from basis join record_change on then_file_id = file_id and then_record_no = record_no
    union
    select asked.*, change_no, 3 from asked
    join bears_on on bears_on.imo_number = asked.imo_number and subject_id = asked.unit_id
    join record_change as change on change.unit_id = bears_on.unit_id
    where coalesce(change.day <= month_end, true) and (not is_register or change.table_name = 'unit')
    union
    select asked.*, change_no, 3 from asked join record_change as change on change.table_name = 'vessel' and change.imo_number = asked.imo_number
)
from tiered qualify tier = min(tier) over (partition by imo_number, unit_id, duty, month_end, is_register);

-- change.unit_reason: one row is a unit that is counted at one moment and not at the other, in a month, with how that came about and
-- the records behind it. `how` null: it could not be traced.
create table change.unit_reason as
select month.*, string_agg(distinct coalesce(how, 'records that could not be traced'), '; ' order by coalesce(how, 'records that could not be traced')) as how,
    list_sort(list(distinct change.table_name)) as records, min(day) as first_day, max(day) as last_day
from unit_month as month left join month_cause on month_cause.imo_number = month.imo_number and month_cause.unit_id = month.unit_id
    and month_cause.duty = month.duty and month_cause.month_end = month.month_end and is_register = (measure = 'units')
left join record_change as change using (change_no)
group by all
order by all;

-- change.way: one row is a unit overdue on $as_of at one of the two moments only, by any duty that counts for it, and a record that
-- explains it
create table change.way as
select month.imo_number, month.unit_id, sign, change_no, table_name, day, coalesce(how, 'and it could not be traced why') as how
from unit_month as month left join month_cause on month_cause.imo_number = month.imo_number and month_cause.unit_id = month.unit_id
    and month_cause.duty = month.duty and month_cause.month_end = month.month_end and not is_register
left join record_change using (change_no)
where month.duty = '*' and month.month_end = $as_of::date and measure = 'overdue'
order by all;

-- one row is a unit of a vessel of which something differs that counts of the vessel rest on, in which table, and how that came about
create temp table unit_how as
select distinct cell.imo_number, cell.unit_id, cell.table_name, coalesce(how, 'records that could not be traced') as how
from cell_diff as cell left join cause using (cell_no) left join record_change using (change_no)
where cell.table_name in ('verdict', 'placement_now') and column_name = 'verdict' or cell.table_name = 'unit_now'
    and column_name in ('counted', 'agent', 'agent_detail', 'foam_kind', 'form', 'charge_l', 'charge_kg', 'expelled_by', 'space_category')
union
select imo_number, unit_id, 'unit_now', coalesce(how, 'records that could not be traced') from record_change
where table_name = 'unit' and len(list_filter(cells, lambda cell: cell.name = 'refillable_on_board')) > 0 and (imo_number, unit_id) in (
    select (imo_number, unit_id) from older.figure.unit_now union select (imo_number, unit_id) from newer.figure.unit_now);

-- one row is a vessel and a record that differs of the vessel itself, or of the last count of its spares of an agent by $as_of
create temp table vessel_told as
select imo_number, agent, table_name, told from (
    select change.*, coalesce(now_row.agent, then_row.agent) as agent from record_change as change
    left join newer.record.spare as now_row on change.table_name = 'spare' and now_row.file_id = now_file_id and now_row.record_no = now_record_no
    left join older.record.spare as then_row on change.table_name = 'spare' and then_row.file_id = then_file_id and then_row.record_no = then_record_no
    where change.table_name in ('spare', 'vessel') and coalesce(change.day <= $as_of::date, true)
)
qualify day is not distinct from max(day) over (partition by table_name, imo_number, agent);
