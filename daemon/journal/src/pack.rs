//! Columns of whole numbers as few bytes.

use pco::ChunkConfig;
use pco::standalone::{simple_compress, simple_decompress};
use serde::{Deserialize, Serialize};

/// Below this many numbers the compressor's own head would be longer than the numbers.
const FEW: usize = 24;

/// A column.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Packed {
    /// Numbers that all lie equally far apart: the first, the distance, how many.
    Even(i64, i64, u32),
    /// As they are.
    Few(Vec<i64>),
    /// Compressed.
    Many(Vec<u8>),
}

impl Packed {
    /// Packs a column.
    pub(crate) fn pack(numbers: &[i64]) -> Self {
        if let Some(even) = even(numbers) {
            return even;
        }
        match numbers.len() < FEW {
            true => Self::Few(numbers.to_vec()),
            // The compressor refuses nothing but its own configuration.
            false => simple_compress(numbers, &ChunkConfig::default()).map_or_else(|_| Self::Few(numbers.to_vec()), Self::Many),
        }
    }

    /// The column again; nothing when the bytes are not one of at most `most` numbers.
    pub(crate) fn unpack(&self, most: usize) -> Option<Vec<i64>> {
        let numbers = match self {
            Self::Even(_, _, count) if *count as usize > most => return None,
            Self::Even(first, apart, count) => {
                (0..i64::from(*count)).map(|place| first.wrapping_add(apart.wrapping_mul(place))).collect()
            }
            Self::Few(numbers) => numbers.clone(),
            Self::Many(bytes) => simple_decompress::<i64>(bytes).ok()?,
        };
        (numbers.len() <= most).then_some(numbers)
    }
}

fn even(numbers: &[i64]) -> Option<Packed> {
    let count = u32::try_from(numbers.len()).ok()?;
    let first = numbers.first().copied().unwrap_or(0);
    let apart = numbers.get(1).map_or(0, |second| second.wrapping_sub(first));
    numbers.windows(2).all(|pair| pair[1].wrapping_sub(pair[0]) == apart).then_some(Packed::Even(first, apart, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_comes_back() {
        let wavers: Vec<i64> = (0..5000).map(|place| 112_315 + (place * 7919 % 13) - 6).collect();
        let columns = [
            vec![],
            vec![7],
            vec![7; 1000],
            (0..900).map(|place| place * 100).collect(),
            vec![1, 2, 4],
            vec![i64::MIN, i64::MAX, 0, -1],
            (0..100).map(|place| if place % 2 == 0 { i64::MIN } else { i64::MAX }).collect(),
            wavers,
        ];
        for column in columns {
            let packed = Packed::pack(&column);
            assert_eq!(packed.unpack(column.len()).as_ref(), Some(&column));
            assert!(column.is_empty() || packed.unpack(column.len() - 1).is_none(), "a longer column than expected is refused");
        }
    }

    #[test]
    fn what_wavers_a_little_takes_less_than_a_byte_a_number() {
        let wavers: Vec<i64> = (0..5000).map(|place| 112_315 + (place * 7919 % 13) - 6).collect();
        let Packed::Many(bytes) = Packed::pack(&wavers) else { panic!("it is compressed") };
        assert!(bytes.len() < wavers.len(), "{} bytes", bytes.len());
    }

    #[test]
    fn bytes_that_are_no_column_are_refused() {
        assert_eq!(Packed::Many(vec![1, 2, 3]).unpack(100), None);
    }
}
