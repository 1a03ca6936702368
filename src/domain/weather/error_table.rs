//! The fitted error table that is compiled in: for lows and highs at each lead the coefficients of [`super::fitted`],
//! without and with what a place's own nights have taught, and how the errors of one issue hang together.

use std::collections::BTreeMap;

use thiserror::Error;

use super::fitted::{Fitted, NAMES, Situation, TERMS};

/// The table as compiled in.
const BUILT_IN: &str = include_str!("../../../config/catalogue/forecast_errors.csv");

/// Low of the night or high of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The lowest of a night.
    Low,
    /// The highest of a day.
    High,
}

/// A table that cannot be used.
#[derive(Debug, Error, PartialEq, Eq)]
#[error("reading the table of forecast errors, line {line}: {why}")]
pub struct ErrorTableError {
    line: u64,
    why: String,
}

/// Coefficients by kind, lead and whether the place's own nights are known.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorTable {
    fits: BTreeMap<(Kind, u32, bool), Fitted>,
    correlation: BTreeMap<bool, [[f64; 4]; 4]>,
}

impl ErrorTable {
    /// The table in `config/catalogue/forecast_errors.csv`.
    ///
    /// # Errors
    /// [`ErrorTableError`] with its line.
    pub fn built_in() -> Result<Self, ErrorTableError> {
        Self::parse(BUILT_IN)
    }

    /// Reads `kind,lead_h,own,part,term,coefficient`; lines that begin with `#` say where the figures come from.
    ///
    /// # Errors
    /// [`ErrorTableError`]: an unknown kind, part or term, a number that is none.
    pub fn parse(text: &str) -> Result<Self, ErrorTableError> {
        let mut table = Self { fits: BTreeMap::new(), correlation: BTreeMap::new() };
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        for record in reader.records() {
            let record =
                record.map_err(|error| ErrorTableError { line: 0, why: error.to_string() })?;
            let line = record.position().map_or(0, csv::Position::line);
            let refuse = |why: &str| ErrorTableError { line, why: why.to_owned() };
            let field = |at: usize| record.get(at).unwrap_or_default();
            let number = |at: usize| {
                field(at)
                    .parse::<f64>()
                    .ok()
                    .filter(|n| n.is_finite())
                    .ok_or_else(|| refuse("no number"))
            };
            let coefficient = number(5)?;
            let own = field(2) == "known";
            let kind = match field(0) {
                "low" => Kind::Low,
                "high" => Kind::High,
                "correlation" => {
                    let place = |at: usize| field(at).parse::<usize>().ok().filter(|i| *i < 4);
                    let (row, column) = place(3)
                        .zip(place(4))
                        .ok_or_else(|| refuse("no place in a 4 x 4 table"))?;
                    let matrix = table.correlation.entry(own).or_insert([[0.0; 4]; 4]);
                    if let Some(cell) = matrix.get_mut(row).and_then(|r| r.get_mut(column)) {
                        *cell = coefficient;
                    }
                    continue;
                }
                _ => return Err(refuse("the kind is low, high or correlation")),
            };
            let lead_h = field(1).parse::<u32>().map_err(|_| refuse("no lead in hours"))?;
            let term = NAMES.iter().position(|name| *name == field(4));
            let term = term.ok_or_else(|| refuse("an unknown term"))?;
            let empty = || Fitted { shift: [0.0; TERMS], log_sd: [0.0; TERMS] };
            let fit = table.fits.entry((kind, lead_h, own)).or_insert_with(empty);
            let part = match field(3) {
                "shift" => &mut fit.shift,
                "log_sd" => &mut fit.log_sd,
                _ => return Err(refuse("the part is shift or log_sd")),
            };
            if let Some(slot) = part.get_mut(term) {
                *slot = coefficient;
            }
        }
        Ok(table)
    }

    /// The fit for exactly this lead.
    #[must_use]
    pub fn fit(&self, kind: Kind, lead_h: u32, own: bool) -> Option<&Fitted> {
        self.fits.get(&(kind, lead_h, own))
    }

    /// Correlation of the errors of the low and high of tomorrow and the day after, as of an evening issue.
    #[must_use]
    pub fn correlation(&self, own: bool) -> Option<[[f64; 4]; 4]> {
        self.correlation.get(&own).copied()
    }

    /// Shift and standard deviation in K at any lead: between the fitted leads by a straight line, before the first as
    /// there; after the last as there, and the caller lets the spread grow.
    #[must_use]
    pub fn shift_and_sd(
        &self,
        kind: Kind,
        lead_h: f64,
        situation: &Situation,
    ) -> Option<(f64, f64)> {
        let own = situation.own_abs_k.is_some();
        let leads = self.fits.iter().filter(|((k, _, o), _)| *k == kind && *o == own);
        let leads: Vec<(f64, (f64, f64))> = leads
            .map(|((_, lead, _), fit)| (f64::from(*lead), fit.shift_and_sd(situation)))
            .collect();
        let after = leads.iter().find(|(lead, _)| *lead >= lead_h).or(leads.last())?;
        let before = leads.iter().rev().find(|(lead, _)| *lead <= lead_h).or(leads.first())?;
        let width = after.0 - before.0;
        let share = if width > 0.0 { (lead_h - before.0) / width } else { 0.0 };
        let between = |a: f64, b: f64| a + (b - a) * share;
        Some((between(before.1.0, after.1.0), between(before.1.1, after.1.1)))
    }

    /// The longest lead that is fitted, in hours.
    #[must_use]
    pub fn lead_h_max(&self) -> f64 {
        self.fits.keys().map(|(_, lead, _)| *lead).max().map_or(0.0, f64::from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ordinary(forecast_c: f64) -> Situation {
        Situation::bare(15.0, 43.0, 150.0, forecast_c)
    }

    #[test]
    fn the_compiled_table_is_near_the_published_spread() {
        // Measured on lows of cold US cities, October to April: 1.8 K at 12 h and 2.1 K at 48 h over all places; ordinary
        // ones by the sea level of the archive are better, hills and cold worse.
        let table = ErrorTable::built_in().unwrap();
        for own in [None, Some(1.4)] {
            let at = |lead, situation: Situation| {
                let situation = Situation { own_abs_k: own, ..situation };
                table.shift_and_sd(Kind::Low, lead, &situation).unwrap()
            };
            let (shift, near) = at(12.0, ordinary(0.0));
            let (_, far) = at(48.0, ordinary(0.0));
            assert!((1.2..2.1).contains(&near) && shift.abs() < 1.0, "{shift} {near}");
            assert!(far > near && far < 2.6, "{near} {far}");
            assert!(at(12.0, ordinary(-18.0)).1 > near);
            assert!(at(12.0, Situation { elevation_m: 1500.0, ..ordinary(0.0) }).1 > near);
        }
        assert!(table.correlation(true).is_some_and(|c| (c[0][0] - 1.0).abs() < 1e-9));
        assert_eq!(table.lead_h_max(), 48.0);
    }

    #[test]
    fn a_wrong_line_is_named() {
        let head = "kind,lead_h,own,part,term,coefficient\n";
        let refusal = |line: &str| ErrorTable::parse(&format!("{head}{line}\n")).unwrap_err();
        assert_eq!(refusal("low,12,none,shift,luck,0.1").line, 2);
        assert!(refusal("mid,12,none,shift,one,0.1").to_string().contains("line 2"));
        assert!(refusal("low,12,none,shift,one,NaN").to_string().contains("no number"));
    }
}
