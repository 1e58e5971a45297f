-- one row: the vessel, and the counts that open the report
select vessel_name, flag, vessel_type, gross_tonnage, built_year,
    (select count(*) from figure.unit_now where imo_number = $imo_number) as units,
    (select count(*) from figure.unit_now where imo_number = $imo_number and counted = 'in service') as in_service,
    (select count(distinct unit_id) from figure.duty_now where imo_number = $imo_number and state = 'overdue' and not is_group) as overdue_units,
    (select count(*) from figure.duty_now where imo_number = $imo_number and state = 'overdue') as overdue_items,
    (select count(*) from figure.duty_now where imo_number = $imo_number and state = 'unknown') as unknown_items,
    (select count(distinct unit_id) from figure.verdict where imo_number = $imo_number and verdict = 'condemn') as condemn_units,
    (select count(distinct unit_id) from figure.verdict where imo_number = $imo_number and verdict in ('unfit', 'condemn')) as unfit_units,
    (select coalesce(sum(open_findings), 0)::int from figure.unit_now where imo_number = $imo_number) as open_findings,
    (select last_record_on from figure.freshness where imo_number = $imo_number) as last_record_on
from record.vessel where imo_number = $imo_number
