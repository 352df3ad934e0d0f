//! How long a device that does not answer is left alone before it is tried again, so that it does not take its neighbours' time.

use std::time::Duration;

/// After the first try in vain, the second, and so on; the last holds from then on. The first is short, since most gaps are one lost
/// frame; the last still finds a device again while a person looks at it.
const PAUSES_MS: [u64; 5] = [250, 500, 1_000, 2_000, 5_000];

/// The pause after so many tries in vain, counted from 1.
pub(crate) fn pause_after(tries: u32) -> Duration {
    let place = usize::try_from(tries.saturating_sub(1)).unwrap_or(usize::MAX).min(PAUSES_MS.len() - 1);
    Duration::from_millis(PAUSES_MS[place])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_to_the_last_and_stay() {
        let pauses: Vec<u128> = [0, 1, 2, 5, 6, u32::MAX].map(|tries| pause_after(tries).as_millis()).to_vec();
        assert_eq!(pauses, [250, 250, 500, 5_000, 5_000, 5_000]);
    }
}
