//! "What does my meter really show?" A bag of known volume and a stopwatch beside its reading.

use super::{Answer, Writer};
use crate::error::Result;
use crate::gas::breathing;
use crate::meter::{Scale, Service, correction, flow_from_bag};
use crate::note::Note;
use crate::units::{System, figures};
use crate::{constants::ATMOSPHERE_PA, si};
use uom::si::f64::{ThermodynamicTemperature, Time, Volume, VolumeRate};

/// A bag that a metered flow filled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterQuestion {
    /// The volume of the full bag, which was flat before.
    pub bag: Volume,
    /// How long it took to fill.
    pub time: Time,
    /// The temperature of the gas in the bag: the room's.
    pub room: ThermodynamicTemperature,
    /// What the meter showed meanwhile.
    pub reading: VolumeRate,
    /// What its scale is engraved for.
    pub scale: Scale,
    /// What went through it.
    pub service: Service,
}

/// Answers with the flow that the bag proves, and with the factor of this meter at this mark.
///
/// # Errors
/// As for [`flow_from_bag`] and [`correction`].
pub fn meter(question: &MeterQuestion, system: System) -> Result<Answer> {
    let MeterQuestion { scale, service, reading, time, .. } = question;
    let flow = flow_from_bag(question.bag, *time, question.room, si::pascals(ATMOSPHERE_PA))?;
    let rule = correction(scale, service)?;
    let measured = scale.reference.volume_flow(flow) / *reading;
    let mut answer = Answer::new(format!("A meter with {} on a scale for {}", service.gas, scale.gas));
    let mut write = Writer::new(&mut answer, system);
    write.flow("flow_l_min", "flow that filled the bag", flow, scale.reference);
    let watch = STOPWATCH_S / time.value;
    let basis = format!("bag over reading; a stopwatch good to half a second is {} % here", figures(watch * 100.0, 2));
    write.number("factor", "true flow over reading at this mark", measured.value, 3, basis);
    write.number("factor_rule", "the same by the square-root rule", rule.factor.value, 3, "for sharp-edged floats");
    let basis = "for balls at very small flows";
    write.number("factor_viscous", "the same if viscosity alone carried the float", rule.viscous_factor.value, 3, basis);
    let (low, high) = (rule.factor.min(rule.viscous_factor).value, rule.factor.max(rule.viscous_factor).value);
    if measured.value < low * (1.0 - UNEXPLAINED) || measured.value > high * (1.0 + UNEXPLAINED) {
        answer.warn(
            "neither law explains this factor: look for a leak, another gas or pressure on the scale, a bag that was not flat",
        );
    }
    if watch > WORTH_SAYING {
        answer.warn("the bag filled too fast to be timed by hand: take a larger one");
    }
    answer.take_first([breathing()]);
    answer.take([Note::basis(
        "the wanted flow divided by the factor is the mark to set; it holds near this mark and for this gas",
    )]);
    Ok(answer)
}

/// How well a hand stops a watch: common practice, no source.
const STOPWATCH_S: f64 = 0.5;
/// A tenth, as everywhere here: the share of error that is worth a warning.
const WORTH_SAYING: f64 = 0.1;
/// Beyond both laws by the usual accuracy of a panel meter and of a hand-timed bag: common practice, no source.
const UNEXPLAINED: f64 = 0.1;
