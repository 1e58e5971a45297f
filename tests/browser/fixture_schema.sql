-- The tables that the dashboards read, as the pipeline writes them: the shape only, for the invented fixture.
CREATE SCHEMA record; CREATE SCHEMA intake; CREATE SCHEMA duty; CREATE SCHEMA figure;
CREATE TABLE record.vessel (imo_number TEXT, vessel_name TEXT, vessel_type TEXT, flag TEXT, gross_tonnage INTEGER,
  built_year INTEGER, lowest_air_temp_c DOUBLE, joined_on DATE, left_on DATE, laid_up_from DATE, laid_up_to DATE,
  file_id TEXT, record_no INTEGER, line_no INTEGER);
CREATE TABLE record.finding (unit_id TEXT, imo_number TEXT, found_on DATE, found_by TEXT, component TEXT, defect TEXT,
  severity TEXT, rust_grade TEXT, rusted_area_pct DOUBLE, pit_depth_mm DOUBLE, dent_depth_mm DOUBLE, action TEXT,
  closed_on DATE, file_id TEXT, record_no INTEGER, line_no INTEGER);
CREATE TABLE record.inspection (unit_id TEXT, imo_number TEXT, inspected_on DATE, outcome TEXT, inspector_role TEXT,
  stated_next_due_on DATE, remarks TEXT, file_id TEXT, record_no INTEGER, line_no INTEGER);
CREATE TABLE record.service (unit_id TEXT, imo_number TEXT, serviced_on DATE, kind TEXT, outcome TEXT, is_examination BOOLEAN,
  provider TEXT, certificate_no TEXT, mass_kg DOUBLE, cartridge_mass_kg DOUBLE, cartridge_nominal_kg DOUBLE, gauge_bar DOUBLE,
  proof_pressure_bar DOUBLE, discharge_s DOUBLE, throw_m DOUBLE, discharged_pct DOUBLE, wall_mm_measured DOUBLE,
  stated_next_due_on DATE, tested_part TEXT, file_id TEXT, record_no INTEGER, line_no INTEGER);
CREATE TABLE record.unit (unit_id TEXT, imo_number TEXT, position_no TEXT, space_name TEXT, space_category TEXT, agent TEXT,
  agent_detail TEXT, foam_kind TEXT, expelled_by TEXT, form TEXT, charge_l DOUBLE, charge_kg DOUBLE, empty_mass_kg DOUBLE,
  full_mass_kg DOUBLE, shell_material TEXT, lining TEXT, wall_mm DOUBLE, wall_min_mm DOUBLE, test_pressure_bar DOUBLE, maker TEXT,
  model TEXT, made_on DATE, made_on_precision TEXT, in_service_on DATE, removed_on DATE, removal_reason TEXT,
  refillable_on_board BOOLEAN, is_spare BOOLEAN, landed_from DATE, landed_to DATE, cartridge_ml DOUBLE, cartridge_made_on DATE,
  colour_zone TEXT, file_id TEXT, record_no BIGINT, line_no BIGINT);
CREATE SCHEMA history;
CREATE TABLE history.inspection AS SELECT *, ''::TEXT AS replaced_by_file_id, 0::BIGINT AS replaced_by_record_no FROM record.inspection;
CREATE TABLE history.service AS SELECT *, ''::TEXT AS replaced_by_file_id, 0::BIGINT AS replaced_by_record_no FROM record.service;
CREATE TABLE history.finding AS SELECT *, ''::TEXT AS replaced_by_file_id, 0::BIGINT AS replaced_by_record_no FROM record.finding;
CREATE TABLE history.unit AS SELECT *, ''::TEXT AS replaced_by_file_id, 0::BIGINT AS replaced_by_record_no FROM record.unit;
CREATE TABLE intake.column_source (file_id TEXT, table_name TEXT, column_name TEXT, header TEXT, constant TEXT, words TEXT);
CREATE TABLE figure.count_interval (imo_number TEXT, unit_id TEXT, duty TEXT, measure TEXT, from_on DATE, to_on DATE);
CREATE TABLE record.spare (imo_number TEXT, counted_on DATE, agent TEXT, charge_l DOUBLE, charge_kg DOUBLE,
  spare_charges INTEGER, file_id TEXT, record_no INTEGER, line_no INTEGER);
CREATE TABLE intake.file (file_id TEXT, path TEXT, sha256 TEXT, bytes BIGINT, received_at TIMESTAMP, dialect TEXT,
  encoding TEXT, delimiter TEXT, records BIGINT, rows_read BIGINT, rows_loaded BIGINT, rows_quarantined BIGINT,
  rows_duplicate BIGINT, lines_skipped BIGINT, superseded_by TEXT);
CREATE TABLE intake.file_table (file_id TEXT, table_name TEXT, rows_read BIGINT, rows_loaded BIGINT,
  rows_quarantined BIGINT, rows_duplicate BIGINT);
CREATE TABLE intake.quarantine (file_id TEXT, record_no BIGINT, line_no BIGINT, table_name TEXT, rule TEXT,
  column_name TEXT, value TEXT, reason TEXT, raw TEXT, superseded_by TEXT);
CREATE TABLE intake.correction (file_id TEXT, record_no BIGINT, column_name TEXT, from_value TEXT, to_value TEXT, why TEXT,
  who TEXT, declared_on DATE, declared_in TEXT, declared_record_no BIGINT);
CREATE TABLE intake.withdrawn (file_id TEXT, path TEXT, sha256 TEXT, version INTEGER, received_at TIMESTAMP,
  withdrawn_at TIMESTAMP, why TEXT);
CREATE TABLE intake.flag (file_id TEXT, record_no BIGINT, line_no BIGINT, table_name TEXT, rule TEXT,
  column_name TEXT, value TEXT, reason TEXT);
CREATE TABLE intake.check_result (table_name TEXT, rule TEXT, column_name TEXT, title TEXT, rows_checked BIGINT,
  rows_failing BIGINT);
CREATE TABLE intake.run (run_id TEXT, started_at TIMESTAMP, finished_at TIMESTAMP, as_of DATE, known_at TIMESTAMP,
  version TEXT, duckdb_version TEXT, rule_book_hash TEXT);
CREATE TABLE duty.rule (rule_id TEXT, duty TEXT, title TEXT, counts TEXT, forms TEXT[], interval_months INTEGER,
  first_basis TEXT, anchor TEXT, in_any BOOLEAN, source TEXT, clause TEXT, certainty TEXT, breach_label TEXT,
  regime TEXT, about TEXT, rank INTEGER DEFAULT 0, grace_months INTEGER);
CREATE TABLE duty.provision (rule_no INTEGER, rule_id TEXT, kind TEXT, title TEXT, source TEXT, clause TEXT, certainty TEXT, regime TEXT,
  regime_slug TEXT, layer TEXT, breach_label TEXT, loosens TEXT, about TEXT, effective_from DATE, effective_until DATE, agents TEXT[],
  forms TEXT[], expelled_by TEXT[], foam_kinds TEXT[], linings TEXT[], space_categories TEXT[], space_names TEXT[], agent_details TEXT[],
  without_details TEXT[], shell_materials TEXT[], charge_above DOUBLE, charge_up_to DOUBLE, cartridge_ml_up_to DOUBLE, made_from DATE,
  made_before DATE, age_from_months INTEGER, age_until_months INTEGER, tested_before BOOLEAN, air_temp_below_c DOUBLE,
  gross_tonnage_from INTEGER, built_from_year INTEGER, built_before_year INTEGER, vessels TEXT[]);
CREATE TABLE duty.stay (stay_no BIGINT, imo_number TEXT, unit_id TEXT, from_on DATE, to_on DATE, file_id TEXT, record_no BIGINT, line_no BIGINT);
CREATE TABLE duty.counted (stay_no BIGINT, imo_number TEXT, unit_id TEXT, from_on DATE, to_on DATE);
CREATE TABLE duty.span (imo_number TEXT, unit_id TEXT, duty TEXT, rule_id TEXT, subject_no BIGINT, stay_no BIGINT, basis_on DATE,
  basis_kind TEXT, basis_file_id TEXT, basis_line_no BIGINT, due_on DATE, judged_from DATE, judged_to DATE, done_on DATE, done_file_id TEXT,
  done_line_no BIGINT);
CREATE TABLE duty."limit" (rule_id TEXT, verdict TEXT, measure TEXT, breach TEXT, limit_value DOUBLE, limit_from TEXT, unit TEXT);
CREATE TABLE duty.ground (rule_id TEXT, verdict TEXT, record TEXT, components TEXT[], defects TEXT[], severities TEXT[], kinds TEXT[],
  outcomes TEXT[], words TEXT[]);
CREATE TABLE duty.placement (rule_id TEXT, breach TEXT, colour_zone_expected TEXT);
CREATE TABLE duty.number (rule_id TEXT, measure TEXT, least INTEGER, "first" INTEGER, share DOUBLE, cap INTEGER, "by" TEXT);
CREATE TABLE duty.in_force (rule_id TEXT, stay_no BIGINT, from_on DATE, to_on DATE);
CREATE TABLE duty.vessel_in_force (rule_id TEXT, imo_number TEXT, from_on DATE, to_on DATE);
CREATE TABLE duty.binding (regime_slug TEXT, rank INTEGER, flag TEXT, vessels TEXT[]);
CREATE TABLE figure.verdict (imo_number TEXT, unit_id TEXT, verdict TEXT, reason TEXT, rule_id TEXT, measure TEXT, value DOUBLE,
  limit_value DOUBLE, unit TEXT, seen_on DATE, table_name TEXT, file_id TEXT, record_no BIGINT, line_no BIGINT);
CREATE TABLE figure.placement_now (imo_number TEXT, unit_id TEXT, verdict TEXT, reason TEXT, rule_id TEXT, measure TEXT, value DOUBLE,
  limit_value DOUBLE, unit TEXT, seen_on DATE, table_name TEXT, file_id TEXT, record_no BIGINT, line_no BIGINT, breach TEXT);
CREATE TABLE figure.station_now (imo_number TEXT, position_no TEXT, space_name TEXT, state TEXT, reason TEXT, unit_id TEXT, file_id TEXT,
  line_no BIGINT);
CREATE TABLE figure.number_now (imo_number TEXT, rule_id TEXT, measure TEXT, agent TEXT, charge_l DOUBLE, charge_kg DOUBLE, required BIGINT, held BIGINT,
  usable BIGINT, short_by BIGINT, state TEXT, reason TEXT);
CREATE TABLE figure.stated_vs_computed (imo_number TEXT, unit_id TEXT, duty TEXT, done_on DATE, stated_on DATE, computed_on DATE,
  difference_days INTEGER, rule_id TEXT, table_name TEXT, file_id TEXT, record_no BIGINT, line_no BIGINT);
CREATE TABLE duty.satisfied_by (rule_id TEXT, record TEXT, kind TEXT, is_examination BOOLEAN, tested_part TEXT);
CREATE TABLE duty.sample_group (rule_id TEXT, imo_number TEXT, group_id TEXT, unit_id TEXT);
CREATE TABLE figure.overdue_monthly (month_end DATE, imo_number TEXT, duty TEXT, units BIGINT, overdue BIGINT,
  unknown BIGINT, rate DOUBLE, overdue_unit_days BIGINT, unit_days BIGINT, days_rate DOUBLE);
CREATE TABLE figure.unit_now (imo_number TEXT, unit_id TEXT, counted TEXT, position_no TEXT, space_name TEXT,
  space_category TEXT, agent TEXT, agent_detail TEXT, foam_kind TEXT, form TEXT, expelled_by TEXT, charge_l DOUBLE, charge_kg DOUBLE,
  lining TEXT, maker TEXT, model TEXT, made_on DATE, made_on_precision TEXT, age_years DOUBLE, in_service_on DATE,
  last_inspected_on DATE, last_serviced_on DATE, last_missed_on DATE, last_missed_outcome TEXT,
  open_findings BIGINT, worst_open_severity TEXT, overdue_duties BIGINT, file_id TEXT,
  record_no BIGINT, line_no BIGINT);
CREATE TABLE figure.duty_now (imo_number TEXT, unit_id TEXT, is_group BOOLEAN, duty TEXT, rule_id TEXT, basis_on DATE,
  basis_kind TEXT, basis_file_id TEXT, basis_record_no BIGINT, basis_line_no BIGINT, due_on DATE, state TEXT, days_overdue INTEGER);
CREATE TABLE figure.due_ahead (imo_number TEXT, duty TEXT, week_start DATE, due BIGINT);
CREATE TABLE figure.defect_rate (period TEXT, imo_number TEXT, component TEXT, defect TEXT, agent TEXT,
  space_category TEXT, findings BIGINT, unit_years DOUBLE, per_100_unit_years DOUBLE, low DOUBLE, high DOUBLE,
  is_rated BOOLEAN, reports BIGINT, repeat_share DOUBLE, closed BIGINT, days_to_close_median DOUBLE, maker TEXT, provider TEXT,
  inspections BIGINT, per_100_inspections DOUBLE);
CREATE TABLE figure.defect_vessel (period TEXT, imo_number TEXT, findings BIGINT, unit_years DOUBLE, per_100_unit_years DOUBLE,
  low DOUBLE, high DOUBLE, interval_by TEXT, shrunk DOUBLE, shrunk_low DOUBLE, shrunk_high DOUBLE, chance_above DOUBLE, "rank" INTEGER,
  dispersion_x2 DOUBLE, dispersion_df INTEGER, dispersion_p DOUBLE, yearly_phi DOUBLE, verdict_p DOUBLE, verdict TEXT);
CREATE TABLE figure.defect_change (findings BIGINT, unit_years DOUBLE, findings_before BIGINT, unit_years_before DOUBLE, ratio DOUBLE,
  low DOUBLE, high DOUBLE, p DOUBLE, wide_low DOUBLE, wide_high DOUBLE, wide_p DOUBLE, verdict TEXT);
CREATE TABLE figure.defect_pareto (period TEXT, component TEXT, defect TEXT, findings BIGINT, share DOUBLE, low DOUBLE, high DOUBLE,
  chance_first DOUBLE, chance_top3 DOUBLE, is_ranked BOOLEAN, is_first BOOLEAN, tied_with TEXT[], clusters BIGINT, clustered_by TEXT,
  why_not TEXT);
CREATE TABLE figure.defect_closing (period TEXT, severity TEXT, imo_number TEXT, defects BIGINT, closed BIGINT, closed_same_day BIGINT,
  still_open BIGINT, median_days DOUBLE, median_low DOUBLE, median_high DOUBLE, p90_days DOUBLE, p90_low DOUBLE, p90_high DOUBLE,
  why_not TEXT);
CREATE TABLE figure.defect_repeat (period TEXT, component TEXT, findings BIGINT, repeats BIGINT, share DOUBLE, low DOUBLE, high DOUBLE);
CREATE TABLE figure.service_failure (period TEXT, provider TEXT, services BIGINT, followed BIGINT, followed_unit_days BIGINT,
  failed BIGINT, per_100 DOUBLE, low DOUBLE, high DOUBLE, clusters BIGINT, effective_services DOUBLE, difference DOUBLE,
  difference_low DOUBLE, difference_high DOUBLE, verdict TEXT, why_not TEXT);
CREATE TABLE figure.defect_report (unit_id TEXT, imo_number TEXT, found_on DATE, component TEXT, defect TEXT, is_counted BOOLEAN,
  severity TEXT, agent TEXT, space_category TEXT, maker TEXT, provider TEXT, is_same_defect BOOLEAN, defect_no BIGINT, file_id TEXT,
  line_no BIGINT);
CREATE TABLE figure.defect_lasting (unit_id TEXT, imo_number TEXT, component TEXT, defect TEXT, defect_no BIGINT, found_on DATE,
  severity TEXT, closed_on DATE);
CREATE TABLE figure.service_followed (imo_number TEXT, unit_id TEXT, serviced_on DATE, provider TEXT, to_on DATE, is_looked_at BOOLEAN,
  is_failed BOOLEAN);
CREATE TABLE figure.corrosion_by_age (age_band_years TEXT, agent TEXT, lining TEXT, space_category TEXT, units BIGINT,
  units_corroded BIGINT, share DOUBLE, low DOUBLE, high DOUBLE, worst_ri1 BIGINT, worst_ri2 BIGINT, worst_ri3 BIGINT,
  worst_ri4 BIGINT, worst_ri5 BIGINT, worst_ungraded BIGINT, share_smooth DOUBLE);
CREATE TABLE figure.corrosion_onset (method TEXT, dimension TEXT, value TEXT, age_years DOUBLE, starts_at DOUBLE, at_risk INTEGER,
  share DOUBLE, low DOUBLE, high DOUBLE);
CREATE TABLE figure.corrosion_model (method TEXT, dimension TEXT, value TEXT, term TEXT, units INTEGER, onsets INTEGER, vessels INTEGER,
  estimate DOUBLE, low DOUBLE, high DOUBLE, why_not TEXT);
CREATE TABLE figure.rust_grade_change (from_grade TEXT, to_grade TEXT, kind TEXT, pairs BIGINT, unit_years DOUBLE,
  per_100_unit_years DOUBLE, low DOUBLE, high DOUBLE);
CREATE TABLE figure.wall_loss (unit_id TEXT, imo_number TEXT, is_aboard BOOLEAN, readings INTEGER, first_on DATE, first_mm DOUBLE,
  last_on DATE, last_mm DOUBLE, fitted_mm DOUBLE, wall_min_mm DOUBLE, mm_per_year DOUBLE, low DOUBLE, high DOUBLE, shrunk DOUBLE,
  shrunk_low DOUBLE, shrunk_high DOUBLE, years_left DOUBLE, why_not TEXT, gauge_error_mm DOUBLE, is_gauge_error_measured BOOLEAN);
CREATE TABLE figure.pit_reading (unit_id TEXT, imo_number TEXT, shell_material TEXT, pit_depth_mm DOUBLE, found_on DATE, is_aboard BOOLEAN);
CREATE TABLE figure.pit_depth (shell_material TEXT, units INTEGER, median_mm DOUBLE, deepest_mm DOUBLE, place_mm DOUBLE,
  place_error DOUBLE, spread_mm DOUBLE, spread_error DOUBLE, form DOUBLE, form_error DOUBLE, form_p DOUBLE, one_in_100_mm DOUBLE,
  why_not TEXT);
CREATE TABLE figure.agent_mix (imo_number TEXT, agent TEXT, agent_detail TEXT, foam_kind TEXT, units BIGINT,
  total_charge_l DOUBLE, total_charge_kg DOUBLE, spare_charges_held BIGINT, obsolete_units BIGINT, spare_charges_required BIGINT, unsuitable_placements BIGINT, refill_unknown_units BIGINT);
CREATE TABLE figure.overdue_part (month_end DATE, imo_number TEXT, agent TEXT, space_category TEXT, units BIGINT, overdue BIGINT,
  unit_days BIGINT, overdue_unit_days BIGINT);
CREATE TABLE figure.watched_part (month_end DATE, imo_number TEXT, agent TEXT, space_category TEXT, unit_days BIGINT);
CREATE TABLE figure.defect_part (month_end DATE, imo_number TEXT, agent TEXT, space_category TEXT, component TEXT, defect TEXT,
  findings BIGINT);
CREATE TABLE figure.corrosion_part (age_band_years TEXT, imo_number TEXT, agent TEXT, space_category TEXT, units BIGINT,
  units_corroded BIGINT);
CREATE TABLE figure.agent_part (imo_number TEXT, agent TEXT, space_category TEXT, units BIGINT);
CREATE TABLE figure.freshness (imo_number TEXT, last_record_on DATE, days_since INTEGER, quiet_after_days INTEGER,
  is_quiet BOOLEAN);
CREATE VIEW figure.overdue_now AS SELECT * EXCLUDE (state) FROM figure.duty_now WHERE state = 'overdue';
CREATE TABLE figure.on_time_year (period TEXT, from_on DATE, to_on DATE, imo_number TEXT, duty TEXT, fell_due BIGINT, done_in_time BIGINT,
  rate DOUBLE, low DOUBLE, high DOUBLE, clusters BIGINT, effective_services DOUBLE, wilson_low DOUBLE, wilson_high DOUBLE, shown TEXT,
  why_not TEXT, caution TEXT, funnel_services DOUBLE, funnel_centre DOUBLE, funnel_low_95 DOUBLE, funnel_high_95 DOUBLE,
  funnel_low_998 DOUBLE, funnel_high_998 DOUBLE, funnel_phi DOUBLE, funnel_tau2 DOUBLE, flag TEXT, least_ratio DOUBLE, difference DOUBLE,
  difference_low DOUBLE, difference_high DOUBLE, change TEXT);
CREATE TABLE figure.due_service (imo_number TEXT, unit_id TEXT, duty TEXT, due_on DATE, done_on DATE, is_in_time BOOLEAN, stopped_on DATE,
  month_end DATE);
CREATE TABLE figure.on_time_chart (month_end DATE, duty TEXT, fell_due BIGINT, done_in_time BIGINT, rate DOUBLE, baseline_from DATE,
  baseline_to DATE, baseline_months BIGINT, centre DOUBLE, low DOUBLE, high DOUBLE, sigma_z DOUBLE, is_outside BOOLEAN, ewma DOUBLE,
  ewma_low DOUBLE, ewma_high DOUBLE, is_drifting BOOLEAN, runs_points BIGINT, runs_longest BIGINT, runs_allowed BIGINT,
  crossings BIGINT, crossings_least BIGINT, is_run_signal BOOLEAN, trend_years BIGINT, trend_a_year DOUBLE, trend_p DOUBLE, why_not TEXT);
CREATE TABLE figure.overdue_duration (imo_number TEXT, duty TEXT, items BIGINT, still_open BIGINT, stopped BIGINT, clusters BIGINT,
  median_days DOUBLE, median_low DOUBLE, median_high DOUBLE, p90_days DOUBLE, p90_low DOUBLE, p90_high DOUBLE, why_not TEXT);
CREATE TABLE figure.back_test (cutoff DATE, horizon_months INTEGER, method TEXT, kind TEXT, events INTEGER, units INTEGER,
  condemned INTEGER, left_otherwise INTEGER, expected DOUBLE, brier DOUBLE, brier_skill DOUBLE, log_score DOUBLE,
  calibration_intercept DOUBLE, calibration_slope DOUBLE, top_5 DOUBLE, found_5 DOUBLE, precision_at_5_pct DOUBLE,
  precision_5_low DOUBLE, precision_5_high DOUBLE, lift_at_5_pct DOUBLE, gain_5 DOUBLE, gain_5_low DOUBLE, gain_5_high DOUBLE,
  top_10 DOUBLE, found_10 DOUBLE, precision_at_10_pct DOUBLE, precision_10_low DOUBLE, precision_10_high DOUBLE, lift_at_10_pct
  DOUBLE, gain_10 DOUBLE, gain_10_low DOUBLE, gain_10_high DOUBLE, why_not TEXT);
CREATE TABLE figure.unit_half_year (starts_on DATE, is_now BOOLEAN, unit_id TEXT, imo_number TEXT, condemned BOOLEAN, condemned_on DATE,
  gone_reason TEXT, gone_on DATE);
CREATE TABLE figure.back_test_group (grouped_by TEXT, group_no INTEGER, label TEXT, units INTEGER, chance DOUBLE, condemned
  INTEGER, share DOUBLE, low DOUBLE, high DOUBLE);
CREATE TABLE figure.back_test_condemned (grouped_by TEXT, group_no INTEGER, cutoff DATE, unit_id TEXT);
CREATE TABLE figure.watch_model (kind TEXT, why TEXT, vessels INTEGER, units INTEGER, half_years INTEGER, events INTEGER, won
  INTEGER, lost INTEGER, condemned_share DOUBLE, left_share DOUBLE, checked_on DATE, checked_expected DOUBLE, checked_seen
  INTEGER, checked_p DOUBLE, checked_order_p DOUBLE);
CREATE TABLE figure.watch_weight (trait TEXT, step TEXT, odds DOUBLE, low DOUBLE, high DOUBLE);
CREATE TABLE figure.watch_list (list_rank INTEGER, unit_id TEXT, imo_number TEXT, counted TEXT, hard_reason TEXT, kind TEXT,
  band TEXT, chance_12_months DOUBLE, low DOUBLE, high DOUBLE, points DOUBLE, reasons TEXT, would_change TEXT, rank_then
  INTEGER, like_units INTEGER, like_condemned INTEGER, age_years DOUBLE, test_due_on DATE, without_test DOUBLE);
CREATE TABLE figure.watch_reason (unit_id TEXT, imo_number TEXT, reason_no INTEGER, kind TEXT, trait TEXT, reason TEXT, weight
  DOUBLE, table_name TEXT, file_id TEXT, record_no BIGINT, line_no BIGINT, seen_on DATE);
CREATE TABLE figure.price (price_no INTEGER, currency TEXT, priced_on DATE, lead_days INTEGER, life_years DOUBLE, failure DOUBLE, agent TEXT,
  form TEXT, charge_up_to DOUBLE, replacement DOUBLE, pressure_test DOUBLE);
CREATE TABLE figure.watch_cost (list_rank INTEGER, unit_id TEXT, imo_number TEXT, currency TEXT, replace_now DOUBLE, replace_at_test DOUBLE,
  keep DOUBLE, cheapest TEXT, cheapest_low TEXT, cheapest_high TEXT, settled TEXT, why_not TEXT);
