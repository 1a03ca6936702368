//! Salts for the free texts of the log: random in earnest, from a seed in demonstrations and tests.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use ring::rand::{SecureRandom, SystemRandom};

use crate::app::context::ServiceError;

/// One salt.
pub type Salt = [u8; 16];

/// So many random salts from the machine, drawn before anything is written.
///
/// # Errors
/// [`ServiceError::NoRandomness`] when the machine has no randomness to give.
pub fn random(count: usize) -> Result<impl FnMut() -> Salt, ServiceError> {
    let source = SystemRandom::new();
    // Drawn in one go: a system call for each salt would be most of the work of a large import.
    let mut bytes = vec![0; count * size_of::<Salt>()];
    source.fill(&mut bytes).map_err(|_| ServiceError::NoRandomness)?;
    let mut salts: Vec<Salt> =
        bytes.chunks_exact(size_of::<Salt>()).filter_map(|salt| salt.try_into().ok()).collect();
    // More are asked for only if the caller counted wrong; an empty salt hides less but breaks nothing.
    Ok(move || salts.pop().unwrap_or_default())
}

/// Salts that a seed decides: the same bytes in every run.
pub fn seeded(seed: u64) -> impl FnMut() -> Salt {
    let mut source = Xoshiro256PlusPlus::seed_from_u64(seed);
    move || {
        let mut salt = Salt::default();
        source.fill_bytes(&mut salt);
        salt
    }
}
