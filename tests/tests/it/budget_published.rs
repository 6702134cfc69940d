//! The arithmetic of the budget against `data/standards.toml`: every entry on pull-ups, periods, transfer times and
//! endurance that was checked is repeated here, each beside its source, and what is misprinted there is not followed.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use pagewise_judge::board::{Board, Bus};
use pagewise_judge::budget::mode::{self, FAST, FAST_PLUS, Mode, STANDARD};
use pagewise_judge::budget::pull_up::{
    Limit, PullUp, RISE, Standing, least_by_sink, least_in, most_by_leakage, most_by_rise, most_capacitance,
    most_in_series, rise_ns,
};
use pagewise_judge::budget::resistor::Series;
use pagewise_judge::budget::wear::{Rating, days_to};
use pagewise_judge::budget::{self, wire};
use pagewise_part::card::{Catalogue, Wear};
use toml::{Table, Value};

fn standards() -> Table {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/standards.toml");
    fs::read_to_string(path).unwrap().parse().unwrap()
}

fn tables(value: &Value, key: &str) -> Vec<Table> {
    value[key].as_array().unwrap().iter().map(|it| it.as_table().unwrap().clone()).collect()
}

fn number(table: &Table, key: &str) -> f64 {
    let value = &table.get(key).unwrap_or_else(|| panic!("{key} in {table}"));
    value.as_float().or_else(|| value.as_integer().map(|it| it as f64)).unwrap_or_else(|| panic!("{key} is a number"))
}

fn named<'t>(list: &'t [Table], name: &str) -> &'t Table {
    list.iter().find(|it| it.get("name").and_then(Value::as_str) == Some(name)).unwrap_or_else(|| panic!("{name}"))
}

/// Equal to a printed value of this many significant digits.
fn close(ours: f64, printed: f64, digits: i32) {
    let half = 0.5 * 10f64.powi(printed.abs().log10().floor() as i32 + 1 - digits);
    assert!((ours - printed).abs() <= half * 1.0001, "{ours} beside {printed}");
}

fn bus(supply_mv: u32, scl_khz: u32, pull_up_ohm: u32, capacitance_pf: u32) -> Bus {
    Bus { supply_mv, scl_khz, pull_up_ohm, capacitance_pf, other_addresses: Vec::new() }
}

fn example_board() -> Board {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../examples/boards/valve-driver.toml");
    pagewise_judge::board::read(&path).unwrap()
}

thread_local! {
    static SEEN: RefCell<BTreeSet<String>> = const { RefCell::new(BTreeSet::new()) };
}

/// An example by its name, noted as repeated.
fn example<'t>(list: &'t [Table], name: &str) -> &'t Table {
    SEEN.with_borrow_mut(|seen| seen.insert(name.to_owned()));
    named(list, name)
}

/// Source: UM10204 section 7.1, 7.2.4; TI SLVA689; NXP UM10301; ROHM BR24G08-3; Microchip AC test conditions.
#[test]
fn every_checked_pull_up_example_is_repeated() {
    let pullup = &standards()["pullup"];
    let formula = pullup["formula"].as_table().unwrap();
    assert_eq!(RISE, number(formula, "rise_x_rc"));
    close((7.0f64 / 3.0).ln(), number(formula, "exact_rise_x_rc"), 15);
    assert_eq!(STANDARD.sink_ma, number(formula, "i_ol_standard_ma"));
    assert_eq!(FAST.sink_ma, number(formula, "i_ol_fast_ma"));
    assert_eq!(FAST_PLUS.sink_ma, number(formula, "i_ol_fast_plus_ma"));

    let examples = tables(pullup, "example");
    let at_5v = example(&examples, "um10204_rp_min_5v");
    let least = least_by_sink(number(at_5v, "vdd_max_v"), number(at_5v, "v_ol_v"), number(at_5v, "i_ol_ma"));
    close(least, number(at_5v, "result_rp_min_ohm"), 4);
    close(most_capacitance(number(at_5v, "t_r_ns"), least), number(at_5v, "exact_c_b_max_pf"), 5);

    let fast = example(&examples, "ti_slva689_fast_3v3");
    let least = least_by_sink(number(fast, "vdd_v"), number(fast, "v_ol_v"), number(fast, "i_ol_ma"));
    close(least, number(fast, "result_rp_min_ohm"), 6);
    close(most_by_rise(number(fast, "t_r_ns"), number(fast, "c_b_pf")), number(fast, "exact_rp_max_ohm"), 6);
    let window = PullUp::of(&bus(3300, 400, 1500, 200), 0.0);
    close(window.least_ohm, number(fast, "result_rp_min_ohm"), 6);
    close(window.most_ohm, number(fast, "exact_rp_max_ohm"), 6);
    assert_eq!((window.standing, window.upper_limit), (Standing::Inside, Limit::RiseTime));

    for name in ["nxp_um10301_400k", "nxp_um10301_100k"] {
        let it = example(&examples, name);
        let most = most_by_rise(number(it, "t_r_ns"), number(it, "c_b_pf"));
        close(most, number(it, "exact_rp_max_ohm"), 6);
        // Rounded down to the E6 series there.
        assert_eq!(Series::E6.at_most(most).map(f64::from), Some(number(it, "result_rp_max_ohm")));
    }

    let leakage = example(&examples, "rohm_leakage_limit_3v");
    let supply = number(leakage, "vdd_v");
    let most = most_by_leakage(supply, number(leakage, "v_ih_x_vdd") * supply, number(leakage, "leakage_ua"));
    close(most, number(leakage, "result_rp_max_ohm"), 5);
    let sink = example(&examples, "rohm_sink_limit_3v");
    let least = least_by_sink(number(sink, "vdd_v"), number(sink, "v_ol_v"), number(sink, "i_ol_ma"));
    close(least, number(sink, "exact_rp_min_ohm"), 5);
    close(least, number(sink, "result_rp_min_ohm"), 3);

    let series = tables(pullup, "series_resistor_example");
    let most = named(&series, "rohm_rs_max_3v");
    let (supply, pull_up) = (number(most, "vdd_v"), number(most, "r_pu_ohm"));
    let ours = most_in_series(supply, number(most, "v_il_x_vdd") * supply, number(most, "v_ol_v"), pull_up);
    close(ours, number(most, "exact_rs_max_ohm"), 6);
    close(ours, number(most, "result_rs_max_ohm"), 3);
    close(PullUp::of(&bus(3000, 100, 20_000, 20), 0.0).most_in_series_ohm, number(most, "exact_rs_max_ohm"), 6);
    // A level translator: the same arithmetic with its own drop, not the rule of the bus.
    let translator = pullup["translator"].as_table().unwrap();
    let currents = translator["currents_ma"].as_array().unwrap();
    let mut printed = 0;
    for row in tables(&pullup["translator"], "rows_8_5_3_ma") {
        for (current, ohm) in currents.iter().zip(row["r_ohm"].as_array().unwrap()) {
            let least = least_by_sink(
                number(&row, "v_pu_v"),
                number(translator, "drop_v"),
                current.as_integer().unwrap() as f64,
            );
            assert!((least - ohm.as_integer().unwrap() as f64).abs() <= 0.51, "{least} beside {ohm}");
            printed += 1;
        }
    }
    assert_eq!(printed, 18);

    for it in tables(pullup, "ac_test_condition") {
        let mode = mode::for_rate((number(&it, "f_scl_hz") / 1000.0) as u32);
        let rise = rise_ns(number(&it, "rp_ohm"), number(&it, "c_l_pf"));
        close(rise, number(&it, "derived_rise_ns"), 4);
        assert_eq!(rise <= f64::from(mode.t_r_max), it["within_bus_limit"].as_bool().unwrap(), "{it}");
    }
    let checked: BTreeSet<String> = examples
        .iter()
        .filter(|it| it.get("checked").is_some())
        .map(|it| it["name"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(SEEN.with_borrow(BTreeSet::clone), checked, "an example is not repeated");
}

/// Source: the formulas of UM10204 section 7.1, whose figures 41 and 42 are drawn without printed points.
#[test]
fn the_points_of_the_two_curves_follow() {
    let pullup = &standards()["pullup"];
    let modes: [(&str, Mode); 3] = [("sm_ohm", STANDARD), ("fm_ohm", FAST), ("fm_plus_ohm", FAST_PLUS)];
    for row in tables(&pullup["figure_41_points"], "rows") {
        for (key, mode) in modes {
            if row.contains_key(key) {
                assert_eq!(most_by_rise(f64::from(mode.t_r_max), number(&row, "c_b_pf")).round(), number(&row, key));
            }
        }
    }
    for row in tables(&pullup["figure_42_points"], "rows") {
        let supply = number(&row, "vdd_v");
        assert_eq!(least_in(&FAST, supply).round(), number(&row, "sm_fm_ohm"), "{row}");
        assert_eq!(least_in(&STANDARD, supply), least_in(&FAST, supply));
        if row.contains_key("fm_plus_ohm") {
            assert_eq!(least_in(&FAST_PLUS, supply).round(), number(&row, "fm_plus_ohm"), "{row}");
        }
    }
}

/// Sources: TI SLUSCG1 (0.4873 for 0.8473); older ROHM sheets (300 kohm where 30 kohm follows).
#[test]
fn misprints_are_not_followed() {
    let pullup = &standards()["pullup"];
    for misprint in tables(pullup, "misprint") {
        assert_ne!(RISE, number(&misprint, "printed_constant"));
        assert_eq!(RISE, number(&misprint, "right_constant"));
    }
    let misprinted = named(&tables(pullup, "example"), "rohm_leakage_limit_3v").clone();
    assert!(misprinted["misprint_elsewhere"].as_str().unwrap().contains("300 kohm"));
    let ours = most_by_leakage(3.0, 2.1, 10.0);
    assert!((ours - 300_000.0).abs() > 200_000.0, "{ours}");
    // A bus is judged by its own limits, not by a maker's test load, which may break them.
    assert_eq!(PullUp::of(&bus(3300, 400, 4000, 100), 0.0).standing, Standing::TooLarge);
}

/// Source: the same formulas; UM10204 asks for 6 mA at 0.6 V to drive a full load in Fast-mode.
#[test]
fn the_infeasible_case_is_called_infeasible_with_the_ways_out() {
    let case = &tables(&standards()["pullup"], "infeasible_case")[0];
    let window = PullUp::of(&bus(3300, 400, 1000, 400), 0.0);
    assert_eq!(window.standing, Standing::Infeasible);
    assert!(!window.is_feasible() && !case["feasible"].as_bool().unwrap());
    assert_eq!(window.least_ohm.round(), number(case, "rp_min_ohm"));
    assert_eq!(window.most_ohm.round(), number(case, "rp_max_ohm"));
    assert_eq!((window.nearest_e12_ohm, window.nearest_e24_ohm, window.e24_range_ohm), (None, None, None));
    let ways = window.ways_out.join("; ");
    assert!(ways.contains(&format!("at least {} ohm", number(case, "rp_min_at_6ma_ohm"))), "{ways}");
    // 300 ns / (0.8473 x 966.7 ohm) = 366 pF; at 100 kHz the window is 967 to 2950 ohm.
    assert!(ways.contains("at most 366 pF") && ways.contains("100 kHz") && ways.contains("967 to 2950 ohm"), "{ways}");
}

/// Source: sums of the bus table's minima, as reprinted in NXP PCA9698 Rev.3 Table 15 and others.
#[test]
fn the_limits_of_each_mode_are_those_of_the_bus_table_and_fill_one_period() {
    let timing = &standards()["i2c"]["timing"];
    let sums = timing["period_sums"].as_table().unwrap();
    for (key, mode) in [("standard_mode", STANDARD), ("fast_mode", FAST), ("fast_mode_plus", FAST_PLUS)] {
        let table = timing[key].as_table().unwrap();
        for (field, ours) in [
            ("t_hd_sta_min_ns", mode.t_hd_sta),
            ("t_low_min_ns", mode.t_low),
            ("t_high_min_ns", mode.t_high),
            ("t_su_sta_min_ns", mode.t_su_sta),
            ("t_su_dat_min_ns", mode.t_su_dat),
            ("t_r_max_ns", mode.t_r_max),
            ("t_f_max_ns", mode.t_f_max),
            ("t_su_sto_min_ns", mode.t_su_sto),
            ("t_buf_min_ns", mode.t_buf),
            ("t_vd_dat_max_ns", mode.t_vd_max),
            ("t_vd_ack_max_ns", mode.t_vd_max),
            ("c_b_max_pf", mode.c_b_max_pf),
        ] {
            assert_eq!(number(table, field), f64::from(ours), "{key}.{field}");
        }
        assert_eq!(number(table, "f_scl_max_hz"), f64::from(mode.scl_max_khz) * 1000.0);
        assert_eq!(f64::from(mode.t_low + mode.t_high), number(sums, &format!("{key}_low_plus_high_ns")));
        let whole = mode.t_low + mode.t_high + mode.t_r_max + mode.t_f_max;
        assert_eq!(f64::from(whole), number(sums, &format!("{key}_with_edges_ns")));
        assert_eq!(u64::from(whole), wire::Clock::of_khz(mode.scl_max_khz).period_ns);
    }
}

/// A bus at the full rate whose edges are as slow as they may be has no slack, and no more.
#[test]
fn a_full_rate_bus_with_worst_edges_has_no_slack() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut board = example_board();
    // No AC limits of its own, so that the mode's count.
    let card = catalogue.parts().find(|card| card.speed.value.iter().all(|it| it.ac.t_low.is_none())).unwrap();
    for mode in [STANDARD, FAST, FAST_PLUS] {
        board.bus = bus(3300, mode.scl_max_khz, 1000, 100);
        let ohm = most_by_rise(f64::from(mode.t_r_max), 100.0);
        let window = PullUp { rise_ns: rise_ns(ohm, 100.0), ..PullUp::of(&board.bus, 0.0) };
        let timing = budget::timing::Timing::of(&board, card, &window);
        assert!(timing.slack_ns.abs() < 1e-6, "{}: {}", mode.name, timing.slack_ns);
        close(timing.fastest_khz, f64::from(mode.scl_max_khz), 6);
    }
}

/// Source: nine clocks per byte (UM10204); START and STOP left out there.
#[test]
fn transfer_times_follow_from_nine_clocks_per_byte() {
    let time = &standards()["time_arithmetic"];
    let us = |clocks: u64, khz: f64| clocks as f64 * 1000.0 / khz;
    for case in tables(time, "case") {
        let clocks = wire::write_clocks(number(&case, "address_bytes") as u64, number(&case, "data_bytes") as u64);
        assert_eq!(clocks as f64, number(&case, "bits"), "{case}");
        for (key, khz) in [("us_at_100k", 100.0), ("us_at_400k", 400.0), ("us_at_1m", 1000.0)] {
            if case.contains_key(key) {
                close(us(clocks, khz), number(&case, key), 9);
            }
        }
    }
    let programs = tables(time, "program_time");
    let paged = named(&programs, "32 KiB by 64-byte pages, 400 kHz, 5 ms write cycle");
    close(number(paged, "pages") * (us(wire::write_clocks(2, 64), 400.0) + 5000.0) / 1e6, number(paged, "s"), 6);
    let single = named(&programs, "32 KiB byte by byte, 400 kHz, 5 ms write cycle");
    close(number(single, "writes") * (us(wire::write_clocks(2, 1), 400.0) + 5000.0) / 1e6, number(single, "s"), 8);
    let read = named(&programs, "32 KiB sequential read in one go, 400 kHz");
    assert_eq!(wire::read_clocks(2, 32_768), 9 * number(read, "bytes_on_wire") as u64);
    close(us(wire::read_clocks(2, 32_768), 400.0) / 1e6, number(read, "s"), 5);
    let poll = &tables(time, "ack_poll")[0];
    close(us(wire::byte_clocks(1), 100.0), number(poll, "us_at_100k"), 9);
    close(us(wire::byte_clocks(1), 400.0), number(poll, "us_at_400k"), 9);
    let at_most = (5000.0 / us(wire::byte_clocks(1), 400.0)).floor();
    assert_eq!(at_most, number(poll, "polls_in_5ms_at_400k_at_most"));
    // With START and STOP fewer fit.
    assert!(wire::Clock::of_khz(400).refused_polls(5_000_000) < at_most as u64);
}

/// The whole budget of a 256 kbit part with 64-byte pages comes to those totals, plus START and STOP.
#[test]
fn the_times_of_a_whole_part_are_those_totals_with_start_and_stop() {
    let programs = tables(&standards()["time_arithmetic"], "program_time");
    let catalogue = Catalogue::embedded().unwrap();
    let board = Board { bus: bus(3300, 400, 2200, 90), ..example_board() };
    let times = budget::compute(&board, catalogue.find("24lc256").unwrap()).times;
    let paged = named(&programs, "32 KiB by 64-byte pages, 400 kHz, 5 ms write cycle");
    let (pages, period_s) = (number(paged, "pages"), 2500e-9);
    close(times.program_fixed.seconds(), number(paged, "s") + pages * 2.0 * period_s, 6);
    let single = named(&programs, "32 KiB byte by byte, 400 kHz, 5 ms write cycle");
    close(times.program_bytewise_fixed.seconds(), number(single, "s") + number(single, "writes") * 2.0 * period_s, 7);
    let read = named(&programs, "32 KiB sequential read in one go, 400 kHz");
    close(times.read.seconds(), number(read, "s") + 4.0 * period_s, 5);
}

/// Source: Cypress white paper, an SPI part: no nine clocks there, but the same sum of wire and write cycle.
#[test]
fn the_printed_whole_array_total_is_the_same_sum() {
    let printed = &tables(&standards()["time_arithmetic"], "printed")[0];
    let page = number(printed, "page_bytes");
    let pages = number(printed, "density_kbit") * 128.0 / page;
    let bits = 8.0 + 16.0 + page * 8.0;
    let total = pages * (number(printed, "t_w_ms") + bits * 1000.0 / number(printed, "f_clock_hz"));
    close(total, number(printed, "exact_total_ms"), 7);
    close(total, number(printed, "result_total_ms"), 5);
}

/// Sources: Cypress white paper; Ramtron FM24C64B Rev1.3 p.7; the table of lives is arithmetic with years of 365 days.
#[test]
fn lives_follow_from_rating_and_rate() {
    let endurance = &standards()["endurance"];
    let examples = tables(endurance, "example");
    let sample = named(&examples, "one sample a second on one location");
    let days = days_to(number(sample, "rating_cycles") as u64, 86_400.0 / number(sample, "interval_s"));
    close(days, number(sample, "exact_days"), 5);
    assert!(days < number(sample, "result_days_below"));
    let fram = named(&examples, "F-RAM access budget");
    let days = days_to(number(fram, "rating_accesses") as u64, 86_400.0 * number(fram, "accesses_per_s"));
    close(days / 365.0, number(fram, "exact_years"), 4);
    for row in tables(endurance, "life_table") {
        let rating = number(&row, "rating_cycles") as u64;
        for (key, per_day, days_each) in [
            ("days_at_1_per_second", 86_400.0, 1.0),
            ("days_at_1_per_minute", 1440.0, 1.0),
            ("years_at_1_per_minute", 1440.0, 365.0),
            ("years_at_1_per_hour", 24.0, 365.0),
        ] {
            if let Some(printed) = row.contains_key(key).then(|| number(&row, key)) {
                let digits = if printed < 10.0 { 3 } else { 5 };
                close(days_to(rating, per_day) / days_each, printed, digits);
            }
        }
        for (key, years) in [("writes_per_day_for_10_years", 10.0), ("writes_per_day_for_20_years", 20.0)] {
            if row.contains_key(key) {
                close(days_to(rating, number(&row, key)) / 365.0, years, 4);
            }
        }
    }
}

/// Source: Microchip AT24CM02 section 7.3; ROHM BR24H32-5AC Rev.003; ABLIC S-24CS01A Rev.4.5.
#[test]
fn wear_counts_per_group_and_a_rating_stays_at_its_temperature() {
    let endurance = &standards()["endurance"];
    let catalogue = Catalogue::embedded().unwrap();
    let at24cm02 = catalogue.find("at24cm02").unwrap();
    assert_eq!(at24cm02.wear_unit.value, Wear::Group4);
    let word = number(endurance["ecc_word"].as_table().unwrap(), "word_bytes");
    assert_eq!(f64::from(budget::wear::unit_bytes(at24cm02)), word);
    let rating = tables(endurance, "rating");
    let published = rating.iter().find(|it| it["part"].as_str().unwrap().ends_with("AT24CM02")).unwrap();
    let at_25 = number(published["cycles"].as_table().unwrap(), "c25") as u64;
    // Stated at 25 C only: nothing is computed for 85 C, and the budget says so.
    for (celsius, covers) in [(20.0, true), (25.0, true), (25.5, false), (85.0, false)] {
        let rating = Rating::of(at24cm02, Some(celsius), 3300);
        assert_eq!((rating.cycles, rating.covers), (at_25, Some(covers)), "{celsius}");
        assert_eq!(rating.words().contains("does not state"), !covers, "{}", rating.words());
    }
    let ablic = catalogue.find("s-24cs01a").unwrap();
    for (celsius, cycles) in
        [(-40.0, 10_000_000), (25.0, 10_000_000), (26.0, 1_000_000), (85.0, 1_000_000), (86.0, 300_000)]
    {
        assert_eq!(Rating::of(ablic, Some(celsius), 3300).cycles, cycles, "{celsius}");
        assert_eq!(Rating::of(ablic, Some(celsius), 3300).covers, Some(true));
    }
    assert_eq!(Rating::of(ablic, Some(106.0), 3300).covers, Some(false));
    // One maker's fall with temperature (to 7.5 % or 12.5 %) is on no other maker's card.
    let ratio = &tables(endurance, "temperature_ratio")[0];
    let rohm = rating.iter().find(|it| it["part"].as_str().unwrap().contains("BR24H32")).unwrap();
    let cycles = rohm["cycles"].as_table().unwrap();
    close(number(cycles, "c105") / number(cycles, "c25"), number(ratio, "rohm_105c_over_25c"), 9);
    close(number(cycles, "c125") / number(cycles, "c25"), number(ratio, "rohm_125c_over_25c"), 9);
    for card in catalogue.parts() {
        let stated = card.endurance_at.as_ref().map_or(0, |points| points.value.len());
        let hot = Rating::of(card, Some(125.0), 3300);
        assert!(hot.cycles == card.endurance_cycles.value || stated > 1, "{}", card.id);
        let stated_hot =
            card.endurance_at.as_ref().is_some_and(|points| points.value.iter().any(|it| it.celsius >= 125.0));
        assert_eq!(
            hot.covers == Some(true),
            stated_hot,
            "{}: a rating covers 125 C only where a sheet states it",
            card.id
        );
    }
}
