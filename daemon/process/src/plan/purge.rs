//! "How long must I purge, with how much gas, and what do I set the meter to?"

use super::{Answer, Value, Writer, hold};
use crate::chamber::Chamber;
use crate::error::Result;
use crate::flow::Reference;
use crate::gas::{Gas, Mixture, SteelKind, protection};
use crate::jet::{Port, Regime, diffusion_time, entry};
use crate::meter::{Accuracy, Float, Scale, Service, Trust, correction, error_at, full_scale_for, reading_for, reynolds, trust};
use crate::note::Note;
use crate::purge::{Purge, Reached, changes_needed, floor, oxygen_after, oxygen_if_displaced, time_to};
use crate::stack::Gaps;
use crate::units::{Ramp, System};
use crate::{AmountFlow, si, units};
use uom::si::f64::{Area, Length, Ratio, ThermodynamicTemperature, Time, VolumeRate};

/// A purge to be planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PurgeQuestion {
    /// The chamber, with its pores if it has any.
    pub chamber: Chamber,
    /// The gas.
    pub gas: Mixture,
    /// The steel that it is to protect.
    pub steel: SteelKind,
    /// The purge itself: flow, purity, temperature, leak, start.
    pub purge: Purge,
    /// The oxygen wanted.
    pub level: Ratio,
    /// The heat that follows.
    pub heat: ThermodynamicTemperature,
    /// The flow that holds the chamber under that heat.
    pub hold: AmountFlow,
    /// The room.
    pub room: ThermodynamicTemperature,
    /// The conditions that flows are counted and shown at.
    pub reference: Reference,
    /// The meter, if its reading is wanted.
    pub meter: Option<MeterAtHand>,
    /// The port, if how the gas enters is wanted.
    pub port: Option<PortAtHand>,
    /// The gaps, if the chimney is wanted.
    pub gaps: Option<Gaps>,
    /// The share of the gas that an opening at heat replaces by air; 0 says that there is none.
    pub opening: Option<Ratio>,
    /// How fast the chamber begins to fall once heat is cut, of either sign, if what it then draws in is wanted.
    pub cools: Option<Ramp>,
    /// Whether `purge.leak` was said: a leak that nobody named is not known, which is not the same as none.
    pub leak_said: bool,
    /// Whether a chamber without pores was said to have none.
    pub tight_said: bool,
    /// The steel that what oxygen gets in could act on, if that is wanted.
    pub exposed: Option<ExposedSteel>,
}

/// Steel under the holding flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExposedSteel {
    /// Its whole surface.
    pub surface: Area,
    /// Its carbon.
    pub carbon: Ratio,
    /// How long it is hot.
    pub time: Time,
}

/// A meter on the wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterAtHand {
    /// What it is engraved for.
    pub scale: Scale,
    /// What goes through it.
    pub service: Service,
    /// Its accuracy.
    pub accuracy: Accuracy,
    /// The top of its scale.
    pub full_scale: VolumeRate,
    /// Its float and the bore of its tube, if known.
    pub float: Option<(Float, Length)>,
}

/// The port that the gas enters by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PortAtHand {
    /// Its bore.
    pub bore: Length,
    /// The height of the chamber over it.
    pub height: Length,
}

/// Answers the question.
///
/// A gas that does not protect is an error; a level that is never reached is an answer.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn purge(question: &PurgeQuestion, system: System) -> Result<Answer> {
    let mut answer = Answer::new(format!("Purge with {}", question.gas));
    answer.take(protection(&question.gas, question.steel, question.heat)?);
    changes(&mut answer, question, system)?;
    hold::heating(&mut answer, question, system)?;
    if let Some(meter) = &question.meter {
        for (flow, keys) in [(question.purge.flow, METER_PURGE), (question.hold, METER_HOLD)] {
            metered(&mut answer, meter, flow, keys, system)?;
        }
    }
    if let Some(port) = &question.port {
        enters(&mut answer, question, port, system)?;
    }
    if let Some(gaps) = &question.gaps {
        hold::chimney(&mut answer, question, gaps, system)?;
    }
    if let Some(share) = question.opening.filter(|share| share.value > 0.0) {
        hold::opened(&mut answer, question, share, system)?;
    }
    if let Some(cools) = question.cools {
        hold::cooling(&mut answer, question, cools, system)?;
    }
    if let Some(steel) = &question.exposed {
        hold::exposed(&mut answer, question, steel, system)?;
    }
    Ok(answer)
}

/// The cold purge: changes, time, gas; or why it never gets there.
fn changes(answer: &mut Answer, question: &PurgeQuestion, system: System) -> Result<()> {
    let Purge { start, gas_oxygen, flow, .. } = question.purge;
    let needed = changes_needed(start, gas_oxygen, question.level)?;
    let reached = time_to(&question.chamber, &question.purge, question.level)?;
    let mut write = Writer::new(answer, system);
    write.flow("flow_l_min", "flow", flow, question.reference);
    write.flow("hold_l_min", "flow that holds it under heat", question.hold, question.reference);
    if let Some(needed) = needed {
        write.number("changes_needed", "volume changes for the level", needed.value, 3, "well mixed, no leak, no pores");
        let best = oxygen_if_displaced(start, gas_oxygen, needed)?;
        write.share("oxygen_if_displaced_fraction", "oxygen if it displaced instead of mixing", best, "the best that can be");
    }
    match reached {
        Reached::After { time, gas, changes, notes } => {
            write.time("time_s", "time to the level", time, "chamber and leak as given");
            write.number("changes", "volume changes by then", changes.value, 3, "at the chamber's temperature");
            let gas = question.reference.volume(gas);
            write.volume("gas_l", "gas used", gas, format!("counted at {}", question.reference.words()));
            let four = oxygen_after(start, gas_oxygen, si::fraction(4.0))?;
            write.share("oxygen_after_four_fraction", "oxygen after four changes", four, "the popular rule, well mixed");
            answer.take(notes);
            let settles = floor(flow, gas_oxygen, question.purge.leak)?;
            if settles > question.level {
                answer.warn(format!(
                    "this purge flow itself brings the oxygen up to {}, above the {} wanted: purer gas, or a tighter chamber",
                    units::show_ratio(settles),
                    units::show_ratio(question.level)
                ));
            }
        }
        Reached::Never { floor, largest_leak, why } => {
            write.share("floor_fraction", "oxygen that it settles at", floor, "mole balance");
            if let Some(leak) = largest_leak {
                write.flow("largest_leak_l_min", "largest leak that would allow the level", leak, question.reference);
            }
            answer.warn(format!("this purge never reaches {}: {why}", units::show_ratio(question.level)));
        }
    }
    Ok(())
}

const METER_PURGE: [&str; 2] = ["purge_reading_l_min", "purge_reading_error_fraction"];
const METER_HOLD: [&str; 2] = ["hold_reading_l_min", "hold_reading_error_fraction"];

/// The mark to set, and what it is worth.
fn metered(answer: &mut Answer, meter: &MeterAtHand, flow: AmountFlow, keys: [&'static str; 2], system: System) -> Result<()> {
    let label = if keys == METER_PURGE { "purge" } else { "hold" };
    if flow.value == 0.0 {
        return Ok(());
    }
    let mark = reading_for(flow, &meter.scale, &meter.service)?;
    let share = mark / meter.full_scale;
    answer.take(correction(&meter.scale, &meter.service)?.notes);
    let mut write = Writer::new(answer, system);
    write.rate(keys[0], &format!("mark to set for the {label}"), mark, "in the scale's own litres");
    if share.value > 1.0 {
        answer.warn(format!("the {label} flow is above the top of the meter's scale"));
        return Ok(());
    }
    if share.value < LEAST_SHARE {
        answer.warn(format!("the {label} flow is below what this meter can show: the float rests near the bottom"));
        return Ok(());
    }
    let error = error_at(meter.accuracy, share)?;
    let percent = units::figures(error.value * 100.0, 3);
    let shown = format!("{percent} %");
    write.put(
        keys[1],
        &format!("error of that mark for the {label}"),
        Value::Number(error.value),
        shown,
        "the meter's accuracy class",
    );
    if error.value > WORTH_SAYING {
        let better = full_scale_for(mark, meter.accuracy, si::fraction(0.1))?;
        let advice = better.map_or_else(String::new, |scales| {
            format!("; a scale of at most {} would show it within 10 %", units::show_flow(scales.most, system))
        });
        answer.warn(format!("the {label} flow can be off by {percent} % at this mark{advice}"));
    }
    if let Some((float, bore)) = meter.float {
        let number = reynolds(flow, &meter.service.gas, meter.service.temperature, bore)?;
        match trust(float, number) {
            Trust::Holds => {}
            Trust::Doubtful => answer.take([Note::outside(format!(
                "the square-root rule is doubtful for this float at the {label} flow: check it with a bag and a stopwatch"
            ))]),
            Trust::Fails => answer.take([Note::outside(format!(
                "the square-root rule does not hold for a ball at so small a {label} flow: calibrate with a bag and a stopwatch"
            ))]),
        }
    }
    Ok(())
}

/// The error of a mark from which it is warned of: a tenth of the gas.
const WORTH_SAYING: f64 = 0.1;
/// The least share of full scale at which a float can be read at all: common practice, no source.
const LEAST_SHARE: f64 = 0.05;

fn enters(answer: &mut Answer, question: &PurgeQuestion, at: &PortAtHand, system: System) -> Result<()> {
    let Some(gas) = question.gas.pure() else {
        answer.take([Note::basis("how a mixture enters by the port is not worked out: ask for one gas alone")]);
        return Ok(());
    };
    if question.purge.flow.value == 0.0 {
        return Ok(());
    }
    let port = Port { gas, temperature: question.room, bore: at.bore, flow: question.purge.flow };
    let entry = entry(&port, question.purge.temperature, at.height)?;
    let (word, meaning) = match entry.regime {
        Regime::Stirs => ("stirs", "the jet mixes the whole chamber: count volume changes"),
        Regime::StirsBelow => ("stirs below", "a fountain that mixes the lower part; the top clears last"),
        Regime::Pools => ("pools", "heavy gas fills from the floor: vent at the top"),
        Regime::Rises => ("rises", "light gas fills from the roof: vent at the bottom"),
    };
    let mut write = Writer::new(answer, system);
    write.number("port_velocity_m_s", "speed at the port, m/s", entry.velocity.value, 3, "at the room's temperature");
    write.number("port_reynolds", "Reynolds number at the port", entry.reynolds.value, 3, "on the bore; below 2000 laminar");
    write.number("port_froude", "Froude number at the port", entry.froude.value, 3, "densimetric");
    write.word("port_regime", "how the gas enters", word, meaning);
    if entry.regime == Regime::Pools && gas == Gas::Argon {
        let time = diffusion_time(at.height, question.purge.temperature)?;
        write.time("diffusion_s", "diffusion alone evens it out in", time, "height squared over the diffusivity, by Fuller");
    }
    answer.take(entry.notes);
    Ok(())
}
