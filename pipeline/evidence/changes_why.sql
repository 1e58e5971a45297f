-- Why cells differ that have a unit of their own. In: cell_diff, record_change, schemas `older` and `newer`. $as_of: the day compared.

-- one row is a unit, or a sample group, and a unit whose records bear on it
create temp table bears_on as
select distinct imo_number, unit_id as subject_id, unit_id from (
    select imo_number, unit_id from older.duty.stay union all select imo_number, unit_id from newer.duty.stay
)
union
select imo_number, group_id, unit_id from (
    select imo_number, group_id, unit_id from older.duty.sample_group union all select imo_number, group_id, unit_id from newer.duty.sample_group
);

-- one row is a changed cell and a record that may explain it, the best kind (`tier`) first: the record behind the cell, then or now,
-- where it differs (an event before the register's row); for a date, a record of that day; for a row of a unit that counts otherwise than it did,
-- the register; else all that bear on the unit
create temp table cause as
with asked as (
    select *, is_row and (imo_number, unit_id) in (
        select (imo_number, unit_id) from cell_diff where table_name = 'unit_now' and column_name = 'counted') as is_register
    from cell_diff where unit_id is not null
),
own as (
    select cell_no, change_no, change.table_name from asked join record_change as change using (now_file_id, now_record_no)
    where is_own and list_contains(rests_on, change.table_name)
    union
    select cell_no, change_no, change.table_name from asked join record_change as change using (then_file_id, then_record_no)
    where is_own and list_contains(rests_on, change.table_name)
),
bearing as (
    select cell_no, change_no, change.day::varchar in (coalesce(then_value, ''), coalesce(now_value, '')) as is_of_day, is_register and change.table_name = 'unit' as is_register
    from asked join bears_on on bears_on.imo_number = asked.imo_number and subject_id = asked.unit_id
    join record_change as change on change.unit_id = bears_on.unit_id
    where list_contains(rests_on, change.table_name) and coalesce(change.day <= $as_of::date, true)
    union
    select cell_no, change_no, false, is_register from asked join record_change as change on change.table_name = 'vessel' and change.imo_number = asked.imo_number
    where list_contains(rests_on, 'vessel')
),
tiered as (
    select cell_no, change_no, case when table_name in ('unit', 'vessel') then 2 else 1 end as tier from own
    union all select cell_no, change_no, case when is_of_day then 3 when is_register then 4 else 5 end from bearing
),
best as (from tiered qualify tier = min(tier) over (partition by cell_no)),
-- How many duties are overdue follows from how each of them stands.
by_duty as (
    select distinct counted.cell_no, best.change_no from asked as counted join asked as duty
        on duty.imo_number = counted.imo_number and duty.unit_id = counted.unit_id and duty.table_name = 'duty_now' and duty.column_name = 'state'
    join best on best.cell_no = duty.cell_no where counted.column_name = 'overdue_duties'
)
select cell_no, change_no from by_duty union all select cell_no, change_no from best anti join by_duty using (cell_no);

-- one row is a changed cell and why, the newest records first; three of them are named
create temp table cell_why as
with ordered as (
    select cell_no, told, row_number() over (partition by cell_no order by day desc nulls last, told) as n, count(*) over (partition by cell_no) as records
    from cause join record_change using (change_no)
)
select cell_no, string_agg(told, '; ' order by n) filter (n <= 3)
    || case when max(records) > 3 then '; and ' || (max(records) - 3) || ' more' else '' end as why
from ordered group by cell_no;
