//! A hash over the decision state: two runs that differ, differ here. It guards against chance, not against malice.

/// Multiplier and start of the 64-bit FNV-1a hash, taken over whole words instead of bytes (constants from memory).
const PRIME: u64 = 0x0000_0100_0000_01b3;
const START: u64 = 0xcbf2_9ce4_8422_2325;

/// A hash that is being made.
#[derive(Clone, Copy, Debug)]
pub(super) struct Digest(u64);

impl Digest {
    pub(super) fn new() -> Self {
        Self(START)
    }

    pub(super) fn mix(&mut self, word: u64) {
        // The high bits of a word would not reach the low ones by multiplication alone.
        self.0 = (self.0 ^ word ^ (word >> 32)).wrapping_mul(PRIME).rotate_left(23);
    }

    pub(super) fn end(self) -> u64 {
        self.0 ^ (self.0 >> 29)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_and_every_bit_count() {
        let of = |words: &[u64]| {
            let mut digest = Digest::new();
            words.iter().for_each(|&word| digest.mix(word));
            digest.end()
        };
        assert_ne!(of(&[1, 2]), of(&[2, 1]));
        for bit in 0..64 {
            assert_ne!(of(&[0]), of(&[1 << bit]), "bit {bit}");
        }
    }
}
