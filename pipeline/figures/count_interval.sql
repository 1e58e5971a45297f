-- figure.count_interval: one row is a stretch of days [from_on, to_on) on which one unit (or sample group) of one vessel is to be
-- counted under `measure`: 'unit' (it counts), 'overdue', or 'open' (overdue, or no basis to tell by). Stretches of one
-- unit, duty and measure never overlap, so any count on a day is a number of stretches. Every day is cut at $as_of.
create temp table piece as
with scope as (
    -- A group's key is the negative of its subject, so that one key serves stays and groups.
    select stay_no as scope_key, imo_number, unit_id, from_on, least(to_on, $as_of::date + 1) as to_on
    from duty.counted where from_on <= $as_of::date
    union all
    select -subject_no, counted.imo_number, subject.subject_id, counted.from_on, least(counted.to_on, $as_of::date + 1)
    from duty.subject as subject
    join duty.stay as stay on subject.stay_no is null and stay.imo_number = subject.imo_number
        and stay.group_id = subject.subject_id
    join duty.counted as counted on counted.stay_no = stay.stay_no
    where counted.from_on <= $as_of::date
),
late as (
    select coalesce(stay_no, -subject_no) as scope_key, duty, basis_on is null as is_unknown,
        greatest(judged_from, case when basis_on is null then date '0001-01-01' else due_on + 1 end) as from_on,
        least(coalesce(judged_to, date '9999-12-31'), coalesce(done_on, date '9999-12-31')) as to_on
    from duty.span
    where basis_on is null or (due_on < $as_of::date and (done_on is null or done_on > due_on + 1))
),
late_in_scope as (
    select scope.imo_number, scope.unit_id, duty, is_unknown,
        greatest(scope.from_on, late.from_on) as from_on, least(scope.to_on, late.to_on) as to_on
    from late join scope using (scope_key)
    where greatest(scope.from_on, late.from_on) < least(scope.to_on, late.to_on)
),
in_any as (select distinct duty from duty.rule where in_any),
-- What is asked of a stay or group, and on which days: the duties whose rules have it for a subject, and '*' where one enters it.
asked as (
    select coalesce(stay_no, -subject_no) as scope_key, duty, from_on as asked_from, coalesce(to_on, date '9999-12-31') as asked_to
    from duty.subject join duty.rule using (rule_id)
    union
    select stay_no, '*', from_on, coalesce(to_on, date '9999-12-31') from duty.subject join duty.rule using (rule_id)
    where in_any and stay_no is not null
)
-- Distinct, so that the order of stretches is total: with two alike, the two windows below could each put another first.
select distinct * from (
select scope.imo_number, scope.unit_id, duty, 'unit' as measure, greatest(scope.from_on, asked_from) as from_on,
    least(scope.to_on, asked_to) as to_on
from scope join asked using (scope_key) where greatest(scope.from_on, asked_from) < least(scope.to_on, asked_to)
union all
select imo_number, unit_id, duty, measure, from_on, to_on
from late_in_scope join (values ('overdue'), ('open')) as as_measure (measure) on measure = 'open' or not is_unknown
union all
select imo_number, unit_id, '*', measure, from_on, to_on
from late_in_scope semi join in_any using (duty)
join (values ('overdue'), ('open')) as as_measure (measure) on measure = 'open' or not is_unknown);

create table figure.count_interval as
with ordered as (
    select *, max(to_on) over earlier as reached_on
    from piece
    window earlier as (partition by imo_number, unit_id, duty, measure order by from_on, to_on
        rows between unbounded preceding and 1 preceding)
),
numbered as (
    select *, count(*) filter (reached_on is null or from_on > reached_on)
        over (partition by imo_number, unit_id, duty, measure order by from_on, to_on rows unbounded preceding) as island_no
    from ordered
)
select imo_number, unit_id, duty, measure, min(from_on) as from_on, max(to_on) as to_on
from numbered group by imo_number, unit_id, duty, measure, island_no
order by all;
drop table piece;
