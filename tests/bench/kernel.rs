//! One case through its members and hours, against a bare multiply-add over the same arrays in the same run, both with
//! the vector units that are there. Prints one JSON document with the ratio of the best of several runs.
//!
//! `cargo bench --bench kernel -- [MEMBERS HOURS]`, by default 256 240.

#![expect(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "a benchmark may stop at the first surprise"
)]

use std::hint::black_box;
use std::time::Instant;

use rimeward::domain::physics::Liquid;
use rimeward::domain::physics::part::{Members, PartModel, thermal_classes};
use rimeward::domain::units::Celsius;

const ROUNDS: usize = 200;

fn air(members: usize, hours: usize, mean_c: f64) -> Vec<f32> {
    let of = |h: f64, m: f64| {
        mean_c
            + 5.0 * (std::f64::consts::TAU * (h - 15.0) / 24.0).cos()
            + 3.0 * (0.37 * m + 0.11 * h).sin()
    };
    (0..hours).flat_map(|h| (0..members).map(move |m| of(h as f64, m as f64) as f32)).collect()
}

fn best_of(mut work: impl FnMut()) -> f64 {
    let once = |work: &mut dyn FnMut()| {
        let before = Instant::now();
        for _ in 0..ROUNDS {
            work();
        }
        before.elapsed().as_secs_f64() / ROUNDS as f64
    };
    (0..7).map(|_| once(&mut work)).fold(f64::INFINITY, f64::min)
}

fn multiply_add(air: &[f32], members: usize) -> Vec<f32> {
    let mut state = vec![5.0_f32; members];
    pulp::Arch::new().dispatch(
        #[inline(always)]
        || {
            for hour in air.chunks_exact(members) {
                for (state, air) in state.iter_mut().zip(hour) {
                    *state = *state * 0.75 + air;
                }
            }
        },
    );
    state
}

fn main() {
    let given: Vec<usize> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let members = given.first().copied().unwrap_or(256).max(1);
    let hours = given.get(1).copied().unwrap_or(240).max(1);
    let count = (members * hours) as f64;
    let mut rows = Vec::new();
    let (mut all, mut bare_all) = (0.0, 0.0);
    for mean_c in [3.0, -1.0, -6.0] {
        let air = air(members, hours, mean_c);
        let bare = best_of(|| {
            black_box(multiply_add(black_box(&air), members));
        });
        for class in thermal_classes().unwrap() {
            let model =
                PartModel::new(&Liquid::FreshWater, class.water(), class.solid(), class.ua());
            let model = model.unwrap();
            let start = model.enthalpy_in_balance(Celsius::new(5.0).unwrap());
            let marks = [0.05, 0.15, 1.0 / 3.0].map(|s| model.enthalpy_at_ice_share(s).unwrap());
            let ours = best_of(|| {
                let mut state = Members::new(black_box(&model), start, marks, members);
                for hour in air.chunks_exact(members) {
                    state.step(hour, 1.0);
                }
                black_box(state.past());
            });
            all += ours;
            bare_all += bare;
            rows.push(serde_json::json!({"class": class.id, "mean_air_c": mean_c,
                "ns_per_member_hour": ours / count * 1e9, "times_bare": ours / bare}));
        }
    }
    let document = serde_json::json!({"bench": "kernel", "members": members, "hours": hours,
        "bare_ns_per_member_hour": bare_all / rows.len() as f64 / count * 1e9,
        "ns_per_member_hour": all / rows.len() as f64 / count * 1e9,
        "times_bare": all / bare_all, "rows": rows});
    println!("{document:#}");
}
