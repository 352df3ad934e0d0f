//! Two ends that belong together, named, so that nobody takes the one for the other.

/// From the least to the most of something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span<T> {
    /// The lower end.
    pub least: T,
    /// The upper end; never below the lower one.
    pub most: T,
}
