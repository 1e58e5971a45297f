-- one row is a reason against the unit $unit_id on the day of the report: what was seen, the limit, the rule, and the record behind it
select verdict, reason, against.measure, value, limit_value, against.unit, seen_on, path, line_no, record_no, rule.rule_id, source, clause,
    certainty, regime, breach_label, loosens, imo_number
from (
    select * from figure.verdict where unit_id = $unit_id and verdict <> 'placement'
    union all by name
    select * from figure.placement_now where unit_id = $unit_id
) as against
join duty.provision as rule using (rule_id) left join intake.file using (file_id)
order by case verdict when 'condemn' then 0 when 'unfit' then 1 when 'placement' then 2 else 3 end, seen_on, rule.rule_no, reason;
