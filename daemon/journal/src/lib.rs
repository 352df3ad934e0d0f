//! hearthward-journal
