-- figure.duty_now: one row is a unit (or sample group) that counts on $as_of, and a duty: what its date runs from, and how it
-- stands. A unit with overlapping stays on one vessel is shown by its worst.
create table figure.duty_now as
with present as (
    select subject_no from duty.counted as counted join duty.subject as subject using (stay_no)
    where is_within($as_of::date, counted.from_on, counted.to_on) and is_within($as_of::date, subject.from_on, subject.to_on)
    union
    select subject_no
    from duty.counted as counted join duty.stay as stay using (stay_no)
    join duty.subject as subject on subject.imo_number = stay.imo_number and subject.subject_id = stay.group_id
    where subject.stay_no is null and is_within($as_of::date, counted.from_on, counted.to_on)
        and is_within($as_of::date, subject.from_on, subject.to_on)
),
standing as (
    select span.*, case when basis_on is null then 'unknown' when due_on < $as_of::date then 'overdue' else 'in time' end as state
    from duty.span as span semi join present using (subject_no)
    where (done_on is null or done_on > $as_of::date) and (is_first or basis_on <= $as_of::date)
        and is_within($as_of::date, judged_from, judged_to)
)
select imo_number, unit_id, stay_no is null as is_group, duty, rule_id, basis_on, basis_kind, basis_file_id, basis_record_no,
    basis_line_no, due_on, state, case when state = 'overdue' then $as_of::date - due_on end as days_overdue
from standing
qualify row_number() over (partition by imo_number, unit_id, duty
    order by case state when 'overdue' then 0 when 'unknown' then 1 else 2 end, due_on, subject_no) = 1
order by imo_number, unit_id, duty;

-- figure.overdue_now: one row is a unit (or sample group) and a duty that is overdue on $as_of
create table figure.overdue_now as
select * exclude (state) from figure.duty_now where state = 'overdue' order by days_overdue desc, imo_number, unit_id, duty;

-- figure.due_ahead: one row is a vessel ('*' the fleet), a duty and a week (named by its Monday): what next falls due in it, for 365 days
create table figure.due_ahead as
select coalesce(imo_number, '*') as imo_number, duty, week_start, count(*) as due
from (
    select imo_number, duty, date_trunc('week', due_on)::date as week_start
    from figure.duty_now where due_on between $as_of::date and $as_of::date + 365
)
group by grouping sets ((imo_number, duty, week_start), (duty, week_start))
order by imo_number, duty, week_start;
