//! What is stepped hour by hour: members side by side, the pieces that they are on, and where these meet.

/// Members that are stepped together.
pub const LANES: usize = 32;

/// Ice shares that are watched.
pub const MARKS: usize = 3;

/// An hour on a piece: heat after = `left` heat + (`gain` air + `add`), as long as it stays between `low` and `high`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hour {
    pub(super) low: f32,
    pub(super) high: f32,
    pub(super) left: f32,
    pub(super) gain: f32,
    pub(super) add: f32,
}

/// Where two pieces meet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub(super) heat: f32,
    pub(super) temperature_c: f32,
    pub(super) warm_slope: f32,
    pub(super) cold_slope: f32,
}

/// Members that are stepped together.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) heat: [f32; LANES],
    pub(super) lowest: [f32; LANES],
    /// The warmest and the coldest piece on which any of them is.
    pub(super) pieces: (usize, usize),
    /// Lanes past each mark.
    pub(super) past: [f32; MARKS],
}

impl Group {
    /// Lanes from what each is and the least that it has been.
    pub(super) fn starting(
        marks: &[f32; MARKS],
        edges: &[Edge],
        start: impl Fn(usize) -> (f32, f32),
    ) -> Self {
        let starts: [(f32, f32); LANES] = std::array::from_fn(start);
        let on = starts.map(|(heat, _)| piece_of(heat, edges));
        let count = |mark: f32| {
            let past = starts.iter().map(|(_, lowest)| if *lowest < mark { 1.0 } else { 0.0 });
            past.sum()
        };
        Self {
            heat: starts.map(|(heat, _)| heat),
            lowest: starts.map(|(_, lowest)| lowest),
            pieces: on
                .iter()
                .fold((usize::MAX, 0), |(warm, cold), on| (warm.min(*on), cold.max(*on))),
            past: marks.map(count),
        }
    }
}

/// [`LANES`] as it is counted beside the lanes.
pub(super) const ALL_LANES: f32 = 32.0;

const _: () = assert!(LANES == 32, "the lanes are counted in both ways");

/// The piece on which a state lies, counted from the warmest.
pub(super) fn piece_of(heat: f32, edges: &[Edge]) -> usize {
    edges.iter().filter(|edge| heat < edge.heat).count()
}
