-- one row is a stay, or a group's stay (its key is the negative of its subject, so that one key serves both), and the days on which it
-- counts; units and duties are numbered in the order of their names, for numbers are sorted and compared in a third of the time of texts.
create temp table counted_scope as
select *, dense_rank() over (order by imo_number, unit_id) as who_no
from (
    select stay_no as scope_key, imo_number, unit_id, from_on, least(to_on, $as_of::date + 1) as to_on
    from duty.counted where from_on <= $as_of::date
    union all
    select -subject_no, counted.imo_number, subject.subject_id, counted.from_on, least(counted.to_on, $as_of::date + 1)
    from duty.subject as subject
    join duty.stay as stay on subject.stay_no is null and stay.imo_number = subject.imo_number
        and stay.group_id = subject.subject_id
    join duty.counted as counted on counted.stay_no = stay.stay_no
    where counted.from_on <= $as_of::date
);
create temp table counted_duty as
select duty, row_number() over (order by duty) as duty_no, in_any
from (select duty, bool_or(in_any) as in_any from duty.rule group by duty union all select '*', false);

-- one row is a stretch of days as in figure.count_interval, some of which overlap; measure 1 is 'open', 2 'overdue', 3 'unit'
create temp table piece as
with late as (
    select coalesce(stay_no, -subject_no) as scope_key, duty, basis_on is null as is_unknown,
        greatest(judged_from, case when basis_on is null then date '0001-01-01' else due_on + 1 end) as from_on,
        least(coalesce(judged_to, date '9999-12-31'), coalesce(done_on, date '9999-12-31')) as to_on
    from duty.span
    where basis_on is null or (due_on < $as_of::date and (done_on is null or done_on > due_on + 1))
),
late_in_scope as (
    select who_no, duty_no, in_any, is_unknown, greatest(scope.from_on, late.from_on) as from_on, least(scope.to_on, late.to_on) as to_on
    from late join counted_scope as scope using (scope_key) join counted_duty using (duty)
    where greatest(scope.from_on, late.from_on) < least(scope.to_on, late.to_on)
),
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
select who_no, duty_no, 3 as measure_no, greatest(scope.from_on, asked_from) as from_on, least(scope.to_on, asked_to) as to_on
from counted_scope as scope join asked using (scope_key) join counted_duty using (duty)
where greatest(scope.from_on, asked_from) < least(scope.to_on, asked_to)
union all
select who_no, duty_no, measure_no, from_on, to_on
from late_in_scope join (values (2), (1)) as as_measure (measure_no) on measure_no = 1 or not is_unknown
union all
select who_no, (select duty_no from counted_duty where duty = '*'), measure_no, from_on, to_on
from late_in_scope join (values (2), (1)) as as_measure (measure_no) on measure_no = 1 or not is_unknown
where in_any);

-- one row is a stretch, and how far those before it of its unit, duty and measure reach
create temp table ordered as
select *, max(to_on) over (partition by who_no, duty_no, measure_no order by from_on, to_on rows between unbounded preceding and 1 preceding)
    as reached_on
from piece;
drop table piece;

-- figure.count_interval: one row is a stretch of days [from_on, to_on) on which one unit (or sample group) of one vessel is to be
-- counted under `measure`: 'unit' (it counts), 'overdue', or 'open' (overdue, or no basis to tell by). Stretches of one
-- unit, duty and measure never overlap, so any count on a day is a number of stretches. Every day is cut at $as_of.
create table figure.count_interval as
-- few have stretches that touch or overlap
with touching as (select distinct who_no, duty_no, measure_no from ordered where from_on <= reached_on),
numbered as (
    select *, count(*) filter (reached_on is null or from_on > reached_on)
        over (partition by who_no, duty_no, measure_no order by from_on, to_on rows unbounded preceding) as island_no
    from ordered semi join touching using (who_no, duty_no, measure_no)
),
merged as (
    select who_no, duty_no, measure_no, min(from_on) as from_on, max(to_on) as to_on
    from numbered group by who_no, duty_no, measure_no, island_no
    union all
    select who_no, duty_no, measure_no, from_on, to_on from ordered anti join touching using (who_no, duty_no, measure_no)
)
select imo_number, unit_id, duty, case measure_no when 1 then 'open' when 2 then 'overdue' else 'unit' end as measure, from_on, to_on
from merged join (select distinct who_no, imo_number, unit_id from counted_scope) using (who_no)
join counted_duty using (duty_no) order by who_no, duty_no, measure_no, from_on;
drop table ordered;
drop table counted_scope;
drop table counted_duty;
