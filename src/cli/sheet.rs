//! `rimeward sheet`: the day sheet for one boat, to print, fill and type back. It tells nobody to run an engine.

mod steps;

use std::fmt::Write as _;
use std::path::PathBuf;

use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit, boat::look_up, page};
use crate::domain::boat::{Boat, BoatState, fold};
use crate::domain::catalogue::{Catalogue, MixRatios};
use crate::domain::message::words::fuel;
use crate::domain::message::{Phrases, cautions};
use crate::domain::yard::Site;
use steps::Step;

/// The page, printed by the browser.
const PAGE: &str = include_str!("../../config/catalogue/day_sheet.html");
/// Text lines are broken here, so that they print on a page.
const COLUMNS: usize = 92;

/// Arguments of `sheet`.
#[derive(Debug, clap::Args)]
pub struct SheetArgs {
    /// The boat, as the yard numbers it
    boat: String,
    /// As the record stood at this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Write a page for the printer here instead of text
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// The day sheet of a boat.
///
/// # Errors
/// [`CliError`]: an unknown boat or place, a time that is none, the store, a file that cannot be written.
pub fn run(args: &SheetArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let boat = look_up(&args.boat, &yard)?;
    let zone = yard.zone(&boat.site);
    let at = around.time_or_now(args.at.as_deref(), zone)?;
    let events = house.store.all_events()?;
    let state = fold(boat, &yard.sites, &events, at, at, &house.catalogue);
    let site = yard.sites.get(&state.site).ok_or_else(|| {
        CliError::failed(format!("{} stands at {}, which is not listed", boat.id, state.site))
    })?;
    let phrases = Phrases::built_in().map_err(|error| CliError::failed(error.to_string()))?;
    let sheet = Sheet::of(boat, &state, site, &house.catalogue, &phrases);
    let json = sheet.json();
    let text = match &args.html {
        Some(path) => page::write(PAGE, &json, path)?,
        None => sheet.text(),
    };
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The sheet, ready to be printed in one way or another.
struct Sheet {
    title: String,
    facts: Vec<String>,
    cautions: Vec<(String, String)>,
    test_first: Vec<String>,
    steps: Vec<Step>,
    mixing: Vec<String>,
    foot: Vec<String>,
}

impl Sheet {
    fn of(
        boat: &Boat,
        state: &BoatState,
        site: &Site,
        catalogue: &Catalogue,
        phrases: &Phrases,
    ) -> Self {
        let lies = if state.afloat { "afloat" } else { "ashore" };
        let stated = |what: &str, value: &str| {
            (!value.trim().is_empty()).then(|| format!("{what}: {}", value.trim()))
        };
        let engines = match boat.engines {
            0 => "no engine".to_owned(),
            1 => format!("one engine, {}", fuel(&boat.fuel)),
            more => format!("{more} engines, {}", fuel(&boat.fuel)),
        };
        let place = format!("{}, {lies}", site.name);
        let facts = [
            stated("Place", &place),
            stated("Row or berth", &boat.location),
            stated("Kind", &boat.kind.replace('_', " ")),
            stated("Engine", &engines),
            stated("Ordered", &boat.work_ordered),
            stated("Remarks", boat.remarks()),
            stated("To find out", &state.fitting_questions.join("; ")),
        ];
        Self {
            title: format!("Day sheet: {} ({})", boat.name, boat.id),
            facts: facts.into_iter().flatten().collect(),
            cautions: cautions::for_day_sheet(phrases, boat, state, site),
            test_first: state.test_before_running.clone(),
            steps: steps::steps(boat, state, catalogue),
            mixing: if boat.engines > 0 { mixing(catalogue.mix_ratios()) } else { Vec::new() },
            foot: vec![
                "Follow the engine maker's cold-weather procedure; this list only says which circuits are open questions.".into(),
                "Date ____________  Hours from ______ to ______  Who ____________________  Sheet no. ________".into(),
                format!(
                    "To type back: the words under each step, blanks filled or left out, with --happened DAYTTIME and --by WHO. \
                     What is unsaid stays unknown. Boat number: {}.",
                    boat.id
                ),
            ],
        }
    }

    fn json(&self) -> Value {
        let cautions: Vec<Value> = self
            .cautions
            .iter()
            .map(|(signal, text)| json!({ "signal": signal, "text": text }))
            .collect();
        json!({
            "title": self.title,
            "facts": self.facts,
            "cautions": cautions,
            "test_before_running": self.test_first,
            "steps": self.steps,
            "mixing": self.mixing,
            "foot": self.foot,
        })
    }

    // Writing to a String cannot fail, so the results of `write!` are let go.
    fn text(&self) -> String {
        let mut text = format!("{}\n", self.title);
        for fact in &self.facts {
            text += &page::wrapped(fact, "", COLUMNS);
        }
        text.push('\n');
        for (signal, caution) in &self.cautions {
            text += &page::wrapped(&format!("{signal}: {caution}"), "  ", COLUMNS);
        }
        if !self.test_first.is_empty() {
            text += "\nTest before running:\n";
            for line in &self.test_first {
                text += &page::wrapped(&format!("- {line}"), "  ", COLUMNS);
            }
        }
        for step in &self.steps {
            let _ = writeln!(text, "\n[ ] {}. {}", step.number, step.title);
            text += &page::wrapped(&format!("    {}", step.what), "    ", COLUMNS);
            for part in &step.parts {
                let _ = writeln!(text, "    [ ] {part}");
            }
            for line in &step.record {
                let _ = writeln!(text, "    > {line}");
            }
        }
        if !self.mixing.is_empty() {
            text += "\nMixing (common practice, no published source)\n";
            for line in &self.mixing {
                text += &page::wrapped(&format!("- {line}"), "  ", COLUMNS);
            }
        }
        text.push('\n');
        for line in &self.foot {
            text += &page::wrapped(line, "", COLUMNS);
        }
        text
    }
}

/// The mixing table, worked out.
fn mixing(mix: &MixRatios) -> Vec<String> {
    let ounces = mix.ounces_per_gallon / mix.fuel_to_oil;
    let millilitres = 1000.0 / mix.fuel_to_oil;
    let half = ounces * mix.gallons;
    let (least, most) = mix.stabiliser_months;
    vec![
        format!(
            "fuel to oil {:.0}:1 is {ounces:.2} fl oz of oil to a gallon of fuel, {millilitres:.0} mL to a litre",
            mix.fuel_to_oil
        ),
        format!(
            "where the maker's procedure has a run: at fast idle, near 1,500 rpm, an engine takes about {:.1} gal in {:.0} minutes, \
             and five to {:.0} minutes are usual; for {:.1} gal that is {half:.2} fl oz of oil",
            mix.gallons, mix.minutes, mix.minutes, mix.gallons
        ),
        format!(
            "tank about {:.0} % full, with stabiliser that must last {least:.0} to {most:.0} months",
            mix.tank_percent
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mixing_table_is_worked_out() {
        let lines = mixing(Catalogue::built_in().unwrap().mix_ratios()).join("\n");
        // 128 fl oz / 50 = 2.56; 1000 mL / 50 = 20; half of 2.56 is 1.28.
        for words in
            ["50:1 is 2.56 fl oz", "20 mL to a litre", "1.28 fl oz", "90 % full", "4 to 6 months"]
        {
            assert!(lines.contains(words), "{words}: {lines}");
        }
    }
}
