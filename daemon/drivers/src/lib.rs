//! hearthward-drivers
