//! One part in many weathers at once: the same exact hourly step as [`PartModel`], in single precision, for groups of
//! [`LANES`] members whose states lie side by side, laid over the vector units that there are.
//!
//! Heat is counted in kelvin of the liquid part's heat capacity from first ice, which keeps single precision good to
//! some 1e-5 K. An hour on one straight piece of temperature over heat is one multiplication and one addition; a
//! member that leaves its piece is taken over the edge exactly: the time at which it met the edge follows from where it
//! came from. A group whose members all stay on one piece costs little more than a bare multiply-add. Every lane is computed by itself, so neither the vector width nor the number of threads can change a
//! bit; nothing is allocated after [`Members::new`].

mod group;
mod lanes;

use self::group::{Edge, Group, Hour};
pub use self::group::{LANES, MARKS};
use self::lanes::OneHour;
use super::model::PartModel;
use super::pieces::Piece;
use crate::domain::physics::constants::SECONDS_PER_HOUR;

/// A straight piece: temperature = `offset_c` + `slope` heat.
#[derive(Debug, Clone, Copy)]
struct Line {
    slope: f64,
    offset_c: f64,
}

/// The members of one case, from an hour to the next.
#[derive(Debug, Clone)]
pub struct Members {
    unit_j: f64,
    per_tau: f64,
    lines: Vec<Line>,
    edges: Vec<Edge>,
    hours: Vec<Hour>,
    stretch: f64,
    marks: [f32; MARKS],
    count: usize,
    rests: bool,
    groups: Vec<Group>,
}

impl Members {
    /// `count` members that all start from the state `start_j` of `model`. `marks_j` are states of the model, J, warm to
    /// cold: [`Members::past`] counts who has been below each.
    #[must_use]
    pub fn new(model: &PartModel, start_j: f64, marks_j: [f64; MARKS], count: usize) -> Self {
        Self::starting(model, &[(start_j, start_j)], marks_j, count)
    }

    /// The same where members start from several states in turn: of each what it is, and the least that it has been, J. Without any
    /// they start at first ice.
    #[must_use]
    pub fn starting(
        model: &PartModel,
        starts_j: &[(f64, f64)],
        marks_j: [f64; MARKS],
        count: usize,
    ) -> Self {
        let pieces = model.pieces();
        // The warmest piece is the liquid: its slope is one kelvin over the heat capacity.
        let unit_j = pieces.first().map_or(1.0, |piece| 1.0 / piece.kelvin_per_j);
        let lines: Vec<Line> = pieces
            .iter()
            .map(|piece| Line {
                slope: piece.kelvin_per_j * unit_j,
                offset_c: piece.at_c - piece.at_j * piece.kelvin_per_j,
            })
            .collect();
        let edges: Vec<Edge> = pieces
            .iter()
            .zip(pieces.iter().skip(1))
            .map(|(warm, cold)| Edge {
                heat: narrow(warm.low_j / unit_j),
                temperature_c: narrow(warm.temperature_c(warm.low_j)),
                warm_slope: narrow(warm.kelvin_per_j * unit_j),
                cold_slope: narrow(cold.kelvin_per_j * unit_j),
            })
            .collect();
        let per_tau = model.ua_w_k() * SECONDS_PER_HOUR / unit_j;
        let hours = pieces
            .iter()
            .zip(&lines)
            .map(|(piece, line)| hour_on(piece, line, unit_j, per_tau))
            .collect();
        let marks = marks_j.map(|mark| narrow(mark / unit_j));
        let start = |member: usize| {
            // The empty lanes of the last group do as its last member does.
            let at = member.min(count.saturating_sub(1)) % starts_j.len().max(1);
            let (now_j, lowest_j) = starts_j.get(at).copied().unwrap_or_default();
            (narrow(now_j / unit_j), narrow(lowest_j / unit_j))
        };
        let group = |first: usize| Group::starting(&marks, &edges, |lane| start(first + lane));
        let groups = (0..count.div_ceil(LANES)).map(|at| group(at * LANES)).collect();
        Self {
            unit_j,
            per_tau,
            lines,
            edges,
            hours,
            stretch: 1.0,
            marks,
            count,
            rests: false,
            groups,
        }
    }

    /// For who asks for nothing but [`Members::past`]: groups whose members are all past the last mark stay as they are.
    #[must_use]
    pub const fn resting_once_past(mut self) -> Self {
        self.rests = true;
        self
    }

    /// One hour: `air_c` has the air of each member, C; the part exchanges heat as if the hour were `stretch` hours long
    /// (wind; 1 without). Members beyond the end of `air_c` keep their state.
    pub fn step(&mut self, air_c: &[f32], stretch: f64) {
        if stretch != self.stretch {
            for (hour, line) in self.hours.iter_mut().zip(&self.lines) {
                (hour.left, hour.gain, hour.add) = in_time(line, self.per_tau * stretch);
            }
            self.stretch = stretch;
        }
        pulp::Arch::new().dispatch(OneHour {
            groups: &mut self.groups,
            air_c,
            hours: &self.hours,
            edges: &self.edges,
            marks: self.marks,
            rests: self.rests,
            time: narrow(self.per_tau * stretch),
        });
    }

    /// How many members have been past each mark so far, at the start or at the end of an hour.
    #[must_use]
    pub fn past(&self) -> [usize; MARKS] {
        let empty = self.groups.len() * LANES - self.count;
        let last = self.groups.last().map_or(f32::INFINITY, |group| last_of(&group.lowest));
        let mut marks = self.marks.iter();
        std::array::from_fn(|at| {
            let lanes = whole(self.groups.iter().filter_map(|group| group.past.get(at)).sum());
            let with_empty = marks.next().is_some_and(|mark| last < *mark);
            if with_empty { lanes.saturating_sub(empty) } else { lanes }
        })
    }

    /// The state of each member, J, as [`PartModel`] counts it.
    pub fn states_j(&self) -> impl Iterator<Item = f64> {
        let heats = self.groups.iter().flat_map(|group| &group.heat);
        heats.take(self.count).map(|heat| f64::from(*heat) * self.unit_j)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a count of lanes, exact in single precision up to 16 million"
)]
const fn whole(count: f32) -> usize {
    count as usize
}

fn hour_on(piece: &Piece, line: &Line, unit_j: f64, per_tau: f64) -> Hour {
    let (left, gain, add) = in_time(line, per_tau);
    Hour { low: narrow(piece.low_j / unit_j), high: narrow(piece.high_j / unit_j), left, gain, add }
}

/// What is left of the heat, and gained for each kelvin of air and without any, in a time in time constants.
fn in_time(line: &Line, time: f64) -> (f32, f32, f32) {
    let gain = if line.slope == 0.0 { time } else { -(-line.slope * time).exp_m1() / line.slope };
    let left = 1.0 - gain * line.slope;
    (narrow(left), narrow(gain), narrow(-gain * line.offset_c))
}

const fn last_of(values: &[f32; LANES]) -> f32 {
    let [.., last] = values;
    *last
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(value: f64) -> f32 {
    value as f32
}
