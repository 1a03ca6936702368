//! The ensemble kernel on inputs by formula, the same that a vectorised array program can make for itself.
//!
//! `cargo bench --bench ensemble -- [CASES MEMBERS HOURS SUB [THREADS]]`, by default 2400 256 240 4 on two threads.
//! air of member m at hour h: `-1 + 7 cos(2 pi (h - 15) / 24) - 0.02 h + 3 sin(0.37 m + 0.11 h)`, C; case c has the time
//! constant `min(0.5 1.02^c, 48)` h, first ice `-0.05 (c mod 40)` C and a heat of fusion of
//! `79.8 (0.1 + 0.9 ((7 c) mod 10) / 9)` K of its heat capacity; all start with 5 K of heat. The kernel's hour is exact,
//! so SUB, the steps an hour of a peer that steps explicitly, is only used for the plain explicit scheme that is run on
//! the first 60 cases beside it. Prints one JSON document; chosen cases are compared with the plain model before.

#![expect(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::indexing_slicing,
    reason = "a benchmark may stop at the first surprise"
)]

use std::time::Instant;

use rimeward::domain::physics::part::{Members, PartModel};
use rimeward::domain::units::{Celsius, JoulesPerKelvin, KelvinDelta, WattsPerKelvin};

/// Heat capacity of every part, J/K: only ratios count.
const CAPACITY: f64 = 3600.0;

struct Case {
    tau_h: f64,
    first_ice_c: f64,
    span_k: f64,
}

fn case(c: usize) -> Case {
    Case {
        tau_h: (0.5 * 1.02_f64.powi(i32::try_from(c).unwrap())).min(48.0),
        first_ice_c: -0.05 * (c % 40) as f64,
        span_k: 79.8 * (0.1 + 0.9 * ((c * 7) % 10) as f64 / 9.0),
    }
}

fn model(case: &Case) -> PartModel {
    let capacity = JoulesPerKelvin::new(CAPACITY).unwrap();
    let ua = WattsPerKelvin::new(CAPACITY / (case.tau_h * 3600.0)).unwrap();
    let first_ice = Celsius::new(case.first_ice_c).unwrap();
    let fusion = KelvinDelta::new(case.span_k).unwrap();
    PartModel::measured(first_ice, (capacity, capacity), fusion, ua).unwrap()
}

fn air(members: usize, hours: usize) -> Vec<f32> {
    let mut air = Vec::with_capacity(hours * members);
    for h in 0..hours {
        let h = h as f64;
        let day = 7.0 * (std::f64::consts::TAU * (h - 15.0) / 24.0).cos();
        let of = |m: usize| -1.0 + day - 0.02 * h + 3.0 * (0.37 * m as f64 + 0.11 * h).sin();
        air.extend((0..members).map(|m| of(m) as f32));
    }
    air
}

/// Share of members past one third ice, and the sum of the heats at the end, K. A state of 5 K above 0 C is one of
/// 5 K less the first ice above first ice.
fn run(c: usize, members: usize, air: &[f32]) -> (f64, f64) {
    let case = case(c);
    let model = model(&case);
    let start = (5.0 - case.first_ice_c) * CAPACITY;
    let mark = model.enthalpy_at_ice_share(1.0 / 3.0).unwrap();
    let mut state = Members::new(&model, start, [mark; 3], members);
    for hour in air.chunks_exact(members) {
        state.step(hour, 1.0);
    }
    let heat: f64 = state.states_j().map(|j| j / CAPACITY + case.first_ice_c).sum();
    (state.past()[2] as f64 / members as f64, heat)
}

/// The plain explicit scheme with `sub` steps an hour, one member after the other.
fn explicit(c: usize, members: usize, air: &[f32], sub: u16) -> (f64, f64) {
    let case = case(c);
    let (first, span) = (case.first_ice_c as f32, case.span_k as f32);
    let k = (1.0 / f64::from(sub) / case.tau_h) as f32;
    let (mut past, mut heat) = (0, 0.0);
    for m in 0..members {
        let (mut e, mut worst) = (5.0_f32, 0.0_f32);
        for hour in air.chunks_exact(members) {
            for _ in 0..sub {
                e += k * (hour[m] - e.max(first.min(e + span)));
            }
            worst = worst.max((first - e) / span);
        }
        past += usize::from(worst >= 1.0 / 3.0);
        heat += f64::from(e);
    }
    (past as f64 / members as f64, heat)
}

/// The largest difference between the kernel and the plain model in temperature, K, and in ice share.
fn against_the_plain_model(c: usize, members: usize, air: &[f32]) -> (f64, f64) {
    let case = case(c);
    let model = model(&case);
    let start = (5.0 - case.first_ice_c) * CAPACITY;
    let mut fast = Members::new(&model, start, [0.0; 3], members);
    let mut plain = vec![start; members];
    let mut worst = (0.0_f64, 0.0_f64);
    for hour in air.chunks_exact(members) {
        fast.step(hour, 1.0);
        for ((one, state), air_c) in fast.states_j().zip(&mut plain).zip(hour) {
            *state = model.step_hour(*state, f64::from(*air_c));
            worst.0 = worst.0.max((model.temperature(one) - model.temperature(*state)).abs());
            worst.1 = worst.1.max((model.ice_share(one) - model.ice_share(*state)).abs());
        }
    }
    worst
}

fn on_threads(cases: usize, members: usize, air: &[f32], threads: usize) -> (f64, f64, f64) {
    let before = Instant::now();
    let each = cases.div_ceil(threads);
    let mut results: Vec<(f64, f64)> = vec![(0.0, 0.0); cases];
    std::thread::scope(|scope| {
        for (block, results) in results.chunks_mut(each).enumerate() {
            scope.spawn(move || {
                for (at, result) in results.iter_mut().enumerate() {
                    *result = run(block * each + at, members, air);
                }
            });
        }
    });
    let seconds = before.elapsed().as_secs_f64();
    let share = results.iter().map(|(share, _)| share).sum::<f64>() / cases as f64;
    (seconds, share, results.iter().map(|(_, heat)| heat).sum())
}

fn main() {
    let given: Vec<usize> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let arg = |at: usize, usual: usize| given.get(at).copied().unwrap_or(usual).max(1);
    let (cases, members, hours, threads) = (arg(0, 2400), arg(1, 256), arg(2, 240), arg(4, 2));
    let sub = u16::try_from(arg(3, 4)).unwrap();
    let air = air(members, hours);
    let work = (cases * members * hours) as f64;
    let checked: Vec<_> = (0..cases)
        .step_by(cases.div_ceil(12))
        .map(|c| against_the_plain_model(c, members, &air))
        .collect();
    let apart = checked.iter().fold((0.0_f64, 0.0_f64), |w, c| (w.0.max(c.0), w.1.max(c.1)));
    let alone = on_threads(cases, members, &air, 1);
    let mut best = on_threads(cases, members, &air, threads);
    for _ in 0..2 {
        let again = on_threads(cases, members, &air, threads);
        assert_eq!((again.1.to_bits(), again.2.to_bits()), (best.1.to_bits(), best.2.to_bits()));
        best = if again.0 < best.0 { again } else { best };
    }
    assert_eq!((alone.1.to_bits(), alone.2.to_bits()), (best.1.to_bits(), best.2.to_bits()));
    let few = cases.min(60);
    let (mut explicit_share, mut explicit_sum, mut own_sum) = (0.0, 0.0, 0.0);
    let before = Instant::now();
    for c in 0..few {
        let (share, sum) = explicit(c, members, &air, sub);
        explicit_share += share / few as f64;
        explicit_sum += sum;
        own_sum += run(c, members, &air).1;
    }
    let explicit_s = before.elapsed().as_secs_f64();
    let document = serde_json::json!({
        "bench": "ensemble", "cases": cases, "members": members, "hours": hours, "threads": threads,
        "seconds": best.0, "member_hours_per_second": work / best.0, "seconds_on_one_thread": alone.0,
        "mean_share": best.1, "checksum": best.2,
        "largest_difference_from_the_plain_model": {"kelvin": apart.0, "ice_share": apart.1, "cases": checked.len()},
        "explicit_scheme": {"steps_an_hour": sub, "cases": few, "mean_share": explicit_share, "checksum": explicit_sum,
            "checksum_of_the_kernel": own_sum, "seconds": explicit_s},
    });
    println!("{document:#}");
}
