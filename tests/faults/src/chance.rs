//! Chance that is the same everywhere and for ever: numbers made from a seed and a place, with integers only.
//!
//! What happens at a place depends on that place alone. A fault that is taken away leaves everything else as it was, which is what
//! makes a failure shrink.

/// A source of numbers: the mixer of the SplitMix64 generator (Steele, Lea, Flood: "Fast splittable pseudorandom number generators", 2014;
/// constants from memory).
#[derive(Clone, Debug)]
pub struct Chance {
    state: u64,
}

const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

impl Chance {
    /// The numbers that belong to this seed and place.
    #[must_use]
    pub fn of(seed: u64, place: &[u64]) -> Self {
        let mut state = mix(seed.wrapping_add(STEP));
        for &part in place {
            state = mix(state ^ part.wrapping_mul(STEP).wrapping_add(STEP));
        }
        Self { state }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(STEP);
        mix(self.state)
    }

    /// A whole number under `end`; zero if there is none.
    pub fn below(&mut self, end: u64) -> u64 {
        // The high half of a product has no bias that a simulation would notice.
        ((u128::from(self.bits()) * u128::from(end)) >> 64) as u64
    }

    /// A whole number from `low` to `high`, both included.
    pub fn from_to(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high - low + 1)
    }

    /// A share, 0 to 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number between two.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Whether something of this likelihood happens.
    pub fn happens(&mut self, likelihood: f64) -> bool {
        self.share() < likelihood
    }

    /// One of several.
    ///
    /// # Panics
    /// If there is none.
    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len() as u64) as usize]
    }
}

fn mix(bits: u64) -> u64 {
    let bits = (bits ^ (bits >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let bits = (bits ^ (bits >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    bits ^ (bits >> 31)
}

/// Folds a number into a running hash.
#[must_use]
pub fn fold(hash: u64, bits: u64) -> u64 {
    mix(hash ^ bits.wrapping_mul(STEP)).wrapping_add(STEP)
}
