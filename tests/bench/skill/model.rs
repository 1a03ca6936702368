//! Fitting the error model on archived forecasts, and drawing members from it.

use rimeward::domain::weather::errors::Normals;
use rimeward::domain::weather::fitted::{Fitted, Situation, TERMS, terms};

use super::item::Nodes;

/// Degrees of freedom of the tails: 8 is measured on all cold nights, 12 to 18 near freezing; the fitted scale already
/// takes out the part that is a mixture of easy and hard places.
pub const NU: f64 = 12.0;
/// Strength of the pull of each coefficient towards nothing, in samples.
const RIDGE: f64 = 100.0;
const ROUNDS: usize = 12;

type Square = Vec<[f64; TERMS]>;

/// One forecast with what came: situation and error, K.
pub type Sample = (Situation, f64);

/// Likelihood of a Student t around a shifted forecast: alternating weighted least squares for the shift and Fisher scoring
/// for the logarithm of the standard deviation.
pub fn fit(samples: &[Sample]) -> Fitted {
    let rows: Vec<([f64; TERMS], f64)> = samples.iter().map(|(s, e)| (terms(s), *e)).collect();
    let mut fitted = Fitted { shift: [0.0; TERMS], log_sd: [0.0; TERMS] };
    fitted.log_sd[0] = 0.5;
    let to_scale = ((NU - 2.0) / NU).sqrt();
    for _ in 0..ROUNDS {
        let mut normal = Square::from([[0.0; TERMS]; TERMS]);
        let mut right = [0.0; TERMS];
        for (x, error) in &rows {
            let (shift, scale) = at(&fitted, x, to_scale);
            let u = ((error - shift) / scale).powi(2);
            let weight = (NU + 1.0) / (NU + u) / (scale * scale);
            add(&mut normal, &mut right, x, weight, weight * error);
        }
        fitted.shift = solve(normal, right, [0.0; TERMS]);
        let mut normal = Square::from([[0.0; TERMS]; TERMS]);
        let mut right = [0.0; TERMS];
        for (x, error) in &rows {
            let (shift, scale) = at(&fitted, x, to_scale);
            let u = ((error - shift) / scale).powi(2);
            let slope = (NU + 1.0) * u / (NU + u) - 1.0;
            let information = 2.0 * NU / (NU + 3.0);
            add(&mut normal, &mut right, x, information, slope);
        }
        let step = solve(normal, right, fitted.log_sd);
        for (b, d) in fitted.log_sd.iter_mut().zip(step) {
            *b += d.clamp(-0.5, 0.5);
        }
    }
    fitted
}

fn at(fitted: &Fitted, x: &[f64; TERMS], to_scale: f64) -> (f64, f64) {
    let sum = |c: &[f64; TERMS]| c.iter().zip(x).map(|(c, x)| c * x).sum::<f64>();
    (sum(&fitted.shift), sum(&fitted.log_sd).clamp(-1.0, 2.2).exp() * to_scale)
}

fn add(normal: &mut Square, right: &mut [f64; TERMS], x: &[f64; TERMS], weight: f64, pull: f64) {
    for i in 0..TERMS {
        right[i] += pull * x[i];
        for j in 0..TERMS {
            normal[i][j] += weight * x[i] * x[j];
        }
    }
}

/// Solves by Gaussian elimination with a ridge on every term but the first, which pulls `now + answer` to nothing.
fn solve(mut a: Square, mut b: [f64; TERMS], now: [f64; TERMS]) -> [f64; TERMS] {
    for i in 0..TERMS {
        let pull = if i == 0 { 1e-6 } else { RIDGE };
        a[i][i] += pull;
        b[i] -= pull * now[i];
    }
    for i in 0..TERMS {
        let best = (i..TERMS).max_by(|p, q| a[*p][i].abs().total_cmp(&a[*q][i].abs())).unwrap_or(i);
        a.swap(i, best);
        b.swap(i, best);
        let pivot = a[i];
        for k in i + 1..TERMS {
            let factor = a[k][i] / pivot[i];
            for (cell, above) in a[k].iter_mut().zip(&pivot).skip(i) {
                *cell -= factor * above;
            }
            b[k] -= factor * b[i];
        }
    }
    let mut x = [0.0; TERMS];
    for i in (0..TERMS).rev() {
        let known: f64 = (i + 1..TERMS).map(|j| a[i][j] * x[j]).sum();
        x[i] = (b[i] - known) / a[i][i];
    }
    x
}

/// Lower triangle of the correlation of four errors.
pub type Root = [[f64; 4]; 4];

/// Cholesky's root of a correlation matrix.
pub fn root(c: &[[f64; 4]; 4]) -> Root {
    let mut l = [[0.0; 4]; 4];
    for i in 0..4 {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            l[i][j] = if i == j {
                (c[i][i] - known).max(1e-6).sqrt()
            } else {
                (c[i][j] - known) / l[j][j]
            };
        }
    }
    l
}

/// Standard errors of `members` paths: multivariate t with unit variance, evenly paired with their mirror images.
pub fn standard(members: usize, root: &Root, nu: f64, seed: u64) -> Vec<Nodes> {
    let mut normals = Normals::new(seed);
    let whole = nu.round().max(3.0);
    let mut all = Vec::with_capacity(members);
    while all.len() < members {
        let z: [f64; 4] = std::array::from_fn(|_| normals.normal());
        let mut squares = 0.0;
        let mut k = 0.0;
        while k < whole {
            squares += normals.normal().powi(2);
            k += 1.0;
        }
        let tail = ((whole - 2.0) / whole).sqrt() * (whole / squares.max(1e-6)).sqrt();
        let e: Nodes =
            std::array::from_fn(|i| tail * (0..=i).map(|j| root[i][j] * z[j]).sum::<f64>());
        all.push(e);
        all.push(e.map(|v| -v));
    }
    all
}
