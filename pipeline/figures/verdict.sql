-- figure.verdict: one row is a unit aboard on $as_of and a reason against it: a broken limit, or a record that is a reason by
-- itself. A later satisfactory service of a kind that the rule's cured_by names takes the reason away; on the same day it does
-- so only where it comes after the look (a repair, a recharge). A test of the cartridge alone cures no more than a fault of the
-- cartridge's test.
create table figure.verdict as
with against as (
    select stay_no, rule_id, verdict, cured_by, reason, badness, measure, value, limit_value, unit, seen_on, order_in_day, null as part,
        table_name, file_id, record_no, line_no
    from broken_limit
    union all by name
    select * exclude (what) from reason_record
),
cure as (
    select unit_id, kind, serviced_on, order_in_day(kind) as order_in_day, coalesce(tested_part, 'both') as part
    from record.service where outcome = 'satisfactory' and kind <> 'condemn' and serviced_on <= $as_of::date
),
cured as (
    select distinct against.stay_no, rule_id, against.table_name, against.file_id, against.record_no
    from against join judged using (stay_no) join cure on cure.unit_id = judged.unit_id
        and list_contains(cured_by, cure.kind) and (cure.part <> 'cartridge' or against.part = 'cartridge')
        and (cure.serviced_on, cure.order_in_day) > (against.seen_on, against.order_in_day)
)
select judged.imo_number, judged.unit_id, verdict, reason, rule_id, measure, value, limit_value, unit, seen_on,
    standing.table_name, standing.file_id, standing.record_no, standing.line_no
from (from against anti join cured using (stay_no, rule_id, table_name, file_id, record_no)) as standing
join judged using (stay_no)
-- Of readings against one limit the worst that still stands; of like records the last.
qualify row_number() over (partition by stay_no, rule_id, case when badness is null then reason end
    order by badness desc, seen_on desc, order_in_day desc, standing.file_id, standing.record_no desc) = 1
order by judged.imo_number, judged.unit_id, verdict, rule_id, seen_on, reason;

-- figure.unfit_now: one row is a unit aboard on $as_of and a reason why it is not fit. A condemned one is not repeated here.
create table figure.unfit_now as select * exclude (verdict) from figure.verdict where verdict = 'unfit';

-- figure.condemn_now: one row is a unit aboard on $as_of and a hard reason to take it out of use for good
create table figure.condemn_now as select * exclude (verdict) from figure.verdict where verdict = 'condemn';

drop table reason_record;
drop table broken_limit;
drop table bound;
drop table judged;
