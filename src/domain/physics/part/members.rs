//! One part in many weathers at once: the same exact hourly step as [`PartModel`], in single precision, for groups of
//! [`LANES`] members whose states lie side by side, so that a compiler lays them over vector units.
//!
//! Heat is counted in kelvin of the liquid part's heat capacity from first ice, which keeps single precision good to
//! some 1e-5 K. An hour on one straight piece of temperature over heat is one multiplication and one addition; a
//! member that leaves its piece is taken over the edge exactly: the time at which it met the edge follows from where it
//! came from. A group whose members all stay on one piece costs little more than a bare
//! multiply-add. Every lane is computed by itself, so neither the vector width nor the number of threads can change a
//! bit; nothing is allocated after [`Members::new`].

use super::elementary::{exp, ln};
use super::model::PartModel;
use super::pieces::Piece;
use crate::domain::physics::constants::SECONDS_PER_HOUR;

/// Members that are stepped together.
pub const LANES: usize = 32;

/// Ice shares that are watched.
pub const MARKS: usize = 3;

/// Where some members leave their piece, this many are looked at together: fewer, so that fewer wait for the others.
const NARROW: usize = 8;

/// A straight piece: temperature = `offset_c` + `slope` heat.
#[derive(Debug, Clone, Copy)]
struct Line {
    slope: f64,
    offset_c: f64,
}

/// An hour on a piece: heat after = `left` heat + (`gain` air + `add`), as long as it stays between `low` and `high`.
#[derive(Debug, Clone, Copy)]
struct Hour {
    low: f32,
    high: f32,
    left: f32,
    gain: f32,
    add: f32,
}

/// Where two pieces meet.
#[derive(Debug, Clone, Copy)]
struct Edge {
    heat: f32,
    temperature_c: f32,
    warm_slope: f32,
    cold_slope: f32,
}

/// Members that are stepped together.
#[derive(Debug, Clone)]
struct Group {
    heat: [f32; LANES],
    lowest: [f32; LANES],
    /// The piece on which all of them are, where it is one.
    piece: Option<usize>,
    /// Lanes past each mark.
    past: [u32; MARKS],
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
    groups: Vec<Group>,
}

impl Members {
    /// `count` members that all start from the state `start_j` of `model`. `marks_j` are states of the model, J, warm to
    /// cold: [`Members::past`] counts who has been below each.
    #[must_use]
    pub fn new(model: &PartModel, start_j: f64, marks_j: [f64; MARKS], count: usize) -> Self {
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
        let edges = pieces
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
        let heat = narrow(start_j / unit_j);
        let marks = marks_j.map(|mark| narrow(mark / unit_j));
        let past = marks.map(|mark| if heat < mark { LANES_U32 } else { 0 });
        let group = Group { heat: [heat; LANES], lowest: [heat; LANES], piece: None, past };
        let groups = vec![group; count.div_ceil(LANES)];
        Self { unit_j, per_tau, lines, edges, hours, stretch: 1.0, marks, count, groups }
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
            let lanes: u32 = self.groups.iter().filter_map(|group| group.past.get(at)).sum();
            let lanes = usize::try_from(lanes).unwrap_or(usize::MAX);
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

/// The work of one hour, for whatever vector units there are: everything it calls is laid into it.
struct OneHour<'a> {
    groups: &'a mut [Group],
    air_c: &'a [f32],
    hours: &'a [Hour],
    edges: &'a [Edge],
    marks: [f32; MARKS],
    /// The hour in time constants of the liquid part.
    time: f32,
}

impl pulp::NullaryFnOnce for OneHour<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        for (group, air_c) in self.groups.iter_mut().zip(self.air_c.chunks(LANES)) {
            match <&[f32; LANES]>::try_from(air_c) {
                Ok(air_c) => group.step(air_c, self.hours, self.edges, self.time),
                // The empty lanes of the last group do as its last member does.
                Err(_) => group.step(&filled_up(air_c), self.hours, self.edges, self.time),
            }
            group.mark(&self.marks);
        }
    }
}

impl Group {
    #[inline(always)]
    fn step(&mut self, air_c: &[f32; LANES], hours: &[Hour], edges: &[Edge], time: f32) {
        if let Some(hour) = self.piece.and_then(|piece| hours.get(piece)) {
            let mut after = [0.0; LANES];
            let mut leaves = 0_u32;
            for ((after, heat), air_c) in after.iter_mut().zip(&self.heat).zip(air_c) {
                *after = heat * hour.left + (air_c * hour.gain + hour.add);
                leaves |= u32::from(*after < hour.low) | u32::from(*after > hour.high);
            }
            if leaves == 0 {
                self.heat = after;
                return;
            }
        }
        self.step_mixed(air_c, hours, edges, time);
    }

    /// Members on several pieces, or some that leave theirs.
    #[inline(always)]
    fn step_mixed(&mut self, air_c: &[f32; LANES], hours: &[Hour], edges: &[Edge], time: f32) {
        let mut first = None;
        let mut apart = 0;
        let (heat, _) = self.heat.as_chunks_mut::<NARROW>();
        let (air_c, _) = air_c.as_chunks::<NARROW>();
        for (heat, air_c) in heat.iter_mut().zip(air_c) {
            let mut lanes = Lanes::on_their_pieces(heat, air_c, hours, time);
            lanes.over_the_edges(air_c, edges);
            *heat = lanes.after;
            let here = *first.get_or_insert(lanes.piece.first().copied().unwrap_or(0));
            apart = lanes.piece.iter().fold(apart, |apart, piece| apart | (piece ^ here));
        }
        let one = first.filter(|_| apart == 0);
        self.piece = one.and_then(|piece| usize::try_from(piece).ok());
    }

    #[inline(always)]
    fn mark(&mut self, marks: &[f32; MARKS]) {
        if self.piece == Some(0) {
            // All liquid: nobody passes anything.
            return;
        }
        for (lowest, heat) in self.lowest.iter_mut().zip(&self.heat) {
            *lowest = if *heat < *lowest { *heat } else { *lowest };
        }
        for (past, mark) in self.past.iter_mut().zip(marks) {
            *past = self.lowest.iter().fold(0_u32, |past, lowest| {
                // Wrapping, so that no check stands between the lanes; there are only 32.
                past.wrapping_add(u32::from(*lowest < *mark))
            });
        }
    }
}

/// Which edge is crossed: from one piece to the next, with falling heat (-1) or rising (1).
#[derive(Clone, Copy)]
struct Way {
    from: u32,
    to: u32,
    sign: f32,
}

/// The end of an hour, lane by lane, if each stayed on its piece; then beyond.
struct Lanes {
    after: [f32; NARROW],
    piece: [u32; NARROW],
    /// Heat with which the piece was entered, or the hour begun.
    entered: [f32; NARROW],
    /// Time that was left then, in time constants of the liquid part.
    left: [f32; NARROW],
}

impl Lanes {
    #[inline(always)]
    fn on_their_pieces(
        heat: &[f32; NARROW],
        air_c: &[f32; NARROW],
        hours: &[Hour],
        time: f32,
    ) -> Self {
        let mut lanes = Self {
            after: [f32::NAN; NARROW],
            piece: [0; NARROW],
            entered: *heat,
            left: [time; NARROW],
        };
        for (index, hour) in (0_u32..).zip(hours) {
            let each = lanes.after.iter_mut().zip(&mut lanes.piece).zip(heat).zip(air_c);
            for (((after, piece), heat), air_c) in each {
                let here = *heat < hour.high;
                let end = heat * hour.left + (air_c * hour.gain + hour.add);
                *after = if here { end } else { *after };
                *piece = if here { index } else { *piece };
            }
        }
        lanes
    }

    #[inline(always)]
    fn over_the_edges(&mut self, air_c: &[f32; NARROW], edges: &[Edge]) {
        for (warm, edge) in (0_u32..).zip(edges) {
            self.cross(air_c, edge, Way { from: warm, to: warm + 1, sign: -1.0 });
        }
        let last = u32::try_from(edges.len()).unwrap_or(0);
        for (warm, edge) in (0..last).rev().zip(edges.iter().rev()) {
            self.cross(air_c, edge, Way { from: warm + 1, to: warm, sign: 1.0 });
        }
    }

    /// Takes the lanes that pass `edge` on to the next piece for the time that they had left when they met it.
    #[inline(always)]
    fn cross(&mut self, air_c: &[f32; NARROW], edge: &Edge, way: Way) {
        let passes = |after: f32, piece: u32| {
            u32::from(piece == way.from) & u32::from((after - edge.heat) * way.sign > 0.0)
        };
        let any = self.after.iter().zip(&self.piece).fold(0, |any, (a, p)| any | passes(*a, *p));
        if any == 0 {
            return;
        }
        let (before, behind) = if way.sign < 0.0 {
            (edge.warm_slope, edge.cold_slope)
        } else {
            (edge.cold_slope, edge.warm_slope)
        };
        // Time left at the edge: what there was, less the way to it from where the piece was entered.
        let mut left = [0.0_f32; NARROW];
        let each = left.iter_mut().zip(&self.entered).zip(&self.left).zip(air_c);
        for (((left, entered), had), air_c) in each {
            let way = (edge.heat - entered) / (air_c - edge.temperature_c);
            let taken = if before > 0.0 { ln(1.0 + before * way) / before } else { way };
            let rest = had - taken;
            *left = if rest > 0.0 { rest } else { 0.0 };
        }
        let after = self.after.iter_mut().zip(&mut self.piece);
        let each = after.zip(&mut self.entered).zip(&mut self.left).zip(&left).zip(air_c);
        for (((((after, piece), entered), had), left), air_c) in each {
            let crosses = passes(*after, *piece) == 1;
            let gap_k = air_c - edge.temperature_c;
            let gain = if behind > 0.0 { (1.0 - exp(-behind * *left)) / behind } else { *left };
            // Only air beyond the edge's own temperature drives a state over it; else rounding did.
            let next = if gap_k * way.sign > 0.0 { edge.heat + gap_k * gain } else { edge.heat };
            *after = if crosses { next } else { *after };
            *piece = if crosses { way.to } else { *piece };
            *entered = if crosses { edge.heat } else { *entered };
            *had = if crosses { *left } else { *had };
        }
    }
}

const LANES_U32: u32 = 32;
const _: () = assert!(LANES == 32, "the lanes are counted in both widths");

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

fn filled_up(air_c: &[f32]) -> [f32; LANES] {
    let last = air_c.last().copied().unwrap_or(0.0);
    let mut given = air_c.iter().copied();
    std::array::from_fn(|_| given.next().unwrap_or(last))
}

const fn last_of(values: &[f32; LANES]) -> f32 {
    let [.., last] = values;
    *last
}

#[expect(clippy::cast_possible_truncation, reason = "rounding to single precision is meant")]
const fn narrow(value: f64) -> f32 {
    value as f32
}
