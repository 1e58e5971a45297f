-- one row is a rule: how often a duty falls due and for what
create table duty.rule (
    rule_id varchar, duty varchar, title varchar, counts varchar, forms varchar[], interval_months integer,
    first_basis varchar, anchor varchar, in_any boolean, source varchar, clause varchar, certainty varchar,
    breach_label varchar, regime varchar, about varchar
);

-- one row is a kind of record that satisfies a rule; a null kind means any
create table duty.satisfied_by (rule_id varchar, record varchar, kind varchar);
