-- one row is an enclosed file with the short name that the report gives it; no row of `place` without a file
create or replace temp table pack_number as
select file_id, 'F' || row_number() over (order by received_at, path, file_id) as label
from intake.file where file_id in (select file_id from pack_file);
create or replace temp macro place(id, record_no, line_no) as
    (select label from pack_number where file_id = id) || ':' || coalesce(line_no, record_no);
create or replace temp macro said(word) as if(word = 'co2', 'CO2', replace(word, '_', ' '));
