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

-- one row is a changed cell and a record that explains it: the one behind the cell where that differs, else all that bear on the unit
create temp table cause as
with asked as (from cell_diff where unit_id is not null),
exact as (
    select cell_no, change_no from asked join record_change as change using (now_file_id, now_record_no) where list_contains(rests_on, change.table_name)
    union
    select cell_no, change_no from asked join record_change as change using (then_file_id, then_record_no) where list_contains(rests_on, change.table_name)
),
related as (
    select cell_no, change_no from asked join bears_on on bears_on.imo_number = asked.imo_number and subject_id = asked.unit_id
    join record_change as change on change.unit_id = bears_on.unit_id
    where list_contains(rests_on, change.table_name) and coalesce(change.day <= $as_of::date, true)
    union
    select cell_no, change_no from asked join record_change as change on change.table_name = 'vessel' and change.imo_number = asked.imo_number
    where list_contains(rests_on, 'vessel')
)
from exact union all (from related anti join exact using (cell_no));

-- one row is a changed cell and why, the newest records first; three of them are named
create temp table cell_why as
with ordered as (
    select cell_no, told, row_number() over (partition by cell_no order by day desc nulls last, told) as n, count(*) over (partition by cell_no) as records
    from cause join record_change using (change_no)
)
select cell_no, string_agg(told, '; ' order by n) filter (n <= 3)
    || case when max(records) > 3 then '; and ' || (max(records) - 3) || ' more' else '' end as why
from ordered group by cell_no;
