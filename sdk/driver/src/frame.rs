//! Rules that say where a reply ends.
//!
//! The host reads bytes until the first rule that matches is satisfied. Rules are looked at in order, so the special case
//! (an exception reply) comes before the general one.

use crate::{Extent, FrameRule, LengthField};

/// Always matches: the reply has this many bytes.
#[must_use]
pub fn fixed(bytes: u32) -> FrameRule {
    always(Extent::Fixed(bytes))
}

/// Matches when the byte at `at`, masked, equals `equals`: the reply has this many bytes.
#[must_use]
pub fn fixed_if(at: u32, mask: u8, equals: u8, bytes: u32) -> FrameRule {
    FrameRule { at, mask, equals, extent: Extent::Fixed(bytes) }
}

/// Always matches: a big-endian field of `bytes` bytes at `at` says how long the reply is, less `plus`.
#[must_use]
pub fn length(at: u32, bytes: u8, plus: i32) -> FrameRule {
    always(Extent::Length(LengthField { at, bytes, little_endian: false, plus }))
}

/// Always matches: the reply ends with this sequence.
#[must_use]
pub fn delimiter(sequence: &[u8]) -> FrameRule {
    always(Extent::Delimiter(sequence.to_vec()))
}

/// Always matches: the reply ends when the line is silent for so many tenths of a character's time.
#[must_use]
pub fn silence(tenths_of_char: u32) -> FrameRule {
    always(Extent::SilenceTenthsOfChar(tenths_of_char))
}

fn always(extent: Extent) -> FrameRule {
    FrameRule { at: 0, mask: 0, equals: 0, extent }
}
