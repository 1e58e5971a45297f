-- duty.binding: one row is a set of rules and whom it binds: vessels under `flag` (null: any), of those listed (null: all).
create table duty.binding (regime_slug varchar, rank integer, flag varchar, vessels varchar[]);

-- duty.replaced: one row is a rule that takes another's place, or takes it away, for what it covers
create table duty.replaced (rule_id varchar, of_rule_id varchar);

-- duty.rule: one row is a rule that says how often a duty falls due and for what; only rules that bind a unit of the fleet
create table duty.rule (
    rule_id varchar, duty varchar, title varchar, counts varchar, forms varchar[], interval_months integer, grace_months integer,
    window_before_months integer, first_basis varchar, anchor varchar, in_any boolean, source varchar, clause varchar,
    certainty varchar, breach_label varchar, regime varchar, about varchar, rank integer
);

-- one row is a kind of record that satisfies a rule; null means any
create table duty.satisfied_by (rule_id varchar, record varchar, kind varchar, is_examination boolean, tested_part varchar);

-- one row is a finding from which a rule falls due; null means any
create table duty.triggered_by (rule_id varchar, component varchar, defect varchar, severity varchar);
