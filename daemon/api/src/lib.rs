//! hearthward-api
