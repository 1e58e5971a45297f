-- one row is a subject, the number of who is asked for what duty (in the order of their names), and until when. A group is asked until
-- its last unit has left for good, even where none was aboard meanwhile.
create temp table asked_subject as
with group_end as (
    select rule_id, imo_number, subject_id, max(coalesce(to_on, date '9999-12-31')) as asked_to
    from duty.subject where stay_no is null group by rule_id, imo_number, subject_id
)
select subject_no, coalesce(stay_no, -subject_no) as scope_key, asked_no, coalesce(asked_to, to_on, date '9999-12-31') as asked_to
from duty.subject as subject left join group_end on stay_no is null and group_end.rule_id = subject.rule_id
    and group_end.imo_number = subject.imo_number and group_end.subject_id = subject.subject_id;

-- one row is a stretch of days on which a stay (or a group's stays: the key is the negative of its subject) counts, and its last day
create temp table asked_scope as
select scope_key, from_on, to_on, max(to_on) over (partition by scope_key) as last_on
from (
    select stay_no as scope_key, from_on, to_on from duty.counted
    union all
    select -subject_no, counted.from_on, counted.to_on
    from duty.subject as subject
    join duty.stay as stay on subject.stay_no is null and stay.imo_number = subject.imo_number
        and stay.group_id = subject.subject_id
    join duty.counted as counted on counted.stay_no = stay.stay_no
);
