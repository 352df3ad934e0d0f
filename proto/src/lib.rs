//! hearthward-proto
