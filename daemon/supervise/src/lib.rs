//! hearthward-supervise
