-- one row is a rule that binds the unit $unit_id on the day of the report and asks less than one whose place it takes, or takes
-- one away: what would stand against the unit under the other is not seen elsewhere
select distinct rule_id, regime, breach_label, file, loosens
from duty.in_force as force join duty.stay as stay using (stay_no) join duty.provision as rule using (rule_id), intake.run as run
where unit_id = $unit_id and loosens is not null and is_within(run.as_of, force.from_on, force.to_on)
    and is_within(run.as_of, stay.from_on, coalesce(stay.to_on, date '9999-12-31'))
order by rule_id;
