-- one row is a file enclosed, as received
select label, path, strftime(received_at, '%Y-%m-%d %H:%M') || ' UTC', records, rows_loaded, rows_quarantined, rows_duplicate, sha256
from intake.file join pack_number using (file_id) order by received_at, path, file_id
