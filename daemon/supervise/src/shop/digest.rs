//! A hash over the decision state: two runs that differ, differ here. It guards against chance, not against malice.

use super::Shop;

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

impl Shop {
    /// A hash over the state after the last tick, as [`crate::output::Outputs::digest`] gave it.
    #[must_use]
    pub fn digest(&self) -> u64 {
        let mut digest = Digest::new();
        for furnace in &self.furnaces {
            furnace.rows.bits().for_each(|bits| digest.mix(bits));
            furnace.bypasses.list().iter().for_each(|bypass| digest.mix(bypass.bits()));
            digest.mix(u64::from(furnace.rules_now.standing) | u64::from(furnace.rules_now.failed) << 32);
            digest.mix(furnace.cuts.bits());
            digest.mix(furnace.grant.told_c().unwrap_or(-1.0).to_bits());
            digest.mix(furnace.grant.granted_c().unwrap_or(-1.0).to_bits());
            digest.mix(furnace.purge.changes.to_bits() ^ furnace.purge.phase as u64);
            digest.mix(furnace.gas.given.to_bits() ^ furnace.gas.turn.unwrap_or(0));
            digest.mix(u64::from(furnace.power.given) | furnace.power.turn.unwrap_or(0) << 1 | u64::from(furnace.heating) << 63);
            if furnace.situation.gas_load {
                digest.mix(furnace.air.bits());
            }
            if let Some(cycle) = &furnace.cycle {
                cycle.bits().into_iter().for_each(|bits| digest.mix(bits));
            }
        }
        self.tanks.iter().for_each(|tank| digest.mix(tank.bits()));
        digest.mix(self.questions.bits());
        self.alarms.bits().chain(self.wires.bits()).for_each(|bits| digest.mix(bits));
        digest.mix(self.room.is as u64 | u64::from(self.room.latched) << 8 | (self.ending as u64) << 9);
        digest.mix(self.now.0);
        digest.end()
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
