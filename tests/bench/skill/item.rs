//! The three items of the protocol and the curve between lows and highs, the same for truth and forecast.

/// Latent span of water, K.
const LATENT_K: f64 = 79.8;
/// Step, h.
pub const DT: f64 = 0.5;
/// An episode counts from this ice share.
pub const ICE: f64 = 0.05;

/// One node: time constant in hours, share of water.
#[derive(Debug, Clone, Copy)]
pub struct Item {
    pub name: &'static str,
    pub tau_h: f64,
    pub water: f64,
    keep: f64,
}

/// Hose, pump or block, engine.
pub fn items() -> [Item; 3] {
    let item = |name, tau_h: f64, water| Item { name, tau_h, water, keep: (-DT / tau_h).exp() };
    [item("hose 1 h", 1.0, 1.0), item("pump/block 4 h", 4.0, 0.5), item("engine 10 h", 10.0, 0.3)]
}

/// The four values ahead: low and high of tomorrow, low and high of the day after, C.
pub type Nodes = [f64; 4];

impl Item {
    /// Enthalpy over heat capacity after half an hour in air of `air_c`.
    pub fn step(&self, held: f64, air_c: f64) -> f64 {
        let latent = LATENT_K * self.water;
        if held >= 0.0 {
            let next = air_c + (held - air_c) * self.keep;
            if next >= 0.0 {
                return next;
            }
            let reached = self.tau_h * ((held - air_c).max(1e-9) / (-air_c).max(1e-9)).ln();
            air_c / self.tau_h * (DT - reached).clamp(0.0, DT)
        } else if held > -latent {
            held + air_c / self.tau_h * DT
        } else {
            held + (air_c - (held + latent)) / self.tau_h * DT
        }
    }

    /// Largest ice share by 17 h and by 41 h after 19 h local.
    pub fn ice(&self, held: f64, high_before: f64, nodes: &Nodes, weights: &[Weight]) -> [f64; 2] {
        let values = [high_before, nodes[0], nodes[1], nodes[2], nodes[3]];
        let (mut held, mut coldest, mut out) = (held, 0.0_f64, [0.0; 2]);
        for (step, (piece, share)) in weights.iter().enumerate() {
            let air = values[*piece] * (1.0 - share) + values[piece + 1] * share;
            held = self.step(held, air);
            coldest = coldest.min(held);
            if step == 33 {
                out[0] = (-coldest / (LATENT_K * self.water)).clamp(0.0, 1.0);
            }
        }
        out[1] = (-coldest / (LATENT_K * self.water)).clamp(0.0, 1.0);
        out
    }
}

/// Which piece of the curve a half-hour lies in, and how far along it is.
pub type Weight = (usize, f64);

/// The half-hours of 41 h after 19 h local: half-cosines between the nodes at 15, 6, 15, 6 and 15 h.
pub fn weights() -> Vec<Weight> {
    let nodes = [15.0, 30.0, 39.0, 54.0, 63.0];
    (0..82)
        .map(|k| {
            let t = 19.0 + (f64::from(k) + 0.5) * DT;
            let piece = nodes.iter().filter(|n| **n <= t).count().saturating_sub(1).min(3);
            let f = (t - nodes[piece]) / (nodes[piece + 1] - nodes[piece]);
            (piece, (1.0 - (std::f64::consts::PI * f).cos()) / 2.0)
        })
        .collect()
}
