"""Folders of exports made on the spot, and runs of the real pipeline on them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline.checks import gx_duckdb
from pipeline.checks.predicates import Check
from pipeline.figures import build as build_of_figures
from pipeline.figures.build import FIGURES
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import CONNECTION
from pipeline.warehouse.summary import Summary

AS_OF = date(2026, 5, 10)
count_truly = gx_duckdb.count_failing
# Valid check digits in a range that, as far as we know, is given to no ship.
VESSEL_A, VESSEL_B = "9999993", "9999981"


def pytest_make_parametrize_id(val):
    """Name bytes by their number: workers that collect one second apart must agree on every name, and gzip writes the time."""
    return f"{len(val)}bytes" if isinstance(val, bytes) else None


# Figures are half of a run of a few rows: a module has those made that it asks for and that these rest on. What is not named has all.
SUMMED_UP = ("count_interval", "overdue_monthly", "duty_now", "unit_now", "freshness")
JUDGED = FIGURES[: FIGURES.index("observed")]
CORRODED = FIGURES[FIGURES.index("corrosion_by_age") : FIGURES.index("asked")]
FIGURES_FOR = {
    # How files are read, kept and answered asks for no figure but those of the summary, nor does lateness.
    SUMMED_UP: (
        "spec/test_revision", "spec/test_dialects", "spec/test_archives", "spec/test_learn", "learn/test_what_a_newcomer_saw",
        "property/test_damage", "property/test_overlap", "property/test_row_accounting", "published/test_csv_facts",
        "property/test_order_and_sheets", "property/test_dialect_round_trip", "property/test_lateness", "property/test_reference",
        "tests/test_bad_input", "spec/test_rule_layers", "spec/test_due_dates", "spec/test_lateness_cases",
    ),
    # What rules ask and judge.
    JUDGED: (
        "spec/test_rules_together", "spec/test_rule_cases", "spec/test_placement", "spec/test_condemn", "spec/test_fitness",
        "published/test_rule_book", "property/test_rules_extend", "spec/test_corrections", "golden/test_layers",
    ),
    (*SUMMED_UP, "observed", *CORRODED): ("spec/test_corrosion_figures",),
    (*JUDGED, "observed", "defect_report", "defect_rate", *CORRODED[:1]): ("property/test_other_figures",),
    (*SUMMED_UP, "asked", "due_service", "due_call", "on_time", "overdue_duration"): (
        "spec/test_on_time", "property/test_on_time_reference", "spec/test_slices",
    ),
    (*JUDGED, "observed", "known_record", "unit_half_year"): ("spec/test_unit_half_year",),
}  # fmt: skip
FIGURES_OF = {module: figures for figures, modules in FIGURES_FOR.items() for module in modules}
# Where the checks themselves are tried, and on the sample exports, great-expectations counts as in every run.
CHECKS_TRIED_IN = (
    "golden/test_sample_exports", "property/test_row_accounting", "property/test_damage", "published/test_csv_facts",
    "spec/test_archives", "pinned/test_great_expectations",
)  # fmt: skip


# Files of tests that take longest, so that none of them is left to one worker alone at the end; the first makes the sample run
# that those of the pages wait for.
LONGEST = (
    "golden/test_sample_exports", "faults/test_kills", "faults/test_disk_and_permissions", "spec/test_revision", "browser/test_hostile",
    "tests/test_bad_input", "property/test_damage", "property/test_order_and_sheets", "property/test_dialect_round_trip",
    "faults/test_hostile_files", "browser/test_pages", "property/test_lateness", "property/test_row_accounting",
    "property/test_overlap", "spec/test_learn", "spec/test_rule_layers", "browser/test_layers",
)  # fmt: skip


# What takes long and has a shorter sibling that holds most of the same, beside the statistical tests that carry their own mark: all are run
# by `make test-slow`. A name without brackets stands for all its cases.
LONG = {
    "benchmarks/test_benchmarks": ("*",),
    "browser/test_access": (
        "test_axe_finds_nothing_on_a_phone", "test_spaced_text_is_not_cut", "test_pages_reflow_at_200_and_400_percent[640]",
        "test_pages_reflow_at_200_and_400_percent[320]",
        "test_keyboard_alone_reaches_everything_and_sees_where_it_is[vessel/0001042]",
        "test_keyboard_alone_reaches_everything_and_sees_where_it_is[unit/vor-100309]", "test_axe_finds_nothing[overdue]",
        "test_axe_finds_nothing[fitness]", "test_axe_finds_nothing[defects]", "test_axe_finds_nothing[agents]",
        "test_axe_finds_nothing[watch-list]", "test_axe_finds_nothing[data-quality]", "test_axe_finds_nothing[method]",
        "test_axe_finds_nothing[vessel/0001016]", "test_axe_finds_nothing[list/fleet/against]",
        "test_axe_finds_nothing[corrosion]", "test_axe_finds_nothing[register]", "test_axe_finds_nothing[vessel/0001042]",
        "test_axe_finds_nothing[unit/vor-100309]",
    ),
    "browser/test_choices": (
        "test_defects_of_a_year_have_the_rate_and_limits_of_the_figure[2024]", "test_a_large_file_waits_to_be_asked_for",
    ),
    "browser/test_corrosion_words": (
        "test_verdict_on_the_open_deck[0.5, 0.9-begins earlier than elsewhere, by more than chance]",
        "test_verdict_on_the_open_deck[0.5, 1.1-No evidence that corrosion begins earlier or later on open deck]",
    ),
    "browser/test_drill": ("test_odd_numbers_have_pages_of_their_own_inside_the_folder",),
    "browser/test_drill_past": ("test_a_list_that_would_be_longer_than_allowed_is_none_and_its_number_leads_nowhere",),
    "browser/test_due_ahead": ("test_one_inspection_is_a_record['U-ELSEWHERE']",),
    "browser/test_hostile": ("*",),
    "browser/test_layers": ("*",),
    "browser/test_pages": (
        "test_long_names_wrap_on_a_phone", "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[overdue]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[fitness]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[defects]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[agents]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[watch-list]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[data-quality]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[vessel/0001016]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[list/fleet/against]",
        "test_dark_scheme_redraws_charts", "test_page_is_quiet_and_draws_every_chart_on_a_phone[fitness]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[defects]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[agents]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[data-quality]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[method]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[vessel/0001016]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[list/fleet/against]", "test_hostile_names_stay_text",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[corrosion]",
        "test_page_fits_a_desk_and_prints_on_a4_light_though_it_was_dark[vessel/0001042]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[overdue]",
        "test_page_is_quiet_and_draws_every_chart_on_a_phone[watch-list]",
    ),
    "browser/test_register": (
        "test_small_fleets[2-0]", "test_columns_sort_as_people_count[Position-3]",
        "test_what_is_saved_is_the_csv_of_the_site_byte_by_byte_whatever_the_words", "test_small_fleets[1-1]",
    ),
    "browser/test_sheet": (
        "test_the_worst_vessel_has_one_page[turned]", "test_the_worst_vessel_has_one_page[capitals]",
        "test_the_worst_vessel_has_one_page[hostile]", "test_the_worst_vessel_has_one_page[long]",
        "test_the_worst_vessel_has_one_page[quotes]", "test_the_worst_vessel_has_one_page[wide]",
    ),
    "browser/test_site": (
        "test_large_fleet_goes_on_further_pages", "test_building_twice_gives_the_same_bytes",
    ),
    "browser/test_swap": (
        "test_an_old_site_that_cannot_be_deleted_is_no_error", "test_leftovers_of_killed_runs_are_swept_and_others_kept",
        "test_prepared_site_changes_nothing_until_it_is_swapped_in",
        "test_a_site_that_a_killed_run_had_renamed_away_comes_back", "test_failed_swap_puts_the_old_site_back",
    ),
    "browser/test_watch_list": (
        "test_costs_are_told_with_what_the_interval_settles", "test_a_list_by_the_rule_gives_none",
        "test_plain_signs_that_did_better_are_said_to", "test_a_list_that_was_worse_and_a_model_that_drifted_are_said",
        "test_next_to_nothing_has_a_plain_page[1]", "test_few_condemned_units_are_counts_and_no_rates",
        "test_chances_are_held_against_what_came_of_them",
    ),
    "evidence/test_pack": (
        "test_a_zip_holds_the_same_and_is_the_same_twice", "test_its_figures_are_those_of_a_run",
        "test_what_came_later_was_not_known_then", "test_an_archive_is_enclosed_as_it_came",
        "test_names_that_manifests_can_not_hold", "test_a_vessel_without_units_has_a_pack",
        "test_the_same_call_gives_the_same_bytes",
    ),
    "evidence/test_redaction": (
        "test_no_name_is_left_and_every_figure_stays", "test_names_above_the_header_in_reasons_and_in_sheets",
        "test_what_figures_rest_on_can_not_be_withheld",
    ),
    "evidence/test_tampering": (
        "test_a_table_that_was_changed_is_not_what_the_originals_give",
        "test_a_pack_made_anew_as_a_whole_is_found_by_its_signature_alone",
        "test_an_original_that_was_changed_no_longer_gives_the_figures",
    ),
    "faults/test_disk_and_permissions": (
        "test_a_place_that_can_not_be_written[old site]", "test_there_is_a_size_that_is_enough",
        "test_a_place_that_can_not_be_written[database's folder]", "test_a_place_that_can_not_be_written[site's folder]",
        "test_no_file_may_grow_beyond",
    ),
    "faults/test_hostile_files": (
        "test_what_is_too_large_is_refused_in_a_gibibyte[bomb_zip]",
        "test_what_is_too_large_is_refused_in_a_gibibyte[endless_header]",
        "test_what_is_too_large_is_refused_in_a_gibibyte[long_received]",
        "test_what_is_too_large_is_refused_in_a_gibibyte[huge_settings]",
    ),
    "faults/test_kills": ("*",),
    "faults/test_random_kills": ("*",),
    "faults/test_two_runs": (
        "test_a_killed_holder_holds_nothing_and_its_note_says_nothing", "test_two_stores_build_into_one_database",
        "test_a_database_that_is_opened_during_the_run", "test_the_other_run_says_who_uses_the_store",
    ),
    "golden/test_layers": ("*",),
    "golden/test_sample_exports": (
        "test_neither_order_nor_parts_nor_threads_change_anything", "test_a_second_run_changes_nothing",
        "test_a_run_whose_pages_fail_publishes_nothing",
    ),
    "learn/test_what_a_newcomer_saw": ("test_a_draft_from_a_subfolder_is_found_by_a_run_and_tried_with_the_folders_registers",),
    "property/test_damage": ("test_damaged_exports_lose_nothing",),
    "property/test_dialect_round_trip": (
        "test_random_dialects_are_read_back_equal", "test_a_word_is_known_in_whatever_case_it_comes",
    ),
    "property/test_lateness": (
        "test_figures_equal_the_day_by_day_reference[1]", "test_many_overlapping_stays_with_one_due_day",
        "test_two_open_stays_of_one_laid_up_unit", "test_where_two_rules_ask_one_duty_the_worse_counts[2]",
        "test_no_events_at_all_leaves_the_month_of_the_day", "test_figures_equal_the_day_by_day_reference[0]",
    ),
    "property/test_on_time_reference": (
        "test_months_equal_the_reference[1]", "test_items_overdue_equal_the_reference[1]",
    ),
    "property/test_order_and_sheets": (
        "test_loading_twice_is_loading_once", "test_order_and_splitting_of_files_do_not_matter",
        "test_mended_sheets_bring_every_row_back_as_it_was_meant",
    ),
    "property/test_other_figures": (
        "test_generated_rows_reach_the_edges", "test_a_unit_is_five_on_its_fifth_birthday",
        "test_figure_equals_the_reference[1-duty_now]", "test_figure_equals_the_reference[1-defect_rate]",
        "test_figure_equals_the_reference[1-unit_now]", "test_figure_equals_the_reference[1-freshness]",
        "test_figure_equals_the_reference[1-due_ahead]", "test_figure_equals_the_reference[1-corrosion_by_age]",
        "test_figure_equals_the_reference[1-agent_mix]",
    ),
    "property/test_overlap": (
        "test_random_histories_come_to_what_the_reference_says", "test_the_histories_reach_every_fate",
    ),
    "property/test_reference": (
        "test_generated_fleets_reach_the_edges", "test_a_further_pressure_test_makes_nothing_later[1]",
    ),
    "property/test_row_accounting": (
        "test_the_latest_version_of_a_file_stands_even_if_it_is_an_old_one", "test_received_on_is_the_senders_day",
        "test_every_row_has_one_fate[1]", "test_every_row_has_one_fate[3]", "test_a_folder_on_the_way_does_not_become_a_column",
        "test_a_later_file_restates_and_both_stay_findable",
    ),
    "spec/test_changes": (
        "test_a_later_version_of_a_file_replaces_its_rows", "test_a_changed_register_takes_a_unit_out_of_the_count",
        "test_a_row_that_waited_for_the_register_is_traced_to_it", "test_the_same_call_in_either_order_writes_the_same_bytes",
        "test_one_vessel_leaves_out_the_others_and_the_fleet", "test_a_record_of_a_day_after_the_earlier_moment_is_not_late",
        "test_nothing_differs", "test_a_withdrawn_file_says_why_and_back_again",
        "test_a_count_that_no_unit_explains_is_said_to_be_untraced",
        "test_every_difference_is_explained_and_counts_by_their_units", "test_rules_of_the_company_are_said_to_have_no_history",
        "test_a_corrected_cell_says_who_and_why", "test_the_day_is_that_of_the_earlier_moment_unless_said",
        "test_the_cells_named_are_those_of_a_plain_comparison",
    ),
    "spec/test_corrections": (
        "test_explain_names_corrections_and_earlier_versions", "test_taking_a_correction_out_brings_the_cell_back",
        "test_a_correction_that_a_new_version_made_needless_stops_the_run",
    ),
    "spec/test_dialects": ("test_a_file_of_quotes_that_never_close_is_refused_in_time",),
    "spec/test_is_it_real": (
        "test_no_page_says_what_is_no_number", "test_no_figure_holds_what_is_no_number[one vessel]",
        "test_no_figure_holds_what_is_no_number[one month]", "test_no_figure_holds_what_is_no_number[no events]",
        "test_no_figure_holds_what_is_no_number[all corroded]", "test_is_it_real_has_a_plain_answer[one vessel-index]",
        "test_is_it_real_has_a_plain_answer[one vessel-overdue]", "test_is_it_real_has_a_plain_answer[one vessel-defects]",
        "test_is_it_real_has_a_plain_answer[one vessel-corrosion]", "test_is_it_real_has_a_plain_answer[one month-index]",
        "test_is_it_real_has_a_plain_answer[one month-overdue]", "test_is_it_real_has_a_plain_answer[one month-defects]",
        "test_is_it_real_has_a_plain_answer[one month-corrosion]", "test_is_it_real_has_a_plain_answer[all corroded-index]",
        "test_is_it_real_has_a_plain_answer[all corroded-overdue]", "test_is_it_real_has_a_plain_answer[all corroded-defects]",
        "test_is_it_real_has_a_plain_answer[all corroded-corrosion]", "test_no_figure_holds_what_is_no_number[all overdue]",
    ),
    "spec/test_learn": (
        "test_sample_sources_are_rediscovered", "test_the_dry_run_counts_with_what_the_store_holds_and_says_why",
        "test_any_bytes_give_a_draft_that_parses_or_one_sentence",
    ),
    "spec/test_placement": (
        "test_a_layer_can_ask_half_of_each_size[1-1]", "test_a_layer_can_ask_half_of_each_size[2-1]",
        "test_a_layer_can_ask_half_of_each_size[4-2]", "test_a_layer_can_ask_half_of_each_size[25-13]",
        "test_with_grace_both_the_planned_and_the_last_day_agree[2026-06-10-None]",
        "test_with_grace_both_the_planned_and_the_last_day_agree[2026-07-10-None]",
    ),
    "spec/test_revision": (
        "test_a_sheet_that_a_spreadsheet_saved_in_its_own_way_is_read", "test_the_version_before_a_withdrawn_one_stands_again",
        "test_a_sheet_sent_in_parts_keeps_what_is_still_open", "test_a_sheet_guards_formulas_and_takes_the_guard_back",
        "test_a_file_of_bad_rows_only_is_not_answered_by_other_rows_under_its_name",
        "test_a_version_declared_before_the_one_it_follows_still_counts_last",
        "test_a_broken_line_that_nobody_filled_in_stays_open_as_it_was",
        "test_a_file_that_goes_on_under_the_same_name_answers_nothing", "test_a_bad_row_sent_again_is_open_once",
        "test_a_withdrawn_file_counts_no_more_but_did", "test_numbers_written_otherwise_are_matched_only_by_a_declared_rule",
        "test_a_row_left_out_of_a_later_version_is_flagged_and_counts",
        "test_two_registers_that_write_a_number_differently_speak_of_one_unit", "test_a_unit_that_moves_keeps_one_history",
        "test_a_full_list_names_every_unit_that_vanished[fleet-2]",
        "test_a_bad_row_of_a_full_list_is_answered_by_the_next_list",
        "test_a_sheet_is_read_with_the_order_of_day_and_month_of_the_files_it_answers",
    ),
    "spec/test_rule_layers": (
        "test_a_file_named_like_a_shipped_one_binds_its_own_vessels_and_changes_no_other[fitness.toml]",
        "test_a_longer_rule_that_takes_the_place_governs_and_is_said_to_ask_less", "test_a_rule_at_that_age",
        "test_the_shortest_governs_and_a_longer_rule_changes_nothing", "test_a_company_layer_may_bind_one_vessel",
        "test_an_attribute_that_is_left_empty_matches_no_scope", "test_grace_ends_with_its_last_day[2022-02-01-in time]",
        "test_a_file_named_like_a_shipped_one_binds_its_own_vessels_and_changes_no_other[nfpa-10.toml]",
        "test_a_file_named_like_a_shipped_one_binds_its_own_vessels_and_changes_no_other[duties.toml]",
        "test_months_ends_do_not_drift_where_dates_run_from_the_day_due",
        "test_a_rule_of_units_tested_before_binds_from_the_first_test_on", "test_a_standard_that_nobody_adopts_binds_nobody",
        "test_a_rule_taken_away_asks_nothing_of_what_the_drop_covers", "test_two_folders_may_name_their_rule_files_alike",
        "test_after_effective_until_the_baseline_governs_again", "test_an_adopted_standard_binds",
        "test_a_rule_ends_the_day_before_effective_until", "test_the_command_says_what_a_rule_of_each_kind_asks",
    ),
    "spec/test_unit_half_year": (
        "test_no_later_record_changes_an_earlier_row",
        "test_the_past_that_comes_when_firekpi_is_taken_up_counts_from_its_events", "test_a_row_tells_what_became_of_the_unit",
        "test_half_years_begin_when_the_look_back_is_full", "test_nothing_told_later_changes_an_earlier_row",
        "test_a_row_holds_what_was_known_on_its_day",
    ),
    "spec/test_watch_cost": ("test_a_longer_lead_costs_more_and_takes_no_price_away",),
    "spec/test_watch_list": (
        "test_the_same_rows_give_the_same_figures", "test_what_would_change_the_rank",
        "test_a_fleet_without_units_in_service_has_a_plain_list[2009-01-01]",
    ),
    "statistics/test_lateness_coverage": ("test_the_power_said_is_that_of_the_limits_drawn",),
    "tests/test_bad_input": (
        "test_damaged_ledger[[]]", 'test_damaged_ledger[[{"path": 5}]]', "test_damaged_ledger[{}]",
        "test_a_site_and_a_store_inside_the_folder_are_no_exports",
        "test_nothing_that_must_last_lies_inside_the_site[--db-site/k.duckdb-The database]",
        "test_a_damaged_cache_is_made_anew", "test_explain_says_where_a_quarantined_unit_is",
        "test_explain_tells_nothing_of_a_later_day",
        "test_nothing_that_must_last_lies_inside_the_site[--store-site/kept-The store]",
        "test_database_that_another_process_writes", "test_a_damaged_store_is_mended_from_the_folder",
        "test_pages_that_can_not_be_written", "test_a_file_larger_than_an_export_may_be", "test_withdrawing_all_there_is",
        "test_quarantine_sheets_and_what_can_go_wrong",
        "test_check_judges_new_files_with_what_the_store_holds_and_receives_nothing",
        'test_damaged_ledger[[{"path": "x", "sha256": "y"}]]', "test_damaged_store[<lambda>1]", "test_damaged_store[<lambda>2]",
    ),
    "tests/test_house": ("test_a_copy_of_what_git_keeps_has_all_that_a_run_needs",),
}  # fmt: skip


def name_module(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """What is long is marked; the longest files first, the others in the order in which they were found."""
    for item in items:
        if set(LONG.get(name_module(item.path), ())) & {item.name, item.name.split("[")[0], "*"}:
            item.add_marker(pytest.mark.slow)
    place = {module: number for number, module in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(name_module(item.path), len(LONGEST)))


@pytest.fixture(scope="module", autouse=True)
def light_runs(request):
    """One thread a worker, the second count of failing rows in plain SQL, and no figure that nobody asks for.

    A run of a few rows takes then a third of the time, and there are several hundred. The sample exports are run as users do.
    """
    module = name_module(request.path)
    with pytest.MonkeyPatch.context() as patch:
        if module != "golden/test_sample_exports":
            patch.setitem(CONNECTION, "threads", "1")
        if module not in CHECKS_TRIED_IN:
            patch.setattr(gx_duckdb, "count_failing", count_plainly)
        patch.setattr(build_of_figures, "FIGURES", FIGURES_OF.get(module, FIGURES))
        yield


@pytest.fixture
def all_figures(monkeypatch):
    """For a test whose run writes pages, in a module that else asks for a few figures."""
    monkeypatch.setattr(build_of_figures, "FIGURES", FIGURES)


@contextmanager
def as_users_do() -> Iterator[None]:
    """Take back what light_runs makes lighter."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delitem(CONNECTION, "threads", raising=False)
        patch.setattr(gx_duckdb, "count_failing", count_truly)
        patch.setattr(build_of_figures, "FIGURES", FIGURES)
        yield


def count_plainly(con: duckdb.DuckDBPyConnection, table_name: str, checks: list[Check], keep=None) -> list[int]:
    """What pipeline.checks.gx_duckdb.count_failing gives, without great-expectations unless its own words are to be kept."""
    if keep:
        return count_truly(con, table_name, checks, keep)
    counts = ", ".join(f"count(*) filter ({check.failing_sql})" for check in checks)
    return list(con.execute(f"select {counts} from {table_name}").fetchone())


def write_folder(folder: Path, texts: dict[str, str | bytes]) -> Path:
    """Write the files of a folder of exports; text is UTF-8, its lines stripped of common indentation."""
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        data = text if isinstance(text, bytes) else "\n".join(line.strip() for line in text.strip().splitlines()).encode() + b"\n"
        path.write_bytes(data)
    return folder


@pytest.fixture
def exports(tmp_path):
    """Call with {file name: text} to get a folder of exports."""
    return lambda texts, name="exports": write_folder(tmp_path / name, texts)


@pytest.fixture
def run_on(tmp_path):
    """Call with folders to run the pipeline; gives (summary, read-only connection)."""
    opened: list[duckdb.DuckDBPyConnection] = []

    def call(*folders: Path, as_of: date = AS_OF, store: str = "store", **more) -> tuple[Summary, duckdb.DuckDBPyConnection]:
        db = tmp_path / f"{store}-{len(opened)}.duckdb"
        summary = run(RunOptions(tuple(folders), tmp_path / store, db, as_of, **more))
        opened.append(duckdb.connect(str(db), read_only=True))
        return summary, opened[-1]

    yield call
    for con in opened:
        con.close()


@pytest.fixture
def small_fleet() -> dict[str, str]:
    """One vessel, two units, three inspections: canonical files without a fault."""
    return {
        "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on
            U1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31
            U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01""",
        "inspection.csv": f"""unit_id,imo_number,inspected_on,outcome
            U1,{VESSEL_A},2026-03-31,satisfactory
            U2,{VESSEL_A},2026-03-31,satisfactory
            U1,{VESSEL_A},2026-04-30,satisfactory""",
    }
