//! "What leaks into my chamber, and how much air hides in its lining?"

use super::{Answer, Writer};
use crate::calibrate::{FromStrips, ProbeReading, from_probe, from_strips};
use crate::error::Result;
use crate::flow::Reference;
use crate::units::{self, System, figures};
use crate::{AmountFlow, si};
use uom::si::f64::{Area, Mass, Ratio, ThermodynamicTemperature, Time, Volume};

/// What was seen of a chamber.
#[derive(Debug, Clone, PartialEq)]
pub enum LeakQuestion {
    /// A probe's record of a purge of the cold chamber, which began full of air.
    Probe {
        /// The free volume of the chamber.
        volume: Volume,
        /// The chamber's temperature all the while.
        temperature: ThermodynamicTemperature,
        /// The record.
        record: Vec<ProbeReading>,
        /// The conditions that flows are shown at.
        reference: Reference,
    },
    /// Bright witness strips, weighed before and after they were hot with a load.
    Strips {
        /// What they gained.
        gain: Mass,
        /// Their surface.
        strips: Area,
        /// The surface of all the steel that was hot, the strips with it.
        steel: Area,
        /// How long it was hot.
        time: Time,
        /// The flow of gas.
        flow: AmountFlow,
        /// The oxygen in that gas.
        gas_oxygen: Ratio,
        /// The conditions that flows are shown at.
        reference: Reference,
    },
}

/// Answers with the leak, and with the pore air where a probe tells it: what `plan purge` asks for.
///
/// # Errors
/// As for [`from_probe`] and [`from_strips`].
pub fn leak(question: &LeakQuestion, system: System) -> Result<Answer> {
    match question {
        LeakQuestion::Probe { volume, temperature, record, reference } => {
            // The pores of a cold wall are as cold as the room, so how far they would follow a heat does not matter.
            let found = from_probe(*volume, *temperature, si::fraction(0.0), record)?;
            let mut answer = Answer::new(format!("A chamber by {} readings of a probe", record.len()));
            let known =
                found.errors.map(|share| format!("good to {} % by the scatter of the record", figures(share.value * 100.0, 2)));
            let [leak, pores, exchange] = known;
            let mut write = Writer::new(&mut answer, system);
            write.rate("leak_l_min", "air that leaks in", reference.volume_flow(found.leak), leak);
            write.volume("pores_l", "gas volume in the pores", found.pores, pores);
            write.time("pores_exchange_s", "time in which they exchange with the chamber", found.exchange, exchange);
            let off = figures((found.scatter.value - 1.0) * 100.0, 2);
            let basis = "mean over the record, of the reading";
            write.put(
                "scatter_factor",
                "what stays unexplained",
                super::Value::Number(found.scatter.value),
                format!("{off} %"),
                basis,
            );
            answer.take(found.notes);
            answer.take([crate::note::Note::basis(
                "what explains the record, not what is true; a hot chamber leaks more: the chimney of its gaps comes on top",
            )]);
            Ok(answer)
        }
        LeakQuestion::Strips { gain, strips, steel, time, flow, gas_oxygen, reference } => {
            let FromStrips { oxygen, leak, notes } = from_strips(*gain, *strips, *steel, *time, *flow, *gas_oxygen)?;
            let mut answer = Answer::new(format!("A chamber by strips that gained {}", units::show_mass(*gain, system)));
            let mut write = Writer::new(&mut answer, system);
            write.mass("oxygen_kg", "oxygen that all the steel took", oxygen, "as much on each surface as on the strips");
            let shown = reference.volume_flow(leak);
            write.rate("leak_l_min", "air that leaks in, at least", shown, "what the gas's own oxygen leaves unexplained");
            answer.take(notes);
            Ok(answer)
        }
    }
}
