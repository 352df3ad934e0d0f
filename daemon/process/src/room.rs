//! The oxygen that people breathe: what a release, a steady flow or a whole cylinder does to the room.
//!
//! Inert gas gives no warning: people who walk into it fall without having felt anything, and so do those who come to
//! help. These are averages over the room. Argon lies low: a pit, a cellar or the floor of an unstirred room can be far
//! below the average, and inside a furnace or a hood there may be no oxygen at all. Wear a monitor; never lean in.
//!
//! Fresh air is taken as 20.95 % oxygen. 19.5 % is the usual alarm level, at which many rules call a room deficient;
//! below 18 % work suffers, below 12 % people faint (common practice, from memory).

use crate::constants::{AIR_OXYGEN, R};
use crate::cylinder::Cylinder;
use crate::error::{Result, within};
use crate::note::Note;
use crate::{AmountFlow, si};
use uom::si::f64::{AmountOfSubstance, Frequency, Pressure, Ratio, ThermodynamicTemperature, Time, Volume, VolumeRate};

/// The usual alarm level of room oxygen, 19.5 %, where a shop has set none: common practice, from memory.
pub const USUAL_ALARM: f64 = 0.195;

/// A room: its air, and how often fresh air replaces it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    volume_m3: f64,
    changes_per_s: f64,
    temperature_k: f64,
    pressure_pa: f64,
}

/// How released gas spreads; the truth lies somewhere between.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mixing {
    /// Nothing leaves the room: the mildest.
    Sealed,
    /// Gas mixes at once, and mixed air leaves.
    Mixed,
    /// Gas pushes out air only: the gas trade's worst case for the room's average (from memory).
    Worst,
}

/// A room under a steady flow of inert gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// The oxygen that the room settles at.
    pub oxygen: Ratio,
    /// The time to 63 % of the way there.
    pub time_constant: Time,
    /// The flow at which this ventilation would let the room settle at the alarm level.
    pub flow_at_alarm: AmountFlow,
    /// The time from fresh air to the alarm level if nothing were ventilated.
    pub unventilated: Time,
}

/// What air of some oxygen does to people: gas-trade leaflets on asphyxiation, from memory. A person's health and work shift
/// the bounds; local codes decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Breathing {
    /// 19.5 % and over.
    Fresh,
    /// Below 19.5 %: deficient, where entry is regulated.
    Deficient,
    /// Below 18 %: judgement and breathing suffer before anybody notices.
    Impaired,
    /// Below 12 %: people fall without warning.
    Deadly,
}

impl Breathing {
    /// What a share of oxygen does.
    pub fn of(oxygen: Ratio) -> Self {
        // Written so that a number that is none is the worst.
        match oxygen.value {
            x if x >= USUAL_ALARM => Self::Fresh,
            x if x >= 0.18 => Self::Deficient,
            x if x >= 0.12 => Self::Impaired,
            _ => Self::Deadly,
        }
    }

    /// The same in words, to stand in a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Self::Fresh => "people breathe it without harm",
            Self::Deficient => "too little oxygen to work in",
            Self::Impaired => "below 18 % judgement and breathing fail before anybody notices",
            Self::Deadly => "below 12 % people lose consciousness without warning, and die",
        }
    }
}

/// What a whole cylinder does to a room.
#[derive(Debug, Clone, PartialEq)]
pub struct WholeCylinder {
    /// The volume that the gas fills in the room.
    pub gas: Volume,
    /// The oxygen if it mixed while mixed air left.
    pub mixed: Ratio,
    /// The oxygen in the worst case.
    pub worst: Ratio,
    /// Whether the worst case stays at or above the alarm level.
    pub above_alarm: bool,
    /// Cautions for the people in that room.
    pub notes: Vec<Note>,
}

impl Room {
    /// A room at a temperature and the pressure of one atmosphere.
    ///
    /// Usual air changes, common practice from memory: 0.3 an hour in a closed room, 6 in a ventilated workshop.
    ///
    /// # Errors
    /// A volume outside 1 to 100 000 m³, over 100 changes an hour, a temperature outside -20 to 60 °C.
    pub fn new(volume: Volume, changes: Frequency, temperature: ThermodynamicTemperature) -> Result<Self> {
        within("the room's temperature", si::celsius(temperature), "°C", -20.0, 60.0)?;
        Ok(Self {
            volume_m3: within("the room's volume", volume.value, "m³", 1.0, 1e5)?,
            changes_per_s: within("the air changes", changes.value * 3600.0, "/h", 0.0, 100.0)? / 3600.0,
            temperature_k: si::kelvin(temperature),
            pressure_pa: crate::constants::ATMOSPHERE_PA,
        })
    }

    /// The average oxygen after a quick release, with nothing ventilated.
    ///
    /// # Errors
    /// A negative release.
    pub fn after_release(&self, gas: AmountOfSubstance, mixing: Mixing) -> Result<Ratio> {
        let share = within("the gas released", gas.value, "mol", 0.0, 1e9)? * self.m3_per_mol() / self.volume_m3;
        Ok(si::fraction(
            AIR_OXYGEN
                * match mixing {
                    Mixing::Sealed => 1.0 / (1.0 + share),
                    Mixing::Mixed => libm::exp(-share),
                    Mixing::Worst => (1.0 - share).max(0.0),
                },
        ))
    }

    /// The release that brings the worst case down to a level.
    ///
    /// # Errors
    /// A level outside 1 to 20.95 %.
    pub fn release_to(&self, level: Ratio) -> Result<AmountOfSubstance> {
        Ok(si::moles(self.volume_m3 * (1.0 - alarm(level)? / AIR_OXYGEN) / self.m3_per_mol()))
    }

    /// The oxygen under a steady flow of inert gas, well mixed: `x = 0.2095 Q_air / (Q_air + Q_gas)`.
    ///
    /// # Errors
    /// A flow that is not positive, an alarm level outside 1 to 20.95 %.
    pub fn steady(&self, flow: AmountFlow, alarm_level: Ratio) -> Result<Steady> {
        let gas_m3_s = within("the flow", flow.value, "mol/s", 1e-9, 1e3)? * self.m3_per_mol();
        let level = alarm(alarm_level)?;
        let air_m3_s = self.volume_m3 * self.changes_per_s;
        Ok(Steady {
            oxygen: si::fraction(AIR_OXYGEN * air_m3_s / (air_m3_s + gas_m3_s)),
            time_constant: si::seconds(self.volume_m3 / (air_m3_s + gas_m3_s)),
            flow_at_alarm: si::mole_rate(air_m3_s * (AIR_OXYGEN / level - 1.0) / self.m3_per_mol()),
            unventilated: si::seconds(self.volume_m3 * libm::log(AIR_OXYGEN / level) / gas_m3_s),
        })
    }

    /// The oxygen after a time of steady flow, from a given start.
    ///
    /// # Errors
    /// A negative flow or time, a start outside 0 to 20.95 %.
    pub fn after(&self, flow: AmountFlow, start: Ratio, time: Time) -> Result<Ratio> {
        let gas_m3_s = within("the flow", flow.value, "mol/s", 0.0, 1e3)? * self.m3_per_mol();
        let time_s = within("the time", time.value, "s", 0.0, 1e9)?;
        let start = within("the oxygen at the start", start.value * 100.0, "%", 0.0, AIR_OXYGEN * 100.0)? / 100.0;
        let air_m3_s = self.volume_m3 * self.changes_per_s;
        let total = air_m3_s + gas_m3_s;
        if total == 0.0 {
            return Ok(si::fraction(start));
        }
        let end = AIR_OXYGEN * air_m3_s / total;
        Ok(si::fraction(end + (start - end) * libm::exp(-total * time_s / self.volume_m3)))
    }

    /// The fresh air that a flow asks for so that the room settles at a level.
    ///
    /// # Errors
    /// A negative flow, a level outside 1 to 20.95 %.
    pub fn ventilation_for(&self, flow: AmountFlow, level: Ratio) -> Result<VolumeRate> {
        let gas_m3_s = within("the flow", flow.value, "mol/s", 0.0, 1e3)? * self.m3_per_mol();
        let level = within("the level", level.value * 100.0, "%", 1.0, AIR_OXYGEN * 99.99)? / 100.0;
        Ok(si::volume_rate(gas_m3_s / (AIR_OXYGEN / level - 1.0)))
    }

    /// What the whole content of a cylinder does to the room, as after a burst hose overnight.
    ///
    /// # Errors
    /// Values outside the ranges of [`Cylinder::contents`].
    pub fn whole_cylinder(
        &self,
        cylinder: &Cylinder,
        gauge: Pressure,
        temperature: ThermodynamicTemperature,
        level: Ratio,
    ) -> Result<WholeCylinder> {
        let amount = cylinder.contents(gauge, temperature)?.amount;
        let worst = self.after_release(amount, Mixing::Worst)?;
        let above_alarm = worst.value >= alarm(level)?;
        let mut notes =
            vec![Note::bound("the worst case of the room's average; a low place or the cylinder's corner can be far below it")];
        if !above_alarm {
            notes.push(Note::caution(format!(
                "one cylinder can take this room to {}: {}; ventilate, keep an oxygen monitor at breathing height, shut the cylinder when nobody is there",
                crate::units::show_ratio(worst),
                Breathing::of(worst).words()
            )));
        }
        if matches!(cylinder.gas(), crate::gas::Gas::Argon | crate::gas::Gas::CarbonDioxide) {
            notes.push(Note::caution("this gas is heavier than air and lies in pits and cellars"));
        }
        let gas = si::cubic_metres(amount.value * self.m3_per_mol());
        Ok(WholeCylinder { gas, mixed: self.after_release(amount, Mixing::Mixed)?, worst, above_alarm, notes })
    }

    fn m3_per_mol(&self) -> f64 {
        R * self.temperature_k / self.pressure_pa
    }
}

fn alarm(level: Ratio) -> Result<f64> {
    within("the oxygen level", level.value * 100.0, "%", 1.0, AIR_OXYGEN * 100.0).map(|percent| percent / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gas::Gas;
    use crate::units;

    #[test]
    fn one_cylinder_in_a_small_room_is_a_danger_and_in_a_hall_is_not() {
        let cylinder = Cylinder::new(Gas::Argon, units::volume("43.8 L").unwrap()).unwrap();
        let ask = |volume: &str| {
            let room =
                Room::new(units::volume(volume).unwrap(), units::air_changes("2 /h").unwrap(), si::from_celsius(21.1)).unwrap();
            room.whole_cylinder(&cylinder, units::pressure("165 bar").unwrap(), si::from_celsius(21.1), si::fraction(0.195))
                .unwrap()
        };
        assert!(!ask("30 m3").above_alarm && ask("1000 m3").above_alarm);
        assert!(ask("30 m3").notes.len() > ask("1000 m3").notes.len());
    }

    #[test]
    fn the_air_that_a_flow_asks_for_keeps_the_level() {
        let room =
            Room::new(units::volume("60 m3").unwrap(), units::air_changes("2 /h").unwrap(), si::from_celsius(21.1)).unwrap();
        let flow = si::mole_rate(0.02);
        let needed = room.ventilation_for(flow, si::fraction(0.205)).unwrap();
        let changes = Frequency::new::<uom::si::frequency::hertz>(needed.value / 60.0);
        let aired = Room::new(units::volume("60 m3").unwrap(), changes, si::from_celsius(21.1)).unwrap();
        assert!((aired.steady(flow, si::fraction(0.195)).unwrap().oxygen.value - 0.205).abs() < 1e-12);
    }
}
