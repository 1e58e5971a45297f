-- Invented rows for the page tests. Variables: vessels, units, months; temp table fleet_name(no, name).
-- draw(key, n) is a whole number from 0 to n - 1 that depends on the key alone.
CREATE MACRO draw(key, n) AS (hash(key) % n)::INTEGER;
SET VARIABLE day = DATE '2026-10-31';

INSERT INTO intake.run VALUES ('1', NULL, NULL, getvariable('day'), NULL, '0.1.0', '2.0.1', repeat('3f9a', 16));
INSERT INTO duty.rule BY POSITION SELECT *, 0, NULL FROM (VALUES
  ('check', 'onboard_check', 'onboard check', 'unit', NULL, 1, 'service_start', 'done', true, 'common practice', NULL, 'C',
   'baseline guidance', 'invented', 'A look at each unit in its place.'),
  ('annual', 'annual_service', 'annual service', 'unit', NULL, 12, 'service_start', 'done', true, 'IMO Res. A.951(23)', '9.1',
   'P', 'baseline guidance', 'invented', 'Not exceeding one year.'),
  ('test', 'pressure_test', 'pressure test', 'unit', NULL, 120, 'made_on', 'done', true, 'IMO Res. A.951(23)', '9.1.2', 'P',
   'baseline guidance', 'invented', 'Not exceeding ten years.'),
  ('sample', 'sample_discharge', 'sample discharge', 'group', ['portable'], 60, 'earliest_made_on', 'done', false,
   'IMO Res. A.951(23)', '9.1.1', 'P', 'baseline guidance', 'invented', 'One of each type and year.'));
INSERT INTO duty.satisfied_by (rule_id, record, kind) VALUES ('check', 'inspection', NULL), ('check', 'service', NULL),
  ('annual', 'service', 'annual_service'), ('annual', 'service', 'pressure_test'), ('test', 'service', 'pressure_test'),
  ('sample', 'service', 'discharge_test');

INSERT INTO record.vessel
SELECT six || list_sum([(six[k]::INTEGER) * (8 - k) for k in range(1, 7)]) % 10, name, 'bulk carrier', 'LR', 30000, 2012, -10,
  DATE '2012-05-01', NULL, NULL, NULL, '1', no + 1, no + 2
FROM (SELECT no, name, (900000 + 37 * no)::TEXT AS six FROM fleet_name WHERE no < getvariable('vessels'));

CREATE TEMP TABLE kind AS SELECT * FROM (VALUES
  (0, 'powder', 'ABC', NULL, NULL, 6.0), (1, 'co2', NULL, NULL, NULL, 5.0), (2, 'foam', 'AFFF', 'mechanical', 9.0, NULL),
  (3, 'water', NULL, NULL, 9.0, NULL), (4, 'wet_chemical', NULL, NULL, 6.0, NULL), (5, 'powder', 'ABC', NULL, NULL, 6.0),
  (6, 'co2', NULL, NULL, NULL, 5.0)) AS kind (no, agent, agent_detail, foam_kind, charge_l, charge_kg);
CREATE TEMP TABLE space AS SELECT * FROM (VALUES
  (0, 'Engine room', 'machinery'), (1, 'Galley', 'galley'), (2, 'A deck', 'accommodation'), (3, 'Bridge', 'control_station'),
  (4, 'Paint store', 'hazardous_store'), (5, 'Main deck', 'open_deck'), (6, 'Workshop', 'workshop'))
  AS space (no, space_name, space_category);
CREATE TEMP TABLE fault AS SELECT * FROM (VALUES
  (0, 'shell', 'corrosion'), (1, 'hose', 'damaged'), (2, 'gauge', 'low_pressure'), (3, 'seal', 'missing'),
  (4, 'label', 'illegible'), (5, 'bracket', 'damaged'), (6, 'pin', 'seized'), (7, 'hose', 'damaged'), (8, 'shell', 'corrosion'))
  AS fault (no, component, defect);

INSERT INTO figure.unit_now
SELECT imo_number, unit_id, CASE WHEN n = getvariable('units') THEN 'spare' WHEN n = getvariable('units') - 1 AND draw(imo_number, 2) = 1
    THEN 'ashore' ELSE 'in service' END, lpad(n::TEXT, 2, '0'), space_name, space_category, agent, agent_detail, foam_kind,
  CASE WHEN n % 17 = 0 THEN 'wheeled' ELSE 'portable' END, 'cartridge', charge_l, charge_kg,
  CASE WHEN charge_l IS NULL THEN 'none' ELSE 'epoxy_polyester' END, 'Tarn & Lowe', 'TL-' || n % 4, made_on, 'month',
  (getvariable('day') - made_on) / 365.25, greatest(made_on, DATE '2012-05-01'), getvariable('day') - draw(unit_id || 'i', 40),
  getvariable('day') - draw(unit_id || 's', 380), CASE WHEN n % 9 = 0 THEN getvariable('day') - 3 END,
  CASE WHEN n % 9 = 0 THEN 'no_access' END, 0, NULL, 0, '1', n, n + 1
FROM (SELECT *, imo_number[4:7] || '-' || lpad(n::TEXT, 3, '0') AS unit_id,
        make_date(2004 + draw(imo_number || n || 'y', 22), 1 + draw(imo_number || n || 'm', 12), 1) AS made_on
      FROM record.vessel, (SELECT unnest(range(1, getvariable('units') + 1)) AS n))
JOIN kind ON kind.no = draw(unit_id || 'a', 7) JOIN space ON space.no = draw(unit_id || 'p', 7);

INSERT INTO record.unit BY NAME
SELECT unit_id, imo_number, position_no, space_name, space_category, agent, agent_detail, foam_kind, expelled_by, form, charge_l, charge_kg, lining,
  maker, model, made_on, made_on_precision, in_service_on, counted = 'spare' AS is_spare, file_id, record_no, line_no FROM figure.unit_now;

INSERT INTO figure.duty_now
WITH asked AS (
  SELECT imo_number, unit_id, false AS is_group, duty, rule_id, interval_months, unit_id || duty AS key
  FROM figure.unit_now, duty.rule WHERE counts = 'unit' AND counted = 'in service'
  UNION ALL SELECT imo_number, 'powder 6 kg portable ' || y, true, duty, rule_id, interval_months, imo_number || duty || y
  FROM record.vessel, duty.rule, (VALUES (2019), (2020)) AS made (y) WHERE counts = 'group'),
dated AS (
  SELECT *, CASE WHEN draw(key, 30) = 0 THEN getvariable('day') - 1 - draw(key || 'late', 220)
      ELSE getvariable('day') + draw(key || 'due', interval_months * 30) END AS due_on,
    duty = 'pressure_test' AND draw(key || 'unknown', 90) = 0 AS is_unknown FROM asked)
SELECT imo_number, unit_id, is_group, duty, rule_id, CASE WHEN NOT is_unknown THEN (due_on - to_months(interval_months))::DATE END,
  CASE WHEN NOT is_unknown THEN if(draw(key, 2) = 1, 'annual_service', 'made_on') END, '2', 1 + draw(key || 'r', 400),
  2 + draw(key || 'r', 400),
  CASE WHEN NOT is_unknown THEN due_on END,
  CASE WHEN is_unknown THEN 'unknown' WHEN due_on < getvariable('day') THEN 'overdue' ELSE 'in time' END,
  CASE WHEN NOT is_unknown AND due_on < getvariable('day') THEN getvariable('day') - due_on END
FROM dated ORDER BY imo_number, unit_id, duty;

INSERT INTO duty.sample_group
SELECT rule_id, imo_number, d.unit_id, u.unit_id FROM figure.duty_now AS d JOIN figure.unit_now AS u USING (imo_number)
WHERE is_group AND counted = 'in service' AND draw(d.unit_id || u.unit_id, 6) = 0;

INSERT INTO figure.overdue_monthly
WITH subject AS (SELECT imo_number, unit_id, duty, state FROM figure.duty_now
  UNION ALL SELECT imo_number, unit_id, '*', CASE WHEN bool_or(state = 'overdue') THEN 'overdue' ELSE 'in time' END
  FROM figure.duty_now WHERE NOT is_group GROUP BY ALL),
standing AS (SELECT imo_number, duty, count(*) AS units, count(*) FILTER (state = 'overdue') AS overdue,
  count(*) FILTER (state = 'unknown') AS unknown FROM subject GROUP BY ALL),
month AS (SELECT n, last_day((getvariable('day') - to_months(n::INTEGER))::DATE) AS month_end FROM range(getvariable('months')) AS m (n)),
past AS (SELECT month_end, imo_number, duty, units, unknown,
  CASE WHEN n = 0 THEN overdue ELSE least(units, draw(imo_number || duty || n, 4) + overdue // 2) END AS overdue FROM standing, month),
scoped AS (SELECT month_end, coalesce(imo_number, '*') AS imo_number, duty, sum(units) AS units, sum(overdue) AS overdue,
  sum(unknown) AS unknown FROM past GROUP BY GROUPING SETS ((month_end, imo_number, duty), (month_end, duty))),
daily AS (SELECT *, units * day(month_end) AS unit_days, overdue * (day(month_end) - draw(imo_number || duty || month_end, 9)) AS late_days
  FROM scoped)
SELECT month_end, imo_number, duty, units, overdue, unknown, overdue / nullif(units - unknown, 0), late_days, unit_days,
  late_days / unit_days FROM daily ORDER BY ALL;

INSERT INTO record.finding
SELECT unit_id, imo_number, found_on, 'inspection', component, defect, if(draw(unit_id || 'w', 3) = 0, 'major', 'minor'),
  CASE WHEN defect = 'corrosion' THEN 'Ri2' END, NULL, NULL, NULL, 'to be renewed',
  CASE WHEN draw(unit_id || 'c', 5) > 1 THEN least(getvariable('day'), found_on + 3 + draw(unit_id || 'd', 60)) END, '2', draw(unit_id, 400), 9
FROM (SELECT *, getvariable('day') - 10 - draw(unit_id || 'f', 480) AS found_on FROM figure.unit_now WHERE draw(unit_id || 'x', 4) = 0)
JOIN fault ON fault.no = draw(unit_id || 'k', 9);
INSERT INTO figure.defect_report (unit_id, imo_number, found_on, component, defect, is_counted)
SELECT unit_id, imo_number, found_on, component, defect, unit_id NOT IN (SELECT unit_id FROM figure.unit_now WHERE counted = 'spare')
FROM record.finding;
INSERT INTO record.service (unit_id, imo_number, serviced_on, kind, outcome, file_id, record_no, line_no)
SELECT unit_id, imo_number, last_serviced_on, 'annual_service', 'satisfactory', '2', n, n + 1
FROM (SELECT *, row_number() OVER (ORDER BY unit_id) AS n FROM figure.unit_now);
INSERT INTO record.spare
SELECT imo_number, getvariable('day') - (400 * old)::INTEGER, agent, charge_l, charge_kg, 3 + old, '1', no, no + 1
FROM record.vessel, (SELECT DISTINCT agent, charge_l, charge_kg, no FROM kind WHERE no < 3), range(2) AS o (old);
UPDATE figure.unit_now SET worst_open_severity = (
  SELECT arg_min(severity, list_position(['unfit', 'major', 'minor'], severity)) FROM record.finding f
  WHERE f.unit_id = unit_now.unit_id AND closed_on IS NULL);
UPDATE figure.unit_now SET
  open_findings = (SELECT count(*) FROM record.finding f WHERE f.unit_id = unit_now.unit_id AND closed_on IS NULL),
  overdue_duties = (SELECT count(*) FROM figure.duty_now d WHERE d.unit_id = unit_now.unit_id AND d.state = 'overdue');

INSERT INTO figure.defect_rate
WITH period AS (SELECT * FROM (VALUES ('all', 3.0), ('last 12 months', 1.0), ('2025', 1.0), ('2026', 0.8)) AS p (period, years)),
combo AS (
  SELECT '*' AS imo_number, '*' AS component, '*' AS defect, '*' AS agent, '*' AS space_category, 0.4 AS part
  UNION SELECT imo_number, '*', '*', '*', '*', 0.4 / getvariable('vessels') FROM record.vessel
  UNION SELECT '*', component, defect, '*', '*', 0.06 FROM fault UNION SELECT '*', component, '*', '*', '*', 0.07 FROM fault
  UNION SELECT '*', '*', defect, '*', '*', 0.08 FROM fault UNION SELECT '*', '*', '*', agent, '*', 0.08 FROM kind
  UNION SELECT '*', '*', '*', '*', space_category, 0.06 FROM space),
counted AS (SELECT *, count(*) OVER () AS ignored, (SELECT count(*) FROM figure.unit_now) * years
    * CASE WHEN imo_number <> '*' THEN 1 / getvariable('vessels') WHEN agent <> '*' OR space_category <> '*' THEN 0.2 ELSE 1 END AS unit_years,
  round((SELECT count(*) FROM figure.unit_now) * years * part * (50 + draw(component || defect || agent || space_category || imo_number, 100)) / 100)
    ::BIGINT AS findings FROM period, combo WHERE (SELECT count(*) FROM figure.unit_now) > 0)
-- The limits follow Byar's short formula: near enough to Garwood's for a fixture, and not what the product shows.
SELECT period, imo_number, component, defect, agent, space_category, findings, unit_years, 100 * findings / unit_years,
  CASE WHEN findings = 0 THEN 0 ELSE 100 * findings * pow(1 - 1 / (9 * findings) - 1.96 / (3 * sqrt(findings)), 3) / unit_years END,
  100 * (findings + 1) * pow(1 - 1 / (9 * (findings + 1)) + 1.96 / (3 * sqrt(findings + 1)), 3) / unit_years, findings >= 10,
  findings + findings // 3, CASE WHEN findings > 0 THEN 0.12 END, findings * 2 // 3, CASE WHEN findings > 0 THEN 21 END, '*', '*',
  (12 * unit_years)::BIGINT, 100 * findings / (12 * unit_years)::BIGINT
FROM counted ORDER BY ALL;
INSERT INTO figure.defect_rate
SELECT * REPLACE ('*' AS agent, if(agent = 'co2', 'Tarn & Lowe', 'Ashquill') AS maker) FROM figure.defect_rate WHERE agent IN ('co2', 'foam');
INSERT INTO figure.defect_rate
SELECT * REPLACE ('*' AS maker, if(maker = 'Ashquill', 'Pellworth Works', 'Quarnside') AS provider) FROM figure.defect_rate WHERE maker <> '*';

INSERT INTO figure.defect_vessel
SELECT period, imo_number, findings, unit_years, per_100_unit_years, low, high, 'Garwood', per_100_unit_years * 0.9, low * 1.1, high * 0.8,
  if(imo_number = '*', NULL, draw(imo_number || 'above', 100) / 100), if(imo_number = '*', NULL, row_number() OVER (PARTITION BY period ORDER BY imo_number) - 1),
  21.1, 5, 0.01, 1.3, 0.02, if(imo_number = '*', 'vessels differ by more than chance', NULL)
FROM figure.defect_rate WHERE period IN ('all', 'last 12 months')
  AND (component, defect, agent, space_category, maker, provider) = ('*', '*', '*', '*', '*', '*') ORDER BY ALL;
INSERT INTO figure.defect_change
SELECT findings, unit_years, findings + 3, unit_years, findings / (findings + 3), 0.71, 1.07, 0.18, 0.68, 1.1, 0.2, 'can not be told from chance'
FROM figure.defect_vessel WHERE imo_number = '*' AND period = 'last 12 months';
INSERT INTO figure.defect_pareto
SELECT period, component, defect, findings, findings / sum(findings) OVER w, 0.8 * findings / sum(findings) OVER w,
  1.2 * findings / sum(findings) OVER w, if(row_number() OVER o = 1, 0.6, 0.05), 0.3, true, false,
  if(row_number() OVER o < 3, ['another kind'], []::TEXT[]), getvariable('vessels'), 'vessels', NULL
FROM figure.defect_rate WHERE component <> '*' AND defect <> '*' AND findings > 0
WINDOW w AS (PARTITION BY period), o AS (PARTITION BY period ORDER BY findings DESC, component, defect) ORDER BY ALL;
INSERT INTO figure.defect_closing
SELECT period, severity, imo_number, 40, 30, 12, 10, 14, 9, 20, if(severity = 'major', NULL, 80), if(severity = 'major', NULL, 60), NULL,
  if(severity = 'major', 'more than one in ten last longer than the records can tell', NULL)
FROM (VALUES ('all'), ('last 12 months')) AS p (period),
  (SELECT '*' AS severity, '*' AS imo_number UNION SELECT unnest(['minor', 'major']), '*' UNION SELECT '*', imo_number FROM record.vessel)
WHERE getvariable('vessels') > 0 ORDER BY ALL;
INSERT INTO figure.defect_repeat
SELECT period, component, findings, findings // 8, if(findings < 10, NULL, findings // 8 / findings), if(findings < 10, NULL, 0.02), if(findings < 10, NULL, 0.3)
FROM figure.defect_rate WHERE findings > 0
  AND (imo_number, defect, agent, space_category, maker, provider) = ('*', '*', '*', '*', '*', '*') ORDER BY ALL;
INSERT INTO figure.service_failure
SELECT period, provider, 90, 80, 7200, 6, 7.5, 3.5, 15.2, 12, 60, if(provider = '*', NULL, -1.5), if(provider = '*', NULL, -6), if(provider = '*', NULL, 4),
  if(provider = '*', NULL, 'can not be told apart'), NULL
FROM (VALUES ('all'), ('last 12 months')) AS p (period), (VALUES ('*'), ('Pellworth Works'), ('Quarnside')) AS q (provider)
WHERE getvariable('vessels') > 0 ORDER BY ALL;

INSERT INTO figure.corrosion_by_age
WITH band AS (SELECT * FROM (VALUES (0, 5, '0–4'), (5, 10, '5–9'), (10, 15, '10–14'), (15, 20, '15–19'), (20, 1000, '20 and over'))
  AS b (low_age, high_age, age_band_years)),
unit AS (SELECT band.*, agent, lining, space_category, draw(unit_id || 'rust', 100) < 3 + 2 * low_age AS is_bad
  FROM figure.unit_now JOIN band ON age_years >= low_age AND age_years < high_age WHERE counted = 'in service'),
cut AS (SELECT low_age, age_band_years, coalesce(agent, '*') AS agent, coalesce(lining, '*') AS lining,
  coalesce(space_category, '*') AS space_category, count(*) AS n, count(*) FILTER (is_bad) AS bad
  FROM unit GROUP BY GROUPING SETS ((low_age, age_band_years), (low_age, age_band_years, agent), (low_age, age_band_years, lining),
    (low_age, age_band_years, space_category)))
SELECT age_band_years, agent, lining, space_category, n, bad, bad / n,
  (bad + 1.92) / (n + 3.84) - 1.96 * sqrt(bad * (n - bad) / n + 0.96) / (n + 3.84),
  (bad + 1.92) / (n + 3.84) + 1.96 * sqrt(bad * (n - bad) / n + 0.96) / (n + 3.84), bad // 2, bad // 4, 0, 0, 0, bad - bad // 2 - bad // 4,
  if(n < 10, NULL, bad / n)
FROM cut ORDER BY agent, lining, space_category, low_age;

INSERT INTO figure.agent_mix (imo_number, agent, agent_detail, foam_kind, units, total_charge_l, total_charge_kg, spare_charges_held,
  obsolete_units)
SELECT imo_number, agent, agent_detail, foam_kind, count(*), sum(charge_l), sum(charge_kg), count(*) // 2, if(agent = 'water', 1, 0)
FROM figure.unit_now WHERE counted = 'in service' GROUP BY ALL ORDER BY ALL;
INSERT INTO figure.overdue_part
SELECT month_end, imo_number, agent, space_category, count(*), count(*) FILTER (draw(unit_id || month_end, 30) = 0), 30 * count(*),
  10 * count(*) FILTER (draw(unit_id || month_end, 30) < 2)
FROM (SELECT DISTINCT month_end FROM figure.overdue_monthly ORDER BY month_end DESC LIMIT 36), figure.unit_now WHERE counted = 'in service'
GROUP BY ALL ORDER BY ALL;
INSERT INTO figure.watched_part SELECT month_end, imo_number, agent, space_category, unit_days FROM figure.overdue_part;
INSERT INTO figure.defect_part
SELECT last_day(found_on), f.imo_number, agent, space_category, component, defect, count(*)
FROM record.finding AS f JOIN figure.unit_now USING (unit_id) WHERE counted = 'in service' AND last_day(found_on) IN (SELECT month_end FROM figure.overdue_part)
GROUP BY ALL ORDER BY ALL;
INSERT INTO figure.agent_part
SELECT imo_number, agent, space_category, count(*) FROM figure.unit_now WHERE counted = 'in service' GROUP BY ALL ORDER BY ALL;
INSERT INTO figure.corrosion_part
SELECT if(draw(unit_id || 'age', 2) = 0, '0–4', '10–14'), imo_number, agent, space_category, count(*), count(*) FILTER (draw(unit_id || 'rust', 100) < 20)
FROM figure.unit_now WHERE counted = 'in service' GROUP BY ALL ORDER BY ALL;
INSERT INTO figure.due_ahead
SELECT coalesce(imo_number, '*'), duty, date_trunc('week', due_on)::DATE AS week_start, count(*) FROM figure.duty_now
WHERE due_on BETWEEN getvariable('day') AND getvariable('day') + 365
GROUP BY GROUPING SETS ((imo_number, duty, week_start), (duty, week_start));
INSERT INTO figure.freshness
SELECT imo_number, getvariable('day') - 9 * record_no, 9 * record_no, 45, record_no > 5 FROM record.vessel ORDER BY imo_number;

INSERT INTO intake.file
SELECT no::TEXT, path, repeat(no::TEXT, 64), 4096 * no, TIMESTAMP '2026-11-01', 'north', 'cp1252', ';', 420, 420, 400, if(no = 2, 18, 0), 20, 3, NULL
FROM (VALUES (1, 'north/units.csv'), (2, 'north/checks_2026.csv'), (3, 'south/register;old.csv')) AS f (no, path)
WHERE getvariable('vessels') > 0;
INSERT INTO intake.file_table SELECT file_id, 'inspection', rows_read, rows_loaded, rows_quarantined, rows_duplicate FROM intake.file;
INSERT INTO intake.quarantine
SELECT '2', n, n + 4, 'inspection', 'impossible-date', 'inspected_on', '=31.02.2026', 'The date 31.02.2026 does not exist: correct it at the source.', '{}',
  if(n > 15, '3', NULL)
FROM range(1, 19) AS r (n) WHERE getvariable('vessels') > 0;
INSERT INTO intake.flag
SELECT '1', n, n + 1, 'unit', 'year-only-made-on', 'made_on', '2014', 'Only the year of manufacture is known; its first day was taken.'
FROM range(1, 9) AS r (n) WHERE getvariable('vessels') > 0;
INSERT INTO intake.check_result
SELECT * FROM (VALUES ('inspection', 'impossible-date', 'inspected_on', 'inspection dates exist', 420, 18),
  ('unit', 'required-missing', 'unit_id', 'every unit has its number', 420, 0)) WHERE getvariable('vessels') > 0;
INSERT INTO intake.correction
SELECT '2', 30, 'inspected_on', '2026-13-04', '2026-04-13', 'Day and month were typed the wrong way round.', 'R. Invented, superintendent',
  DATE '2026-10-02', 'north/corrections.csv', 1 WHERE getvariable('vessels') > 0;
INSERT INTO intake.withdrawn
SELECT '9', 'south/checks_2019.csv', repeat('9', 64), 1, TIMESTAMP '2026-10-01', TIMESTAMP '2026-10-20', 'The checks of another vessel.'
WHERE getvariable('vessels') > 0;

-- Verdicts: every third unit has one, of a made-up rule of each kind.
INSERT INTO duty.provision (rule_no, rule_id, kind, title, source, clause, certainty, regime, regime_slug, layer, breach_label, loosens, about, agents)
VALUES (1, 'mass', 'limit', 'charge lost', 'an invented table', '1', 'C', 'Invented baseline', 'baseline', 'baseline', 'baseline guidance', NULL, 'none', ['co2']),
  (2, 'weld', 'ground', 'welded shell', 'an invented table', '2', 'P', 'Invented baseline', 'baseline', 'baseline', 'baseline guidance', NULL, 'none', NULL),
  (3, 'place', 'placement', 'gas where people sleep', 'an invented table', '3', 'M', 'Invented manual', 'manual', 'company', 'company rule',
   'gas: asks half', 'none', ['co2']),
  (4, 'five', 'number', 'at least five', 'an invented table', '4', 'P2', 'Invented baseline', 'baseline', 'baseline', 'baseline guidance', NULL, 'none', NULL);
INSERT INTO duty.provision (rule_no, rule_id, kind, title, source, clause, certainty, regime, regime_slug, layer, breach_label, about)
SELECT 10 + row_number() OVER (ORDER BY rule_id), rule_id, 'duty', title, source, clause, certainty, 'Invented baseline', 'baseline', 'baseline', breach_label, about
FROM duty.rule;
INSERT INTO duty.provision (rule_no, rule_id, kind, title, source, clause, certainty, regime, regime_slug, layer, breach_label, loosens, about, effective_from)
VALUES (20, 'away', 'drop', 'no look at <b>spares</b>', 'an invented manual', '5', 'C', 'Invented manual', 'manual', 'company', 'company rule',
  'takes away check', 'none', DATE '2026-01-01');
INSERT INTO duty.binding VALUES ('baseline', 0, NULL, NULL), ('manual', 3, NULL, NULL);
INSERT INTO duty.stay (stay_no, imo_number, unit_id, from_on, to_on) SELECT 1, min(imo_number), 'U', DATE '2020-01-01', NULL FROM record.vessel HAVING count(*) > 0;
INSERT INTO duty."limit" VALUES ('mass', 'unfit', 'charge_lost_pct', 'above', 10, NULL, 'pct');
INSERT INTO duty.ground VALUES ('weld', 'condemn', 'finding', ['shell'], ['damaged'], NULL, NULL, NULL, ['weld']);
INSERT INTO duty.placement VALUES ('place', 'unsuitable', NULL);
INSERT INTO duty.number VALUES ('five', 'portable_units', 5, NULL, NULL, NULL, NULL);
INSERT INTO duty.in_force SELECT rule_id, 1, DATE '0001-01-01', DATE '9999-12-31' FROM duty.provision WHERE kind <> 'number';
INSERT INTO duty.vessel_in_force SELECT 'five', imo_number, DATE '0001-01-01', DATE '9999-12-31' FROM record.vessel;
CREATE TEMP TABLE judged AS SELECT *, row_number() OVER (ORDER BY imo_number, unit_id) AS no FROM figure.unit_now WHERE counted = 'in service';
INSERT INTO figure.verdict
SELECT imo_number, unit_id, if(no % 2 = 0, 'unfit', 'condemn'), if(no % 2 = 0, 'charge lost: 12.5 %, limit 10', 'welded shell: shell, damaged'),
  if(no % 2 = 0, 'mass', 'weld'), if(no % 2 = 0, 'charge_lost_pct', NULL), if(no % 2 = 0, 12.5, NULL), if(no % 2 = 0, 10, NULL),
  if(no % 2 = 0, 'pct', NULL), getvariable('day') - 20, 'service', '2', no, no + 1 FROM judged WHERE no % 3 = 0;
INSERT INTO figure.placement_now
SELECT imo_number, unit_id, 'placement', 'gas where people sleep: <A deck>', 'place', NULL, NULL, NULL, NULL, getvariable('day'), 'unit', '1', no, no + 1,
  'unsuitable' FROM judged WHERE agent = 'co2' AND space_category = 'accommodation';
INSERT INTO figure.station_now SELECT imo_number, 'FE-90', 'Bow', 'empty', NULL, NULL, '1', 9 FROM record.vessel;
INSERT INTO figure.number_now SELECT imo_number, 'five', 'portable_units', NULL, NULL, NULL, 5, 4, 4, 1, 'short', NULL FROM record.vessel;
INSERT INTO figure.stated_vs_computed
SELECT imo_number, unit_id, 'annual_service', getvariable('day') - 30, getvariable('day') + 700, getvariable('day') + 335, 365, 'annual', 'service', '2', no, no + 1
FROM judged WHERE no % 10 = 0;
-- What fell due and was done in time, in the rough: every unit once a month, those overdue late; the second vessel lies outside.
INSERT INTO figure.on_time_chart
SELECT month_end, duty, units, units - overdue, 1 - overdue / units, DATE '2025-05-01', month_end, 18, 0.9, 0.7, 1.0, 2.1, 1 - overdue / units < 0.7,
  0.1, -0.9, 0.9, false, 18, 4, 7, 8, 5, false, NULL, NULL, NULL, NULL
FROM figure.overdue_monthly WHERE imo_number = '*' AND duty = '*';
INSERT INTO figure.on_time_year
WITH summed AS (SELECT imo_number, duty, sum(units) AS units, sum(units - overdue) AS done FROM figure.overdue_monthly
  WHERE month_end > getvariable('day') - to_months(12) GROUP BY ALL),
period AS (SELECT unnest(['last 12 months', 'the 12 before']) AS period)
SELECT period, getvariable('day') - 364, getvariable('day'), imo_number, duty, units, done, done / units, greatest(0, done / units - 0.1),
  least(1, done / units + 0.05), 12, 40.0, 0.8, 0.95, CASE WHEN duty = '*' THEN 'rate' ELSE 'counts only' END,
  CASE WHEN duty <> '*' THEN 'tells as much as 12 independent services; 30 are needed' END, NULL,
  CASE WHEN imo_number <> '*' THEN 12.0 + units / 100 END, 0.9, 0.7, 1.0, 0.6, 1.0, 1.1, NULL,
  CASE WHEN period = 'last 12 months' AND imo_number = (SELECT max(imo_number) FROM record.vessel) THEN 'fewer in time' END,
  CASE WHEN imo_number = '*' THEN 3.4 END, 0.02, -0.05, 0.09,
  CASE WHEN period <> 'last 12 months' THEN NULL WHEN duty = '*' THEN 'can not be told' ELSE 'too few' END
FROM summed, period WHERE units > 0;
INSERT INTO figure.overdue_duration
SELECT imo_number, duty, 20 + count(*), 2, 1, 6, 12, 8, 20, 41, 30, NULL, NULL FROM figure.overdue_monthly GROUP BY ALL;

-- Corrosion: a Weibull curve with and without what looks miss, walls that get thinner, a few pits.
INSERT INTO figure.corrosion_onset
WITH method AS (SELECT * FROM (VALUES ('first clean, errors of looks allowed for', 14, 2), ('first clean, delayed entry', 16, 2),
  ('all units, prevalent left-censored', 17, 0), ('naive: first finding taken as the day it began', 19, 0)) AS m (method, scale, starts_at)),
part AS (SELECT * FROM (VALUES ('all', 'all', 1), ('space_category', 'machinery', 1), ('space_category', 'open_deck', 0.6), ('agent', 'foam', 1.1))
  AS p (dimension, value, factor)),
aged AS (SELECT *, unnest(range(4, 41)) / 2 AS age FROM method, part WHERE getvariable('vessels') > 0)
SELECT method, dimension, value, age, starts_at, 60 - age::INTEGER, 1 - exp(-pow(age / scale / factor, 2.2)) AS share, 0.8 * share, least(1, 1.2 * share)
FROM aged ORDER BY ALL;
INSERT INTO figure.corrosion_model
SELECT method, 'all', 'all', term, 200, 60, 6, estimate, low, high, why_not FROM (VALUES
  ('first clean, errors of looks allowed for', 'shape', 2.2, 1.8, 2.7, NULL), ('first clean, errors of looks allowed for', 'scale_years', 14.0, 12.5, 15.8, NULL),
  ('first clean, errors of looks allowed for', 'sensitivity', 0.55, 0.4, 0.7, NULL),
  ('first clean, errors of looks allowed for', 'sensitivity_5_years', 0.8, 0.7, 0.9, NULL),
  ('first clean, errors of looks allowed for', 'specificity', 0.985, 0.97, 0.993, NULL), ('first clean, delayed entry', 'shape', 2.2, 1.8, 2.7, NULL),
  ('first clean, delayed entry', 'open_deck', 0.62, 0.48, 0.81, NULL), ('first clean, delayed entry', 'machinery', 0.9, 0.7, 1.2, NULL),
  ('first clean, delayed entry', 'lined', NULL, NULL, NULL, 'fewer than 5 onsets on one side: 3 with, 57 without')) AS m (method, term, estimate, low, high, why_not)
WHERE getvariable('vessels') > 0 ORDER BY ALL;
INSERT INTO figure.rust_grade_change
SELECT 'Ri' || no, 'Ri' || (no + step), CASE step WHEN 1 THEN 'worse' WHEN 0 THEN 'same' ELSE 'better' END AS kind, 10 + no + step, 30.0,
  if(kind = 'worse', 100 * (10 + no + step) / 30, NULL), if(kind = 'worse', 20, NULL), if(kind = 'worse', 70, NULL)
FROM (SELECT unnest([1, 2, 3]) AS no), (SELECT unnest([-1, 0, 1]) AS step) WHERE getvariable('vessels') > 0 ORDER BY ALL;
INSERT INTO figure.wall_loss
WITH numbered AS (SELECT unit_id, imo_number, row_number() OVER (ORDER BY unit_id) AS no FROM figure.unit_now WHERE counted = 'in service'),
measured AS (SELECT *, 1.1 + no / 100 AS last_mm FROM numbered WHERE no <= 40)
SELECT unit_id, imo_number, true, 2 + no % 3, getvariable('day') - 1500, last_mm + 0.12, getvariable('day') - 40, last_mm, last_mm, 1.2, 0.03, 0.005,
  0.055, 0.028, 0.012, 0.044, if(last_mm > 1.31, (last_mm - 1.2) / 0.044, NULL),
  CASE WHEN last_mm < 1.11 THEN 'below the least wall' WHEN last_mm <= 1.31 THEN 'not estimable: the last reading can''t be told from the least wall' END, 0.055, true
FROM measured ORDER BY ALL;
INSERT INTO figure.pit_reading
SELECT unit_id, imo_number, if(readings = 2, 'mild steel', 'stainless steel'), 0.2 + last_mm / 4, last_on, true FROM figure.wall_loss ORDER BY ALL;
INSERT INTO figure.pit_depth
SELECT shell_material, n, 0.52, 0.58, if(n < 20, NULL, 0.5), if(n < 20, NULL, 0.02), if(n < 20, NULL, 0.05), if(n < 20, NULL, 0.01), if(n < 20, NULL, 0.1),
  if(n < 20, NULL, 0.1), if(n < 20, NULL, 0.4), if(n < 20, NULL, 0.73), if(n < 20, n || ' units with a pit; 20 are needed', NULL)
FROM (SELECT coalesce(shell_material, '*') AS shell_material, count(*)::INTEGER AS n FROM figure.pit_reading GROUP BY ROLLUP (shell_material)) WHERE n > 0 ORDER BY ALL;

-- Watch list: chances that fall with the rank, reasons that lead to findings, and four past half-years.
INSERT INTO figure.watch_model
SELECT 'chances', '50 condemned units carry eight traits and chances; in 3 of 4 past half-years the model''s first 5 % held more condemned units than the oldest 5 %, in 1 fewer',
  getvariable('vessels'), 40 * getvariable('vessels'), 6, 50, 3, 1, 0.031, 0.022, getvariable('day') - 400, 7.4, 8, 0.81, 0.44 WHERE getvariable('vessels') > 0
UNION ALL SELECT 'rule', '0 units condemned in the records to learn from; more than 10 are needed, so units are ordered by four plain signs and no chance is given',
  0, 0, 0, 0, 0, 0, NULL, NULL, NULL, NULL, NULL, NULL, NULL WHERE getvariable('vessels') = 0;
INSERT INTO figure.watch_weight SELECT * FROM (VALUES ('grade', 'a rust grade', 1.7, 1.3, 2.2), ('test', 'pressure test due', 2.1, 1.2, 3.7)) WHERE getvariable('vessels') > 0;
INSERT INTO figure.watch_list
WITH numbered AS (SELECT unit_id, min(imo_number) AS imo_number, max(age_years) AS age_years, row_number() OVER (ORDER BY unit_id)::INTEGER AS no
  FROM figure.unit_now WHERE counted = 'in service' GROUP BY unit_id)
SELECT no, unit_id, imo_number, 'in service', if(no < 3, 'lining failed', NULL), 'chances', if(no < 14, 'first 5 %', 'the rest'), 0.4 / (no + 1), 0.2 / (no + 1),
  0.7 / (no + 1), NULL, if(no < 30, '2.1 times the odds: rust grade Ri3 on 3 Mar 2025', ''), 'a pressure test that it passes: rank 9, chance then 2 %', 9, 120, 18,
  age_years, getvariable('day') + 300, 0.6 FROM numbered ORDER BY no;
INSERT INTO figure.watch_reason
SELECT list.unit_id, list.imo_number, 1, if(list_rank < 3, 'hard', 'odds'), 'corrosion', 'rust grade Ri3 on 3 Mar 2025', if(list_rank < 3, NULL, 2.1), 'unit',
  (SELECT min(file_id) FROM intake.file), list_rank, list_rank + 1, getvariable('day') - 600 FROM figure.watch_list AS list WHERE list_rank < 30 ORDER BY list_rank;
INSERT INTO figure.back_test
WITH method AS (SELECT * FROM (VALUES ('model', 0.25, 3), ('rule', 0.2, 2), ('oldest_first', 0.1, 1), ('hard_rules', 0.05, 0.5), ('base_rate', 0.03, 0.4)) AS m (method, share, found)),
cut AS (SELECT unnest([getvariable('day') - 910, getvariable('day') - 730, getvariable('day') - 550, NULL]) AS cutoff)
SELECT cutoff, 12, method, 'chances', 50, 260, 12, 4, if(method = 'model', 11.2, NULL), if(method = 'model', 0.03, NULL), if(method = 'model', 0.1, NULL),
  if(method = 'model', 0.12, NULL), if(method = 'model', 0.1, NULL), if(method = 'model', 1.02, NULL), 13, 13 * share, share, share / 2, share * 1.5, share / 0.03,
  share - 0.1, share - 0.2, share, 26, 20 * share, share * 0.8, share / 3, share, share / 0.04, share - 0.1, share - 0.2, share, NULL
FROM method, cut WHERE getvariable('vessels') > 0 ORDER BY ALL;
INSERT INTO figure.back_test_group
SELECT 'band', no, ['first 5 %', 'next 15 %', 'the rest'][no], 40 * no, 0.3 / no, 12 // no, 12 // no / (40 * no), 0.1 / no, 0.6 / no
FROM (SELECT unnest([1, 2, 3]) AS no) WHERE getvariable('vessels') > 0
UNION ALL SELECT 'fifth', no, 'fifth ' || no, 80, 0.02 * no, 2 * no, 2 * no / 80, 0.01 * no, 0.05 * no
FROM (SELECT unnest([1, 2, 3, 4, 5]) AS no) WHERE getvariable('vessels') > 0 ORDER BY ALL;
INSERT INTO figure.price SELECT 1, 'EUR', getvariable('day') - 60, 45, 20, 1200, 'powder', NULL, NULL, 210, 55 WHERE getvariable('vessels') > 0;
INSERT INTO figure.watch_cost
SELECT list_rank, unit_id, imo_number, 'EUR', if(list_rank < 3, NULL, 20.5), if(list_rank < 3, NULL, 18.25), if(list_rank < 3, NULL, 400.0 / list_rank),
  if(list_rank < 3, NULL, if(list_rank < 20, 'replace now', 'keep for now')), if(list_rank < 3, NULL, 'keep for now'), if(list_rank < 3, NULL, 'replace now'),
  CASE WHEN list_rank < 3 THEN NULL WHEN list_rank < 12 THEN 'replace now' END, if(list_rank < 3, 'a hard reason stands: no cost is weighed', NULL)
FROM figure.watch_list ORDER BY list_rank;
