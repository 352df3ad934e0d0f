//! hearthward-tests
