-- figure.defect_report: one row is a finding on or before $as_of and what it counts for. It belongs to the unit's last stretch under
-- observation on that vessel, also on the day the stay ended and while the unit is ashore. One that belongs to none (a spare, a
-- vessel not in the fleet) has is_counted false. A report of a defect that is still open is the same defect again, and has its
-- defect_no. `provider` is who last serviced the unit before that day.
create table figure.defect_report as
with placed as (
    select finding.*, observed.agent, observed.space_category, observed.maker, observed.unit_id is not null as is_counted
    from record.finding as finding left join figure.observed as observed
        on observed.imo_number = finding.imo_number and observed.unit_id = finding.unit_id
        and observed.from_on <= finding.found_on and (observed.removed_on is null or finding.found_on <= observed.removed_on)
    where found_on <= $as_of::date
    qualify row_number() over (partition by finding.unit_id, found_on, component, defect order by observed.from_on desc nulls last) = 1
),
told as (
    select *, coalesce(max(coalesce(closed_on, date '9999-12-31')) over earlier > found_on, false) as is_same_defect,
        count(*) over earlier > 0 as is_seen_before
    from placed
    window earlier as (partition by is_counted, unit_id, component, defect order by found_on
        rows between unbounded preceding and 1 preceding)
)
select told.*, served.provider, sum((not is_same_defect)::int) over so_far as defect_no
from told left join figure.served as served
    on served.unit_id = told.unit_id and served.from_on <= found_on and found_on < served.to_on
window so_far as (partition by is_counted, told.unit_id, component, defect order by found_on)
order by told.unit_id, found_on, component, defect;
