//! The table for people and the document for programs.

use serde_json::{Value, json};

use super::score::{bins, brier, hits, range, round, value};
use super::systems::Row;

pub fn print(rows: &[Row]) {
    eprintln!(
        "{:<15} {:>3} {:>6} {:>5}  {:<20} {:>7} {:>17} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
        "event",
        "h",
        "n",
        "base",
        "system",
        "Brier",
        "90 % range",
        "POD.1",
        "FAR.1",
        "POD.2",
        "FAR.2",
        "V.05",
        "V.2"
    );
    let mut document = Vec::new();
    for row in rows {
        let all = &row.judged;
        let base = all.iter().filter(|j| j.came).count() as f64 / all.len().max(1) as f64;
        let b = brier(all);
        let (low, high) = range(all, brier);
        let hit: Vec<(f64, (f64, f64))> = [0.1, 0.2, 0.5].map(|t| (t, hits(all, t))).to_vec();
        let is_rule = row.system == "yes/no";
        let act = |cost: f64| value(all, cost, if is_rule { 0.5 } else { cost });
        eprintln!(
            "{:<15} {:>3} {:>6} {:>5.2}  {:<20} {:>7.4} {:>8.4}-{:<8.4} {:>6.3} {:>6.3} {:>6.3} {:>6.3} {:>6.3} {:>6.3}",
            row.item,
            row.horizon_h,
            all.len(),
            base,
            row.system,
            b,
            low,
            high,
            hit[0].1.0,
            hit[0].1.1,
            hit[1].1.0,
            hit[1].1.1,
            act(0.05),
            act(0.2)
        );
        let values: serde_json::Map<String, Value> = [0.02, 0.05, 0.1, 0.2, 0.5]
            .map(|cost| (cost.to_string(), json!(round(act(cost)))))
            .into_iter()
            .collect();
        let at = |pick: fn(&(f64, f64)) -> f64| -> Value {
            hit.iter()
                .map(|(t, h)| (t.to_string(), json!(round(pick(h)))))
                .collect::<serde_json::Map<_, _>>()
                .into()
        };
        document.push(json!({
            "item": row.item, "horizon_h": row.horizon_h, "n": all.len(), "base_rate": round(base),
            "system": row.system, "brier": round(b), "brier_90": [round(low), round(high)],
            "brier_skill": round(1.0 - b / (base * (1.0 - base))), "value": values,
            "hit_rate": at(|h| h.0), "false_alarm_ratio": at(|h| h.1), "reliability": bins(all),
        }));
    }
    println!("{}", json!({ "rows": document }));
}
