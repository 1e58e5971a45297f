-- one row is a rule that binds the vessel
select rule_id, title, kind, concat_ws(', ', source, clause), certainty, breach_label, coalesce(interval_months || ' months', ''), loosens
from duty.provision left join (select rule_id, any_value(interval_months) as interval_months from duty.rule group by rule_id) using (rule_id)
where rule_no in (select rule_no from pack_rule) order by kind, rule_no
