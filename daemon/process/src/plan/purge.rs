//! "How long must I purge, with how much gas, and what do I set the meter to?"

use super::{Answer, Value, Writer};
use crate::chamber::Chamber;
use crate::error::{Result, within};
use crate::flow::Reference;
use crate::gas::{Mixture, SteelKind, protection};
use crate::jet::{Port, Regime, entry};
use crate::meter::{Accuracy, Float, Scale, Service, Trust, correction, error_at, full_scale_for, reading_for, reynolds, trust};
use crate::note::Note;
use crate::oxide::bound;
use crate::purge::{
    Purge, Reached, changes_needed, expelled, floor, oxygen_after, oxygen_delivered, oxygen_if_displaced, recovery, time_to,
};
use crate::stack::{Gaps, draught};
use crate::units::System;
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
    /// The heat that follows, and the flow that holds it.
    pub heat: (ThermodynamicTemperature, AmountFlow),
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
    /// The share of the gas that an opening at heat replaces by air, if recovery is wanted.
    pub opening: Option<Ratio>,
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
    answer.take(protection(&question.gas, question.steel, question.heat.0)?);
    changes(&mut answer, question, system)?;
    heating(&mut answer, question, system)?;
    if let Some(meter) = &question.meter {
        for (flow, keys) in [(question.purge.flow, METER_PURGE), (question.heat.1, METER_HOLD)] {
            metered(&mut answer, meter, flow, keys, system)?;
        }
    }
    if let Some(port) = &question.port {
        enters(&mut answer, question, port, system)?;
    }
    if let Some(gaps) = &question.gaps {
        chimney(&mut answer, question, gaps, system)?;
    }
    if let Some(share) = question.opening {
        opened(&mut answer, question, share, system)?;
    }
    if let Some(steel) = &question.exposed {
        exposed(&mut answer, question, steel, system)?;
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

/// The hold under heat: its floor, and what heating expels.
fn heating(answer: &mut Answer, question: &PurgeQuestion, system: System) -> Result<()> {
    let (heat, hold) = question.heat;
    within("the holding flow", hold.value, "mol/s", 0.0, 1e3)?;
    let out = question.reference.volume(expelled(&question.chamber, question.purge.temperature, heat)?);
    let mut write = Writer::new(answer, system);
    write.volume("expelled_l", "gas that heating expels", out, "does not change the oxygen fraction");
    if hold.value + question.purge.leak.value > 0.0 {
        let floor = floor(hold, question.purge.gas_oxygen, question.purge.leak)?;
        write.share("hold_floor_fraction", "oxygen that the holding flow settles at", floor, "gas and leak alone");
        if floor > question.level {
            answer.warn(format!("the holding flow lets the leak bring the oxygen up to {}", units::show_ratio(floor)));
        }
    } else {
        answer.warn("nothing flows under heat: any cooling draws air in");
    }
    Ok(())
}

/// Recovery at the purge flow after the door was open at heat.
fn opened(answer: &mut Answer, question: &PurgeQuestion, share: Ratio, system: System) -> Result<()> {
    if question.purge.flow.value == 0.0 {
        return Ok(());
    }
    let hot = Purge { temperature: question.heat.0, ..question.purge };
    let back = recovery(&question.chamber, &hot, share, question.level)?;
    let mut write = Writer::new(answer, system);
    write.share(
        "opened_oxygen_fraction",
        "oxygen right after an opening at heat",
        back.start,
        "the share of gas replaced by air",
    );
    match back.time {
        Some(time) => write.time("recovery_s", "back at the level after", time, "well mixed, at the purge flow, no leak"),
        None => answer.warn("after an opening the level is never reached again: the gas itself holds more oxygen"),
    }
    Ok(())
}

/// What the oxygen that gas and leak bring could at most do to the steel.
fn exposed(answer: &mut Answer, question: &PurgeQuestion, steel: &ExposedSteel, system: System) -> Result<()> {
    let Purge { gas_oxygen, leak, .. } = question.purge;
    let brought = oxygen_delivered(question.heat.1, gas_oxygen, leak, steel.time)?;
    let most = bound(brought, steel.surface, steel.carbon)?;
    let mut write = Writer::new(answer, system);
    write.mass("oxygen_brought_kg", "oxygen that gas and leak bring while hot", brought, "mole balance at the holding flow");
    write.length("scale_bound_mm", "scale if all of it went to the steel", most.scale, "upper bound, as FeO");
    write.length("carbon_bound_mm", "or depth robbed of its carbon", most.decarburised, "upper bound, as carbon monoxide");
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
    if error.value > 0.2 {
        let better = full_scale_for(mark, meter.accuracy, si::fraction(0.1))?;
        let advice = better.map_or_else(String::new, |(_, most)| {
            format!("; a scale of at most {} would show it within 10 %", units::show_flow(most, system))
        });
        answer.warn(format!("the {label} flow can be off by {percent} % at this mark{advice}"));
    }
    if let Some((float, bore)) = meter.float {
        let number = reynolds(flow, &meter.service.gas, meter.service.temperature, bore)?;
        if trust(float, number) == Trust::Fails {
            answer.take([Note::outside(
                "the square-root rule does not hold for a ball at so small a flow: calibrate with a bag and a stopwatch",
            )]);
        }
    }
    Ok(())
}

/// The least share of full scale at which a float can be read at all: common practice, no source.
const LEAST_SHARE: f64 = 0.05;

fn enters(answer: &mut Answer, question: &PurgeQuestion, at: &PortAtHand, system: System) -> Result<()> {
    let Some(gas) = question.gas.pure() else {
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
    write.number("port_froude", "Froude number at the port", entry.froude.value, 3, "densimetric");
    write.word("port_regime", "how the gas enters", word, meaning);
    answer.take(entry.notes);
    Ok(())
}

/// The chimney of the hot chamber. Both bounds of the flow that it asks for are upper ones, so the smaller counts; the air
/// that the orifice law lets in is shown only where the holding flow is below it.
fn chimney(answer: &mut Answer, question: &PurgeQuestion, gaps: &Gaps, system: System) -> Result<()> {
    let hold = question.heat.1;
    let hot = draught(&question.gas, question.heat.0, question.room, gaps, hold)?;
    let enough = if hot.holding < hot.holding_viscous { hot.holding } else { hot.holding_viscous };
    let mut write = Writer::new(answer, system);
    write.flow("chimney_holding_l_min", "flow that keeps every gap blowing outward when hot", enough, question.reference);
    write.flow("chimney_holding_orifice_l_min", "the same if the gaps were sharp holes", hot.holding, question.reference);
    write.flag(
        "chimney_outward",
        "every gap blows outward at the holding flow",
        hold >= enough,
        "the smaller of two upper bounds",
    );
    if hold < enough {
        write.flow("chimney_air_in_l_min", "air that the chimney may draw in", hot.air_in, question.reference);
        answer.warn("the hot chamber's chimney may draw air in at the lowest gap: hold more flow, or close the gaps");
    }
    answer.take(hot.notes);
    answer.take([Note::assumed("the width of the gaps and the depth of the seal: nobody has measured them until somebody has")]);
    Ok(())
}
