//! The work of one hour on groups of members, for whatever vector units there are: everything called here is laid into
//! the one function that is compiled for them.

use pulp::{Simd, WithSimd};

use super::group::{ALL_LANES, Edge, Group, Hour, LANES, MARKS, piece_of};
use crate::domain::physics::part::elementary::{exp, ln};

/// One hour of all groups.
pub(super) struct OneHour<'a> {
    pub(super) groups: &'a mut [Group],
    pub(super) air_c: &'a [f32],
    pub(super) hours: &'a [Hour],
    pub(super) edges: &'a [Edge],
    pub(super) marks: [f32; MARKS],
    /// Do groups stay as they are once all are past the last mark?
    pub(super) rests: bool,
    /// The hour in time constants of the liquid part.
    pub(super) time: f32,
}

impl WithSimd for OneHour<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { groups, air_c, hours, edges, marks, rests, time } = self;
        let step = Step { simd, hours, edges, time: simd.splat_f32s(time) };
        for (group, air_c) in groups.iter_mut().zip(air_c.chunks(LANES)) {
            let [.., past_the_last] = group.past;
            if rests && past_the_last >= ALL_LANES {
                continue;
            }
            match <&[f32; LANES]>::try_from(air_c) {
                Ok(air_c) => step.group(group, air_c),
                // The empty lanes of the last group do as its last member does.
                Err(_) => step.group(group, &filled_up(air_c)),
            }
            if group.pieces != (0, 0) {
                mark(simd, group, &marks);
            }
        }
    }
}

fn filled_up(air_c: &[f32]) -> [f32; LANES] {
    let last = air_c.last().copied().unwrap_or(0.0);
    let mut given = air_c.iter().copied();
    std::array::from_fn(|_| given.next().unwrap_or(last))
}

/// Who has been below each mark by now. (While all are liquid, nobody passes anything.)
#[inline(always)]
fn mark<S: Simd>(simd: S, group: &mut Group, marks: &[f32; MARKS]) {
    let (heat, _) = S::as_simd_f32s(&group.heat);
    let (lowest, _) = S::as_mut_simd_f32s(&mut group.lowest);
    let mut past = [simd.splat_f32s(0.0); MARKS];
    for (lowest, heat) in lowest.iter_mut().zip(heat) {
        *lowest = simd.select_f32s(simd.less_than_f32s(*heat, *lowest), *heat, *lowest);
        for (past, mark) in past.iter_mut().zip(marks) {
            let is_past = simd.less_than_f32s(*lowest, simd.splat_f32s(*mark));
            let one = simd.select_f32s(is_past, simd.splat_f32s(1.0), simd.splat_f32s(0.0));
            *past = simd.add_f32s(*past, one);
        }
    }
    // Counts of lanes: whole numbers up to LANES, exact in single precision.
    group.past = past.map(|past| simd.reduce_sum_f32s(past));
}

/// Which way an edge is crossed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    Down,
    Up,
}

/// What the members of an hour have in common.
struct Step<'a, S: Simd> {
    simd: S,
    hours: &'a [Hour],
    edges: &'a [Edge],
    time: S::f32s,
}

/// Some members on their way through the hour, side by side.
struct Lanes<S: Simd> {
    air_c: S::f32s,
    /// Heat at the beginning of the hour.
    before: S::f32s,
    /// Heat at its end, if none of the edges that are still to be looked at is met.
    after: S::f32s,
    /// Heat with which the present piece was entered.
    entered: S::f32s,
    /// Time that was left then, in time constants of the liquid part.
    left: S::f32s,
}

impl<S: Simd> Step<'_, S> {
    #[inline(always)]
    fn group(&self, group: &mut Group, air_c: &[f32; LANES]) {
        let (warm, cold) = group.pieces;
        let hour = self.hours.get(warm).filter(|_| warm == cold);
        if hour.is_some_and(|hour| self.on_one_piece(&mut group.heat, air_c, hour)) {
            return;
        }
        let (heat, _) = S::as_mut_simd_f32s(&mut group.heat);
        let (air_c, _) = S::as_simd_f32s(air_c);
        let simd = self.simd;
        let (mut low, mut high) = (simd.splat_f32s(f32::INFINITY), simd.splat_f32s(-f32::INFINITY));
        for (heat, air_c) in heat.iter_mut().zip(air_c) {
            *heat = self.through_the_hour(*heat, *air_c, (warm.saturating_sub(1), cold));
            // Compared, as the smaller of two says different things about what is no number on different machines.
            low = simd.select_f32s(simd.less_than_f32s(*heat, low), *heat, low);
            high = simd.select_f32s(simd.greater_than_f32s(*heat, high), *heat, high);
        }
        let (lowest, highest) = (simd.reduce_min_f32s(low), simd.reduce_max_f32s(high));
        group.pieces = (piece_of(highest, self.edges), piece_of(lowest, self.edges));
    }

    /// Takes all of them along `hour`'s piece, if none leaves it; else nothing is changed.
    #[inline(always)]
    fn on_one_piece(&self, heat: &mut [f32; LANES], air_c: &[f32; LANES], hour: &Hour) -> bool {
        let simd = self.simd;
        let mut after = [0.0; LANES];
        let mut leaves = simd.less_than_f32s(simd.splat_f32s(0.0), simd.splat_f32s(0.0));
        {
            let (after, _) = S::as_mut_simd_f32s(&mut after);
            let (heat, _) = S::as_simd_f32s(heat);
            let (air_c, _) = S::as_simd_f32s(air_c);
            for ((after, heat), air_c) in after.iter_mut().zip(heat).zip(air_c) {
                *after = self.along(hour, *heat, *air_c);
                let below = simd.less_than_f32s(*after, simd.splat_f32s(hour.low));
                let above = simd.greater_than_f32s(*after, simd.splat_f32s(hour.high));
                leaves = simd.or_m32s(leaves, simd.or_m32s(below, above));
            }
        }
        let stays = simd.first_true_m32s(leaves) >= S::F32_LANES;
        if stays {
            *heat = after;
        }
        stays
    }

    /// The end of an hour of those who stay on its piece.
    #[inline(always)]
    fn along(&self, hour: &Hour, heat: S::f32s, air_c: S::f32s) -> S::f32s {
        let simd = self.simd;
        let gained = simd.mul_f32s(air_c, simd.splat_f32s(hour.gain));
        let gained = simd.add_f32s(gained, simd.splat_f32s(hour.add));
        simd.add_f32s(simd.mul_f32s(heat, simd.splat_f32s(hour.left)), gained)
    }

    /// The end of an hour of members each on its own piece, all from `warm` to `cold`: first as if each stayed there, then
    /// over the edges.
    #[inline(always)]
    fn through_the_hour(
        &self,
        heat: S::f32s,
        air_c: S::f32s,
        (warm, cold): (usize, usize),
    ) -> S::f32s {
        let simd = self.simd;
        let mut after = simd.splat_f32s(f32::NAN);
        let mut here = self.hours.iter().take(cold + 1).skip(warm);
        if let Some(hour) = here.next() {
            after = self.along(hour, heat, air_c);
        }
        for hour in here {
            let colder = simd.less_than_f32s(heat, simd.splat_f32s(hour.high));
            after = simd.select_f32s(colder, self.along(hour, heat, air_c), after);
        }
        let mut lanes = Lanes { air_c, before: heat, after, entered: heat, left: self.time };
        // Beyond the pieces on which somebody was, there is an edge to meet only for one who met the one before it.
        for (place, edge) in self.edges.iter().enumerate().skip(warm) {
            if !self.cross(&mut lanes, edge, Way::Down) && place >= cold {
                break;
            }
        }
        for (place, edge) in self.edges.iter().enumerate().take(cold).rev() {
            if !self.cross(&mut lanes, edge, Way::Up) && place < warm {
                break;
            }
        }
        lanes.after
    }

    /// Takes the lanes that meet `edge` on to the next piece for the time that they had left when they met it; are there any?
    #[inline(always)]
    fn cross(&self, lanes: &mut Lanes<S>, edge: &Edge, way: Way) -> bool {
        let simd = self.simd;
        let all = |value: f32| simd.splat_f32s(value);
        let heat = all(edge.heat);
        let (from, to) = (lanes.before, lanes.after);
        let meets = match way {
            Way::Down => simd.and_m32s(
                simd.greater_than_or_equal_f32s(from, heat),
                simd.less_than_f32s(to, heat),
            ),
            Way::Up => {
                simd.and_m32s(simd.less_than_f32s(from, heat), simd.greater_than_f32s(to, heat))
            }
        };
        if simd.first_true_m32s(meets) >= S::F32_LANES {
            return false;
        }
        let (ahead, behind) = match way {
            Way::Down => (edge.warm_slope, edge.cold_slope),
            Way::Up => (edge.cold_slope, edge.warm_slope),
        };
        let gap_k = simd.sub_f32s(lanes.air_c, all(edge.temperature_c));
        // Time left at the edge: what there was, less the way to it from where the piece was entered.
        let way_k = simd.div_f32s(simd.sub_f32s(heat, lanes.entered), gap_k);
        let taken = if ahead > 0.0 {
            let nearer = simd.add_f32s(all(1.0), simd.mul_f32s(all(ahead), way_k));
            simd.div_f32s(ln(simd, nearer), all(ahead))
        } else {
            way_k
        };
        let rest = simd.sub_f32s(lanes.left, taken);
        let some = simd.greater_than_f32s(rest, all(0.0));
        let rest = simd.select_f32s(some, rest, all(0.0));
        let gain = if behind > 0.0 {
            let kept = exp(simd, simd.mul_f32s(all(-behind), rest));
            simd.div_f32s(simd.sub_f32s(all(1.0), kept), all(behind))
        } else {
            rest
        };
        // Only air beyond the edge's own temperature drives a state over it; else rounding did.
        let driven = match way {
            Way::Down => simd.less_than_f32s(gap_k, all(0.0)),
            Way::Up => simd.greater_than_f32s(gap_k, all(0.0)),
        };
        let next = simd.add_f32s(heat, simd.mul_f32s(gap_k, gain));
        let next = simd.select_f32s(driven, next, heat);
        lanes.after = simd.select_f32s(meets, next, lanes.after);
        lanes.entered = simd.select_f32s(meets, heat, lanes.entered);
        lanes.left = simd.select_f32s(meets, rest, lanes.left);
        true
    }
}
