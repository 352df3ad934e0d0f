//! The arithmetic of a small heat-treating shop: gas, purge, cylinder, furnace, quench, steel, each a pure function on
//! quantities that carry their units.
//!
//! | module | answers |
//! | --- | --- |
//! | [`units`] | what a person wrote, and how to show it |
//! | [`gas`], [`flow`], [`meter`] | properties; which gas protects; an amount of gas and its litres; what a float shows |
//! | [`chamber`], [`purge`], [`calibrate`] | the oxygen in a chamber, step by step or in one formula; leak and pores from a record |
//! | [`stack`], [`jet`] | the chimney of a hot chamber; how gas enters |
//! | [`cylinder`], [`room`] | what a gauge means, how long it lasts; the oxygen that people breathe |
//! | [`thermal`], [`heating`], [`furnace`] | heat in steel; when soak begins; what a furnace can do |
//! | [`transfer`], [`quench`], [`vessel`] | seconds in air; the bath and the tank |
//! | [`steel`], [`tempering`], [`oxide`] | the steels and their cycles; tempers; scale and carbon lost |
//! | [`thermocouple`], [`uniformity`], [`trials`] | what a sensor says; survey classes; comparing loads |
//! | [`plan`] | whole questions in one call |
//!
//! Some of this no question of [`plan`] uses. [`uniformity`], [`trials`] and the hardenability of [`steel::martensite`] are for those
//! who survey a furnace or compare parts with gas and without by this library. The rest is for those who write an estimate of their
//! own, or set a textbook's figure beside it: [`heating::temperature_after`], the one-term and the lumped answer of
//! [`heating::Shape`], [`furnace::Nodes`], [`purge::changes_while_heating`], [`chamber::Chamber::with_door_exchange`],
//! [`oxide::share_below`], [`oxide::supply_limit`], [`quench::Bath::heat_to_remove`], [`room::Room::release_to`],
//! [`steel::martensite::cool_to`], [`thermocouple::Thermocouple::sensitivity`].
//!
//! Nothing here touches a clock, a file, a socket, a thread or chance, and transcendental functions come from `libm`, so
//! that every computer gets the same bits. Every result that leaves the range of its model carries a [`note::Note`]
//! that says so. A number here is an estimate with its basis beside it, not a safety function: ventilate when inert gas
//! flows, keep hot oil well below its flash point, and let local codes decide.

mod constants;
mod error;
mod fit;
mod numeric;
mod si;

pub mod calibrate;
pub mod chamber;
pub mod cylinder;
pub mod flow;
pub mod furnace;
pub mod gas;
pub mod heating;
pub mod jet;
pub mod meter;
pub mod note;
pub mod oxide;
pub mod plan;
pub mod purge;
pub mod quench;
pub mod room;
pub mod span;
pub mod stack;
pub mod steel;
pub mod tempering;
pub mod thermal;
pub mod thermocouple;
pub mod transfer;
pub mod trials;
pub mod uniformity;
pub mod units;
pub mod vessel;

pub use error::{ProcessError, Result};

/// An amount of gas flowing: moles a second, which mean the same whatever the temperature and pressure.
///
/// The quantity has the dimension of a catalytic activity; its SI unit, the katal, is one mole a second.
pub type AmountFlow = uom::si::f64::CatalyticActivity;
