//! Worked examples computed by hand and from the literature.

use rimeward::domain::risk::plan::Job;
use rimeward::domain::risk::plan::order::{Ends, cost_of_waiting, loss_of, rank};

fn job(boat: &str, minutes: u32, price: Vec<f64>) -> Job {
    let loss = price.iter().copied().fold(0.0, f64::max);
    Job { boat: boat.into(), place: "QUAY".into(), minutes, price, due: None, loss }
}

fn names(jobs: &[Job], order: &[usize]) -> String {
    order.iter().map(|index| jobs[*index].boat.as_str()).collect()
}

/// One boat a day, different nights: an assignment problem whose optimum was found by trying all orders.
fn one_a_day() -> (Vec<Job>, Vec<u32>) {
    let table = [
        ("A", 6000.0, [0.0, 0.5, 0.7, 0.8]),
        ("B", 4000.0, [0.0, 0.0, 0.2, 0.3]),
        ("C", 8000.0, [0.0, 0.0, 0.4, 0.5]),
        ("D", 3000.0, [0.0, 0.0, 0.5, 0.6]),
    ];
    let jobs = table
        .into_iter()
        .map(|(boat, loss, chance)| {
            // Flat after night 3, for plans that begin late.
            let long = chance.into_iter().chain([chance[3]; 4]);
            job(boat, 480, long.map(|chance| loss * chance).collect())
        })
        .collect();
    (jobs, vec![480; 7])
}

#[test]
fn one_boat_a_day_is_the_assignment_problem() {
    let (jobs, capacity) = one_a_day();
    let found = rank(&jobs, &capacity, None);
    assert_eq!((names(&jobs, &found.order).as_str(), found.loss), ("ACBD", 2600.0));
    assert!((found.divided.bound - 2600.0).abs() < 1e-3, "whole days: the bound is the optimum");
    let loss = |order: [usize; 4]| loss_of(&order, &jobs, &Ends::new(&capacity));
    assert_eq!(loss([0, 3, 2, 1]), 4400.0, "earliest due date at 50 %");
    assert_eq!(loss([2, 0, 1, 3]), 5600.0, "dearest first");
}

#[test]
fn waiting_one_day_costs_4600_and_two_8400() {
    let (jobs, capacity) = one_a_day();
    let waiting = cost_of_waiting(&jobs, &capacity, 3);
    assert_eq!(waiting, [2600.0, 7200.0, 11_000.0]);
}

/// A common freeze whose time is exponential (De, Ghosh and Wells 1991): hours stand for days, one crew hour each.
fn exponential(rate: f64) -> (Vec<Job>, Vec<u32>) {
    let table = [("A", 9000.0, 4_u32), ("B", 4000.0, 2), ("C", 1200.0, 1), ("D", 6500.0, 5)];
    let jobs = table
        .into_iter()
        .map(|(boat, loss, hours)| {
            let price = (1..=13).map(|hour| loss * (1.0 - (-rate * f64::from(hour)).exp()));
            job(boat, 60 * hours, price.collect())
        })
        .collect();
    (jobs, vec![60; 12])
}

#[test]
fn a_common_exponential_freeze_orders_by_the_known_index() {
    for (rate, order, loss) in [(0.02, "ABDC", 2683.9), (0.1, "ABCD", 9918.2)] {
        let (jobs, capacity) = exponential(rate);
        let found = rank(&jobs, &capacity, None);
        assert_eq!(names(&jobs, &found.order), order, "rate {rate}");
        assert!((found.loss - loss).abs() < 0.05, "rate {rate}: {}", found.loss);
    }
    let (jobs, capacity) = exponential(0.1);
    let by_smith = loss_of(&[0, 1, 3, 2], &jobs, &Ends::new(&capacity));
    assert!((by_smith - 9946.8).abs() < 0.05, "w/p falling: {by_smith}");
}

#[test]
fn one_more_hour_today_is_worth_what_it_saves() {
    // One boat of 8 h, 4 h today: half of it waits until tomorrow, when the chance has risen by 0.5.
    let jobs = [job("A", 480, vec![0.0, 500.0, 1000.0])];
    let found = rank(&jobs, &[240, 480], None);
    assert!((found.divided.hour_value - 500.0 / 8.0).abs() < 0.01, "{}", found.divided.hour_value);
}
