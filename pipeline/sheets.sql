-- one row is a record with at least one open row, with its reasons in the sender's own terms: the header and the words of its source
with said as (
    select q.file_id, q.record_no, q.line_no, q.raw,
        case when named.header <> q.column_name then 'Column ' || named.header || ': ' else '' end || q.reason
            || case when q.rule = 'unknown-word' and named.words is not null then ' Words of this source: ' || named.words || '.' else '' end as reason
    from intake.quarantine as q left join intake.column_source as named
        on named.file_id = q.file_id and named.table_name = q.table_name and named.column_name = q.column_name
    where q.superseded_by is null
)
select split_part(path, '/', 1) as folder, dialect, encoding, delimiter, file_id, path, record_no, min(line_no), min(raw),
    list(distinct reason order by reason)
from said join intake.file using (file_id)
group by folder, dialect, encoding, delimiter, file_id, path, record_no, received_at
order by folder, dialect, delimiter, received_at, path, file_id, record_no
