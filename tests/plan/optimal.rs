//! The ranked list against all orders, the bound against the optimum, and what a list has to keep.

use rimeward::domain::risk::plan::order::{Ends, loss_of, rank};

use rimeward::domain::risk::plan::Job;

use super::yards::yard;

/// The least expected loss over all orders, by trying them all.
fn best_of_all_orders(jobs: &[Job], capacity: &[u32]) -> f64 {
    fn go(order: &mut Vec<usize>, place: usize, best: &mut f64, jobs: &[Job], ends: &Ends) {
        if place == order.len() {
            *best = best.min(loss_of(order, jobs, ends));
            return;
        }
        for other in place..order.len() {
            order.swap(place, other);
            go(order, place + 1, best, jobs, ends);
            order.swap(place, other);
        }
    }
    let mut order: Vec<usize> = (0..jobs.len()).collect();
    let mut best = f64::INFINITY;
    go(&mut order, 0, &mut best, jobs, &Ends::new(capacity));
    best
}

#[test]
fn against_all_orders_up_to_nine_boats() {
    let mut excess = Vec::new();
    for boats in 1..=9_u8 {
        for seed in 0..(if boats == 9 { 2 } else { 12 }) {
            let (jobs, capacity) = yard(seed * 100 + u64::from(boats), usize::from(boats), 12);
            let best = best_of_all_orders(&jobs, &capacity);
            let found = rank(&jobs, &capacity, None);
            assert!(
                found.divided.bound <= best + 1e-6,
                "bound {} over {best}",
                found.divided.bound
            );
            assert!(found.loss >= best - 1e-9, "a loss under the best possible");
            excess.push(found.loss - best - 1e-9 > 0.02 * best.max(1.0));
            assert!(
                found.loss <= 1.25 * best + 1.0,
                "{boats} boats, seed {seed}: {} where {best} is possible",
                found.loss
            );
        }
    }
    let over = excess.iter().filter(|over| **over).count();
    println!("lists over 2 % above the best of all orders: {over} of {}", excess.len());
    assert!(over * 10 <= excess.len(), "{over} of {} lists are over 2 % off", excess.len());
}

#[test]
fn the_list_is_close_to_its_bound_and_far_better_than_simple_rules() {
    let (mut gaps, mut by_due) = (Vec::new(), Vec::new());
    for seed in 0..12 {
        let (jobs, capacity) = yard(9000 + seed, 200, 21);
        let found = rank(&jobs, &capacity, None);
        gaps.push(found.gap());
        let mut soonest: Vec<usize> = (0..jobs.len()).collect();
        soonest.sort_by_key(|index| jobs[*index].due.unwrap_or(99));
        let loss = loss_of(&soonest, &jobs, &Ends::new(&capacity));
        by_due.push(loss / found.divided.bound - 1.0);
    }
    gaps.sort_by(f64::total_cmp);
    by_due.sort_by(f64::total_cmp);
    println!(
        "200 boats over the bound: this list median {:.1} %, worst {:.1} %; soonest due first median {:.0} %",
        100.0 * gaps[6],
        100.0 * gaps[11],
        100.0 * by_due[6]
    );
    assert!(gaps[6] < 0.05 && gaps[11] < 0.15, "{gaps:?}");
    assert!(by_due[6] > 2.0 * gaps[6]);
}

#[test]
fn the_same_yard_gives_the_same_list_and_yesterdays_is_kept_for_little() {
    let (jobs, capacity) = yard(77, 60, 21);
    let found = rank(&jobs, &capacity, None);
    assert_eq!(found, rank(&jobs, &capacity, None));
    // Two rows of today the other way round cost next to nothing: yesterday's order stays.
    let mut before = found.order.clone();
    before.swap(0, 1);
    let kept = rank(&jobs, &capacity, Some(&before));
    assert_eq!(kept.order[..2], before[..2]);
    // Yesterday's list backwards costs a great deal: it goes.
    let backwards: Vec<usize> = found.order.iter().rev().copied().collect();
    let anew = rank(&jobs, &capacity, Some(&backwards));
    assert!(anew.kept.is_none());
    assert_eq!(anew.order, found.order);
}

#[test]
fn more_hours_never_cost_more() {
    for seed in 0..8 {
        let (jobs, capacity) = yard(500 + seed, 40, 14);
        let more: Vec<u32> = capacity.iter().map(|minutes| minutes + 30).collect();
        let (a, b) = (rank(&jobs, &capacity, None), rank(&jobs, &more, None));
        assert!(b.divided.bound <= a.divided.bound + 1e-3, "seed {seed}");
        assert!(b.loss >= b.divided.bound - 1e-6 && a.loss >= a.divided.bound - 1e-6);
    }
}
