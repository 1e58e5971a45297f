-- record_change: one row is a record that differs between the two moments, how that came about (`how`; null: it could not be
-- traced), and the same with its place (`told`). In: record_diff, change.receipt, change.correction. $day: that of the earlier moment.
create temp table record_change as
with corrected as (
    select file_id, record_no, string_agg(distinct case what when 'declared' then 'corrected: ' else 'correction taken back, which had been: ' end
        || why || ' (' || who || ', ' || declared_on::varchar || ')', '; ') as said
    from change.correction group by file_id, record_no
),
-- A record that no row came of then, or none now: the first reason that was noted.
then_out as (select file_id, record_no, table_name, min(reason) as reason from older.intake.quarantine where rule <> 'set-aside' group by all),
now_out as (select file_id, record_no, table_name, min(reason) as reason from newer.intake.quarantine where rule <> 'set-aside' group by all),
asked as (
    select diff.*, now_file.path as now_path, then_file.path as then_path, now_file.version as now_version,
        now_file.is_between as has_come, now_file.received_at::date::varchar as came_on, now_file.taken_back,
        then_file.withdrawn_now_why as withdrawn_why, now_fix.said as now_fix, then_fix.said as then_fix,
        then_out.reason as then_reason, now_out.reason as now_reason, diff.table_name in ('vessel', 'unit', 'station') as is_register,
        case diff.table_name when 'unit' then 'register row ' || diff.said when 'vessel' then 'vessel ' || diff.said when 'station' then 'station ' || diff.said
            when 'spare' then 'count of spares ' || diff.said else diff.table_name || ' of ' || diff.said end as named
    from record_diff as diff
    left join change.receipt as now_file on now_file.file_id = now_file_id
    left join change.receipt as then_file on then_file.file_id = then_file_id
    left join corrected as now_fix on now_fix.file_id = now_file_id and now_fix.record_no = now_record_no
    left join corrected as then_fix on then_fix.file_id = then_file_id and then_fix.record_no = then_record_no
    left join then_out on then_out.file_id = now_file_id and then_out.record_no = now_record_no and then_out.table_name = diff.table_name
    left join now_out on now_out.file_id = then_file_id and now_out.record_no = then_record_no and now_out.table_name = diff.table_name
),
traced as (
    select *, case when has_come then concat_ws('; ', case
            when kind = 'changed' and now_path = then_path then 'replaced by a later version of the file, received ' || came_on
            when is_register then 'register changed, received ' || came_on
            when day <= $day::date then 'received ' || came_on || ' (late file)'
            else 'received ' || came_on end, now_fix)
        else coalesce(
            nullif(concat_ws('; ', 'withdrawn: ' || withdrawn_why, taken_back, then_fix, case when then_fix is distinct from now_fix then now_fix end), ''),
            'register changed: the row had been set aside (' || rtrim(split_part(then_reason, '. ', 1), '.') || ')', 'set aside: ' || rtrim(split_part(now_reason, '. ', 1), '.')) end as how
    from asked
)
select change_no, table_name, unit_id, imo_number, day, said, kind, cells, then_file_id, then_record_no, then_line_no, now_file_id, now_record_no,
    now_line_no, how, named || case kind when 'gone' then ', which no longer counts,' else '' end
    || ' [' || coalesce(now_path, then_path) || ', line ' || coalesce(now_line_no, then_line_no) || ', record ' || coalesce(now_record_no, then_record_no) || ']'
    || case when kind = 'changed' and (then_path, then_record_no) is distinct from (now_path, now_record_no)
        then ' in place of [' || then_path || ', line ' || then_line_no || ', record ' || then_record_no || ']' else '' end
    || ': ' || coalesce(how, 'it could not be traced why') as told
from traced;
