//! One group of circuits that are laid up in one go: what is open in it, how long it takes, when the cold takes it.

use chrono::{DateTime, Utc};

use super::count;
use super::due::last_day_at;
use super::tail::{DamageDays, NEVER};
use super::work::{Minutes, WorkEntry, WorkTable, product_litres};
use crate::domain::boat::{Boat, CircuitId, CircuitState, Holds};
use crate::domain::catalogue::CircuitKind;

/// An open circuit, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenCircuit {
    /// Which.
    pub circuit: CircuitId,
    /// Which of several.
    pub instance: Option<String>,
    /// As people call it.
    pub label: String,
    /// Order in which one walks round the boat.
    pub walk_order: u16,
    /// What is done about it, and how the log is told.
    pub entry: Option<WorkEntry>,
    /// A complete lay-up puts product through it afterwards.
    pub flushed: bool,
    /// Where it is only tested: what has to be done before its test counts, or found out besides.
    pub asks: Vec<String>,
    /// It holds antifreeze that is too weak for what comes: it comes out before anything goes in.
    pub weak: bool,
}

impl OpenCircuit {
    /// Is antifreeze that is too weak to be let out before its product goes in?
    #[must_use]
    pub fn is_emptied_first(&self) -> bool {
        self.weak && self.entry.as_ref().is_some_and(WorkEntry::puts_product)
    }
}

/// The open work of one group of circuits.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupWork {
    /// The group, such as `engine`.
    pub group: String,
    /// As people call it.
    pub label: String,
    /// What is open, in walking order.
    pub open: Vec<OpenCircuit>,
    /// Minutes.
    pub minutes: Minutes,
    /// Product and litres for the complete lay-up.
    pub product: Option<(String, f64)>,
    /// What else it takes that is not the product of the group, with litres: winter mix, coolant where it tests weak.
    pub besides: Vec<(String, f64)>,
    /// The entry of the log for that product; empty where none is put through.
    pub flush: String,
    /// What an emergency drain takes, with litres.
    pub doses: Vec<(String, f64)>,
    /// What holds antifreeze that is too weak for what comes: the same again would be too weak again.
    pub weak: Vec<String>,
    /// Chance that a circuit of it has passed its limit by the evening of each day; last, by the end.
    pub chance: Vec<f64>,
    /// Last day on which every circuit of it is still under its tolerance; `None` beyond the days.
    pub last_day: Option<usize>,
    /// Is it over the tolerance by tonight whatever is done?
    pub over_already: bool,
    /// Hours from now until the chance passes the tolerance; `None` where it never does.
    pub over_in_h: Option<u16>,
    /// The same until harm that cannot be mended: as [`GroupWork::over_in_h`], but where ice has begun until parts are likely
    /// to break.
    pub harm_in_h: Option<u16>,
    /// Ice has begun in some of it, and what still runs can be let out.
    pub ice: bool,
    /// It is frozen through now: nothing of it can be done before it has thawed.
    pub solid: bool,
    /// The day by whose evening all that is open in it has thawed; 0 where nothing is frozen through.
    pub thaws_on: usize,
    /// When that is, about; `None` where nothing is frozen through.
    pub thaws_at: Option<DateTime<Utc>>,
    /// It asks for this skill, which nobody of the crew has: a complete lay-up is somebody else's, a drain tonight is not.
    pub barred: Option<String>,
    /// It is likely to freeze again, by its tolerance, before the evening of the day on which it has thawed: whoever comes in
    /// ordinary hours comes too late.
    pub refreezes_first: bool,
    /// So it is, and it thaws before anybody is back at work: somebody has to be there tonight.
    pub watched: bool,
    /// Last day of what is only looked at in it, such as coolant that is tested: a test is no drain.
    pub tested_last: Option<usize>,
    pub(super) tested_price: Vec<f64>,
    pub(super) tested_damage: DamageDays,
    pub(super) price: Vec<f64>,
    pub(super) damage: DamageDays,
    pub(super) loss: f64,
}

impl GroupWork {
    /// The open circuits by what is done about them, in walking order of the first of each.
    #[must_use]
    pub fn entries(&self) -> Vec<(&WorkEntry, Vec<&OpenCircuit>)> {
        let mut found: Vec<(&WorkEntry, Vec<&OpenCircuit>)> = Vec::new();
        for open in &self.open {
            let Some(entry) = &open.entry else { continue };
            match found
                .iter_mut()
                .find(|(known, _)| (&known.verb, &known.event) == (&entry.verb, &entry.event))
            {
                Some((_, circuits)) => circuits.push(open),
                None => found.push((entry, vec![open])),
            }
        }
        found
    }

    /// Expected loss by the evening of a day where it was drained by that of `drained`: nothing more happens to what was let
    /// out, while what was only tested is as it was.
    pub(super) fn price_after(&self, drained: usize, day: usize) -> f64 {
        let at =
            |prices: &[f64], day: usize| prices.get(day).or(prices.last()).copied().unwrap_or(0.0);
        if day <= drained {
            return at(&self.price, day);
        }
        let more = at(&self.tested_price, day) - at(&self.tested_price, drained);
        (at(&self.price, drained) + more.max(0.0)).min(at(&self.price, day))
    }

    /// What has to be done before a test in it counts, or found out besides.
    #[must_use]
    pub fn asks(&self) -> String {
        let mut asks: Vec<&str> =
            self.open.iter().flat_map(|open| &open.asks).map(String::as_str).collect();
        asks.dedup();
        asks.join("; ")
    }

    /// The last day of what a drain of it leaves open.
    #[must_use]
    pub fn last_day_where(&self, is_drained: bool) -> Option<usize> {
        if is_drained { self.tested_last } else { self.last_day }
    }

    /// What is to be done, in words: `drain engine block, exhaust manifolds; test engine coolant`.
    #[must_use]
    pub fn doing(&self) -> String {
        let parts: Vec<String> = self
            .entries()
            .into_iter()
            .map(|(entry, open)| {
                let mut labels: Vec<&str> = open.iter().map(|open| open.label.as_str()).collect();
                // Two of a kind stand side by side.
                labels.dedup();
                let first = if open.iter().any(|open| open.is_emptied_first()) {
                    "let out what is in it, then "
                } else {
                    ""
                };
                format!("{first}{} {}", entry.verb, labels.join(", "))
            })
            .collect();
        let weak = if self.weak.is_empty() { "" } else { " (too weak as it is: a stronger one)" };
        format!("{}{weak}", parts.join("; "))
    }
}

/// How pressing one circuit is.
pub(super) struct Pressing {
    pub(super) loss: f64,
    pub(super) tolerance: f64,
    pub(super) over_in_h: Option<u16>,
    pub(super) harm_in_h: Option<u16>,
    pub(super) ice: bool,
    /// Frozen through: the day by whose evening it has thawed, and when.
    pub(super) solid: Option<(usize, DateTime<Utc>)>,
}

/// The hour in which more than the share `tolerance` of the members has come to harm.
pub(super) fn hour_over(hours: &[Option<u16>], tolerance: f64) -> Option<u16> {
    let mut harmed: Vec<u16> = hours.iter().filter_map(|hour| *hour).collect();
    harmed.sort_unstable();
    let all = count(hours.len());
    let over = |place: &usize| count(place + 1) > tolerance * all;
    (0..harmed.len()).find(over).and_then(|place| harmed.get(place)).copied()
}

/// A group in the making.
pub(super) struct Draft {
    open: Vec<OpenCircuit>,
    open_min: f64,
    litres: f64,
    dose_l: f64,
    besides: Vec<(String, f64)>,
    weak: Vec<String>,
    /// For each member the losses by day: day and loss of each circuit.
    losses: Vec<Vec<(u8, f64)>>,
    damage: DamageDays,
    /// The same of what is only tested.
    tested_losses: Vec<Vec<(u8, f64)>>,
    tested_damage: DamageDays,
    tested_last: Option<usize>,
    last_day: Option<usize>,
    over_already: bool,
    over_in_h: Option<u16>,
    harm_in_h: Option<u16>,
    ice: bool,
    solid: Option<(usize, DateTime<Utc>)>,
    loss: f64,
    days: usize,
}

impl Draft {
    pub(super) fn new(members: usize, days: usize) -> Self {
        Self {
            open: Vec::new(),
            open_min: 0.0,
            litres: 0.0,
            dose_l: 0.0,
            besides: Vec::new(),
            weak: Vec::new(),
            losses: vec![Vec::new(); members],
            damage: vec![NEVER; members],
            tested_losses: vec![Vec::new(); members],
            tested_damage: vec![NEVER; members],
            tested_last: None,
            last_day: None,
            over_already: false,
            over_in_h: None,
            harm_in_h: None,
            ice: false,
            solid: None,
            loss: 0.0,
            days,
        }
    }

    pub(super) fn add(
        &mut self,
        (circuit, kind): (&CircuitState, &CircuitKind),
        damage: DamageDays,
        Pressing { loss, tolerance, over_in_h, harm_in_h, ice, solid }: Pressing,
        (dosed, flushed, entry): (bool, bool, Option<&WorkEntry>),
    ) {
        self.open.push(OpenCircuit {
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            label: kind.label.clone(),
            walk_order: kind.walk_order,
            entry: entry.cloned(),
            flushed,
            asks: match entry {
                Some(entry) if entry.only_tests() => circuit.open_questions.clone(),
                _ => Vec::new(),
            },
            weak: false,
        });
        self.open_min += kind.drain_minutes;
        // Only where product goes at all: a bilge or a tank is emptied, not filled.
        let litres = product_litres(kind, circuit.litres);
        let other = entry.map_or("", |entry| entry.product.as_str());
        let dosed = dosed || other.is_empty() && entry.is_some_and(WorkEntry::puts_product);
        self.litres += if dosed || flushed { litres } else { 0.0 };
        self.dose_l += if dosed { litres } else { 0.0 };
        if !other.is_empty() {
            match self.besides.iter_mut().find(|(name, _)| name == other) {
                Some((_, known)) => *known += circuit.litres,
                None => self.besides.push((other.to_owned(), circuit.litres)),
            }
        }
        self.loss = self.loss.max(loss);
        let chance = shares(&damage, self.days);
        // Ice that has begun is past every tolerance; how much it costs to leave it is another matter.
        let last = if over_in_h == Some(0) { Some(0) } else { last_day_at(&chance, tolerance) };
        if let Some(last) = last {
            self.last_day = Some(self.last_day.map_or(last, |known| known.min(last)));
        }
        let is_tested = entry.is_some_and(WorkEntry::only_tests);
        if is_tested {
            self.tested_last = [self.tested_last, last].into_iter().flatten().min();
        }
        if last.is_some() && matches!(circuit.holds, Holds::Blend) {
            self.weak.push(kind.label.clone());
            if let Some(open) = self.open.last_mut() {
                open.weak = true;
            }
        }
        self.ice |= ice;
        self.over_already |=
            over_in_h == Some(0) || chance.first().is_some_and(|now| *now > tolerance);
        self.over_in_h = [self.over_in_h, over_in_h].into_iter().flatten().min();
        self.harm_in_h = [self.harm_in_h, harm_in_h].into_iter().flatten().min();
        self.solid = self.solid.max(solid);
        let (first, losses) = (&mut self.damage, &mut self.losses);
        add_damage(first, losses, &damage, loss);
        if is_tested {
            add_damage(&mut self.tested_damage, &mut self.tested_losses, &damage, loss);
        }
    }

    pub(super) fn finish(
        mut self,
        boat: &Boat,
        work: &WorkTable,
        place: usize,
        all_min: f64,
        days: usize,
    ) -> Option<GroupWork> {
        let group = work.groups().get(place)?;
        self.open.sort_by_key(|open| open.walk_order);
        let litres = (self.litres * 10.0).round() / 10.0;
        let product = !group.product.is_empty() && litres > 0.0;
        let name = if self.weak.is_empty() { &group.product } else { &group.stronger };
        let tenths = |litres: f64| (litres * 10.0).round() / 10.0;
        let besides: Vec<(String, f64)> =
            self.besides.into_iter().map(|(name, litres)| (name, tenths(litres))).collect();
        let dose = Some((name.clone(), tenths(self.dose_l))).filter(|(_, litres)| *litres > 0.0);
        let thaws_on = self.solid.map_or(0, |(day, _)| day);
        // Before it has thawed nothing can be done. Where it freezes again before the evening of that day, the evening
        // before is the last one: who comes after it comes too late.
        let refreezes_first = self.last_day.is_some_and(|last| last < thaws_on);
        Some(GroupWork {
            minutes: work.minutes(&boat.kind, &group.group, boat.engines, self.open_min, all_min),
            group: group.group.clone(),
            label: group.label.clone(),
            flush: group.flush.clone(),
            doses: dose.into_iter().chain(besides.clone()).collect(),
            besides,
            weak: self.weak,
            product: product.then(|| (name.clone(), litres)),
            chance: shares(&self.damage, days),
            last_day: self.last_day.map(|last| last.max(thaws_on.saturating_sub(1))),
            refreezes_first,
            watched: false,
            tested_last: self.tested_last.map(|last| last.max(thaws_on.saturating_sub(1))),
            tested_price: prices(&self.tested_losses, days),
            tested_damage: self.tested_damage,
            over_already: self.over_already,
            over_in_h: self.over_in_h,
            harm_in_h: self.harm_in_h,
            ice: self.ice,
            solid: self.solid.is_some(),
            thaws_on,
            thaws_at: self.solid.map(|(_, at)| at),
            barred: None,
            price: prices(&self.losses, days),
            damage: self.damage,
            loss: self.loss,
            open: self.open,
        })
    }
}

/// Adds one circuit's damage days and loss, member by member.
fn add_damage(
    first: &mut DamageDays,
    losses: &mut [Vec<(u8, f64)>],
    damage: &DamageDays,
    loss: f64,
) {
    for ((first, own), losses) in first.iter_mut().zip(damage).zip(losses) {
        *first = (*first).min(*own);
        if *own != NEVER {
            losses.push((*own, loss));
        }
    }
}

/// Share of the members that are damaged by the evening of each day; last, by the end.
pub(super) fn shares(damage: &DamageDays, days: usize) -> Vec<f64> {
    let mut counts = vec![0_usize; days + 1];
    for day in damage.iter().filter(|day| **day != NEVER) {
        if let Some(slot) = counts.get_mut(usize::from(*day).min(days)) {
            *slot += 1;
        }
    }
    let all = count(damage.len().max(1));
    let mut so_far = 0;
    counts
        .into_iter()
        .map(|more| {
            so_far += more;
            count(so_far) / all
        })
        .collect()
}

/// Expected loss by the evening of each day, the dearest damaged circuit of each member counting; last, by the end.
fn prices(losses: &[Vec<(u8, f64)>], days: usize) -> Vec<f64> {
    let mut rises = vec![0.0; days + 1];
    for member in losses {
        let mut by_day: Vec<(u8, f64)> = member.clone();
        by_day.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
        let mut dearest = 0.0_f64;
        for (day, loss) in by_day {
            if loss > dearest {
                if let Some(slot) = rises.get_mut(usize::from(day).min(days)) {
                    *slot += loss - dearest;
                }
                dearest = loss;
            }
        }
    }
    let all = count(losses.len().max(1));
    let mut so_far = 0.0;
    rises
        .into_iter()
        .map(|more| {
            so_far += more;
            so_far / all
        })
        .collect()
}

#[cfg(test)]
mod tests;
