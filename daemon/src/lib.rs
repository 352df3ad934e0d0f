//! hearthward
