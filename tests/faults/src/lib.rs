//! The fault simulator: shops of every kind on a plain plant, with everything going wrong that can, judged after every decision.
//!
//! | module | is about |
//! | --- | --- |
//! | [`chance`] | numbers that are the same everywhere |
//! | [`shops`], [`loads`] | what there is, and what goes through |
//! | [`script`] | what goes wrong, and when |
//! | [`plant`], [`wires`], [`people`] | equipment, what it says, who stands beside it |
//! | [`oracle`] | the judge, who knows the rules and nothing of the core |
//! | [`world`] | all of it in one run |
//! | [`run`], [`shrink`] | runs of many seeds, and the smallest part of one that still fails |
//! | [`planted`] | bugs put into a copy of the core, which the judge has to find |

pub mod chance;
pub mod loads;
mod mischief;
pub mod oracle;
pub mod people;
pub mod plant;
pub mod planted;
mod readings;
pub mod run;
pub mod script;
pub mod shops;
pub mod shrink;
pub mod tally;
pub mod wires;
pub mod world;
