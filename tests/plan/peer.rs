//! The ranked list against a reference solver, scipy's `milp` (HiGHS), on 50 random yards.
//!
//! Where Python or scipy is missing the test says so and ends; with `CI=true` it fails instead. `RIMEWARD_PYTHON` names
//! the interpreter.

use std::io::Write as _;
use std::process::{Command, Stdio};

use rimeward::domain::risk::plan::order::rank;

use super::yards::yard;

/// Yards that are compared.
const YARDS: u64 = 50;

fn solve(input: &str) -> Result<Vec<(f64, f64)>, String> {
    let python = std::env::var_os("RIMEWARD_PYTHON").unwrap_or_else(|| "python3".into());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/peers/plan.py");
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())?;
    child.stdin.take().unwrap().write_all(input.as_bytes()).ok();
    let output = child.wait_with_output().map_err(|error| error.to_string())?;
    if !output.status.success() {
        let talk = String::from_utf8_lossy(&output.stderr).into_owned();
        return Err(talk.lines().last().unwrap_or_default().to_owned());
    }
    let answer = String::from_utf8(output.stdout).map_err(|error| error.to_string())?;
    Ok(answer
        .lines()
        .map(|line| {
            let words: Vec<f64> = line.split_whitespace().map(|w| w.parse().unwrap()).collect();
            (words[0], words[1])
        })
        .collect())
}

#[test]
fn a_reference_solver_finds_hardly_better_plans() {
    let yards: Vec<_> = (0..YARDS)
        .map(|seed| yard(40_000 + seed, 10 + usize::try_from(seed % 16).unwrap(), 14))
        .collect();
    let document: Vec<_> = yards
        .iter()
        .map(|(jobs, capacity)| {
            let jobs: Vec<_> = jobs.iter().map(|job| (job.minutes, &job.price)).collect();
            serde_json::json!({ "jobs": jobs, "capacity": capacity })
        })
        .collect();
    let best = match solve(&serde_json::to_string(&document).unwrap()) {
        Ok(best) => best,
        Err(reason) => {
            let required = std::env::var("CI").is_ok_and(|value| value == "true");
            assert!(!required, "scipy could not be run: {reason}");
            println!("not compared with scipy milp, which could not be run: {reason}");
            return;
        }
    };
    assert_eq!(best.len(), yards.len());
    let mut excess = Vec::new();
    for ((jobs, capacity), (lower, upper)) in yards.iter().zip(&best) {
        let found = rank(jobs, capacity, None);
        let slack = 1e-6 * (1.0 + upper.abs()) + 1e-3;
        assert!(found.divided.bound <= upper + slack, "bound {} over {upper}", found.divided.bound);
        assert!(found.loss >= lower - slack, "{} under the solver's bound {lower}", found.loss);
        excess.push((found.loss - upper) / upper.max(1.0));
    }
    excess.sort_by(f64::total_cmp);
    println!(
        "excess over scipy milp on {} yards: median {:.2} %, 90 % {:.2} %, worst {:.2} %",
        excess.len(),
        100.0 * excess[excess.len() / 2],
        100.0 * excess[excess.len() * 9 / 10],
        100.0 * excess[excess.len() - 1]
    );
    assert!(excess[excess.len() / 2] < 0.02 && excess[excess.len() - 1] < 0.25);
}
