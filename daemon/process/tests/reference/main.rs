//! The crate against values that others computed.
