//! A furnace as a heat engine in reverse: what the cold gas costs, what it loses and holds, and what it can still do.
//!
//! A chamber with its heater behind an insulated wall answers, seen from its thermometer, as
//! `Q T'' + S T' + U (T - T_room) = P`: loss `U` (W/K), capacity `S` (J/K), lag `Q` (J s/K). These three can be found from a
//! recorded heat-up ([`crate::furnace::identify`]); the parts behind them (heater, lining, coupling) cannot, whatever
//! the record. A real furnace radiates, so that its loss grows with temperature: the numbers hold near the temperatures
//! of the record.

mod identify;
mod nodes;

pub use identify::{Identified, Reading, identify};
pub use nodes::{HeatUp, Load, Nodes};

use crate::error::{Result, within};
use crate::gas::Gas;
use crate::note::Note;
use crate::units::Ramp;
use crate::{AmountFlow, si, thermal};
use uom::si::f64::{HeatCapacity, Mass, Power, Ratio, ThermalConductance, ThermodynamicTemperature, Time};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::thermal_conductance::watt_per_kelvin;

/// A furnace as it is known: by identification, by its plate and a guess, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Furnace {
    /// The power that its heater can give.
    pub rated: Power,
    /// The loss per kelvin over the room.
    pub loss: ThermalConductance,
    /// The heat that it holds per kelvin.
    pub capacity: HeatCapacity,
    /// The room around it.
    pub room: ThermodynamicTemperature,
}

/// Whether a ramp is feasible.
#[derive(Debug, Clone, PartialEq)]
pub struct Feasible {
    /// Whether the power suffices all the way.
    pub feasible: bool,
    /// The most power that it asks for.
    pub needed: Power,
    /// The temperature at which it asks for most.
    pub hardest_at: ThermodynamicTemperature,
    /// The fastest even ramp that the power allows all the way; none if it does not even hold the end temperature.
    pub fastest: Option<Ramp>,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// What a flow of cold gas costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasHeat {
    /// The heat that it carries out each second if it leaves at chamber temperature: an upper bound.
    pub power: Power,
    /// Its share of the rated power.
    pub share: Ratio,
}

impl Identified {
    /// The furnace that was identified, with the power on its plate.
    pub fn furnace(&self, rated: Power, room: ThermodynamicTemperature) -> Furnace {
        Furnace { rated, loss: self.loss, capacity: self.capacity, room }
    }
}

impl Furnace {
    /// A furnace known by what its owner can see: the power that holds a heat once all is hot, which is taken as its rated power
    /// too, and how fast the closed, empty furnace begins to fall from that heat once the power is cut.
    ///
    /// `U = P / (T - T_room)` and `S = P / |dT/dt|`: the linear furnace of this module at that heat.
    ///
    /// # Errors
    /// A heat not above the room's temperature, a power outside 1 W to 10 MW, a fall outside 0.001 to 500 K/min.
    pub fn of_holding(
        holding: Power,
        fall: Ramp,
        heat: ThermodynamicTemperature,
        room: ThermodynamicTemperature,
    ) -> Result<Self> {
        let holding_w = within("the power that holds the heat", holding.value, "W", 1.0, 1e7)?;
        let fall_k_s = within("the fall after a cut", fall.kelvin_per_second() * 60.0, "K/min", 1e-3, 500.0)? / 60.0;
        let over_k = within("the heat over the room", si::kelvin(heat) - si::kelvin(room), "K", 1.0, 1400.0)?;
        Ok(Self {
            rated: holding,
            loss: ThermalConductance::new::<watt_per_kelvin>(holding_w / over_k),
            capacity: HeatCapacity::new::<joule_per_kelvin>(holding_w / fall_k_s),
            room,
        })
    }

    /// The heat that a gas flow takes from entering to chamber temperature.
    ///
    /// # Errors
    /// A negative flow, temperatures outside -50 to 1250 °C, a furnace without power.
    pub fn gas_heat(
        &self,
        gas: Gas,
        flow: AmountFlow,
        entering: ThermodynamicTemperature,
        chamber: ThermodynamicTemperature,
    ) -> Result<GasHeat> {
        let power_w = gas_heat_w(gas, flow, entering, chamber)?;
        let rated_w = within("the rated power", self.rated.value, "W", 1.0, 1e7)?;
        Ok(GasHeat { power: si::watts(power_w), share: si::fraction(power_w / rated_w) })
    }

    /// The power that holds a temperature.
    ///
    /// # Errors
    /// A furnace out of range, a temperature outside -50 to 1300 °C.
    pub fn holding(&self, chamber: ThermodynamicTemperature) -> Result<Power> {
        let room_c = self.checked()?;
        let chamber_c = within("the chamber's temperature", si::celsius(chamber), "°C", -50.0, 1300.0)?;
        Ok(si::watts(self.loss.value * (chamber_c - room_c)))
    }

    /// Whether an even ramp with a load and a gas flow stays within the rated power all the way.
    ///
    /// The load is taken to follow the chamber, with the heating curve of EN 1993-1-2: at 735 °C it may ask for more than the
    /// furnace itself. A load that lags asks for less at first and more later.
    ///
    /// # Errors
    /// A furnace out of range, temperatures outside -20 to 1250 °C that do not rise, a ramp outside 0.01 to 100 K/min, a load
    /// outside 0 to 10 t.
    pub fn ramp_feasible(
        &self,
        from: ThermodynamicTemperature,
        to: ThermodynamicTemperature,
        ramp: Ramp,
        load: Mass,
        gas: (Gas, AmountFlow),
    ) -> Result<Feasible> {
        let (from_c, to_c, rate_k_s) = self.checked_ramp(from, to, ramp, load)?;
        let (mut hardest, mut fastest_k_s) = ((f64::NEG_INFINITY, from_c), f64::INFINITY);
        for t_c in stations(from_c, to_c) {
            let (steady_w, held_j_k) = self.takes(t_c, load, gas)?;
            let needed_w = steady_w + held_j_k * rate_k_s;
            if needed_w > hardest.0 {
                hardest = (needed_w, t_c);
            }
            fastest_k_s = fastest_k_s.min((self.rated.value - steady_w) / held_j_k);
        }
        let mut notes =
            vec![Note::basis("loss and capacity as identified or given, load at chamber temperature, gas leaving hot")];
        if load.value > 0.0 && (from_c..=to_c).contains(&735.0) {
            notes.push(Note::basis("steel takes up its transformation heat near 735 °C: the ramp sags there"));
        }
        Ok(Feasible {
            feasible: hardest.0 <= self.rated.value,
            needed: si::watts(hardest.0),
            hardest_at: si::from_celsius(hardest.1),
            fastest: (fastest_k_s > 0.0).then(|| Ramp { rise: si::difference(fastest_k_s), within: si::seconds(1.0) }),
            notes,
        })
    }

    /// The chamber's climb on a ramp, in steps of a kelvin at most: where each ends and how long it takes, the first from the start.
    ///
    /// The chamber rises by the ramp where the rated power suffices, and by what that power gives where not. `None` where it would
    /// rise by less than a kelvin in eight hours: it never gets there.
    ///
    /// # Errors
    /// As for [`Furnace::ramp_feasible`].
    pub fn climb(
        &self,
        from: ThermodynamicTemperature,
        to: ThermodynamicTemperature,
        ramp: Ramp,
        load: Mass,
        gas: (Gas, AmountFlow),
    ) -> Result<Option<Vec<(ThermodynamicTemperature, Time)>>> {
        let (from_c, to_c, rate_k_s) = self.checked_ramp(from, to, ramp, load)?;
        let steps = libm::ceil(to_c - from_c) as u32;
        let step_k = (to_c - from_c) / f64::from(steps);
        let mut climb = Vec::new();
        for step in 0..steps {
            let (steady_w, held_j_k) = self.takes(from_c + step_k * (f64::from(step) + 0.5), load, gas)?;
            let rises_k_s = rate_k_s.min((self.rated.value - steady_w) / held_j_k);
            if rises_k_s < SLOWEST_K_S {
                return Ok(None);
            }
            climb.push((si::from_celsius(from_c + step_k * f64::from(step + 1)), si::seconds(step_k / rises_k_s)));
        }
        Ok(Some(climb))
    }

    /// The watts that hold a temperature with this gas, and the joules that a kelvin more takes with this load.
    fn takes(&self, t_c: f64, load: Mass, (gas, flow): (Gas, AmountFlow)) -> Result<(f64, f64)> {
        let lost_w = self.loss.value * (t_c - si::celsius(self.room));
        let steady_w = lost_w + gas_heat_w(gas, flow, self.room, si::from_celsius(t_c))?;
        Ok((steady_w, self.capacity.value + load.value * thermal::heat_j_kg_k(t_c)))
    }

    /// Start and end of a ramp in °C and its rise in K/s.
    fn checked_ramp(
        &self,
        from: ThermodynamicTemperature,
        to: ThermodynamicTemperature,
        ramp: Ramp,
        load: Mass,
    ) -> Result<(f64, f64, f64)> {
        self.checked()?;
        let from_c = within("the start of the ramp", si::celsius(from), "°C", -20.0, 1250.0)?;
        let to_c = within("the end of the ramp", si::celsius(to), "°C", from_c + 1.0, 1250.0)?;
        within("the load", load.value, "kg", 0.0, 1e4)?;
        Ok((from_c, to_c, within("the ramp", ramp.kelvin_per_second() * 60.0, "K/min", 0.01, 100.0)? / 60.0))
    }

    /// How long after a cut the chamber stays above a limit: the time in which hot steel can still be quenched.
    ///
    /// The slow time constant alone, `S/U`, with the door shut; the load's own heat adds to it, an open door takes most of it
    /// away. `None` if the limit is not above the room: it stays so for ever.
    ///
    /// # Errors
    /// A furnace out of range, temperatures outside -50 to 1300 °C.
    pub fn stays_above(&self, limit: ThermodynamicTemperature, chamber: ThermodynamicTemperature) -> Result<Option<Time>> {
        let room_c = self.checked()?;
        let limit_c = within("the limit", si::celsius(limit), "°C", -50.0, 1300.0)?;
        let chamber_c = within("the chamber's temperature", si::celsius(chamber), "°C", -50.0, 1300.0)?;
        if limit_c <= room_c {
            return Ok(None);
        }
        let ratio = ((chamber_c - room_c) / (limit_c - room_c)).max(1.0);
        Ok(Some(si::seconds(self.capacity.value / self.loss.value * libm::log(ratio))))
    }

    /// How long the chamber takes from one temperature down to another after a cut, for what slow cooling costs.
    ///
    /// # Errors
    /// As for [`Furnace::stays_above`]; an end that is not between room and start.
    pub fn cools(&self, from: ThermodynamicTemperature, to: ThermodynamicTemperature) -> Result<Time> {
        let room_c = self.checked()?;
        within("the end of the cooling", si::celsius(to), "°C", room_c + 0.1, si::celsius(from))?;
        Ok(self.stays_above(to, from)?.unwrap_or(si::seconds(0.0)))
    }

    /// Where the chamber is so long after a cut, with the door shut: the slow time constant alone, as for [`Furnace::stays_above`].
    ///
    /// # Errors
    /// As for [`Furnace::stays_above`]; a time that is negative or not a number.
    pub fn falls_to(&self, chamber: ThermodynamicTemperature, after: Time) -> Result<ThermodynamicTemperature> {
        let room_c = self.checked()?;
        let chamber_c = within("the chamber's temperature", si::celsius(chamber), "°C", -50.0, 1300.0)?;
        let after_s = within("the time after the cut", after.value, "s", 0.0, f64::MAX)?;
        let left = libm::exp(-after_s * self.loss.value / self.capacity.value);
        Ok(si::from_celsius(room_c + (chamber_c - room_c) * left))
    }

    fn checked(&self) -> Result<f64> {
        within("the rated power", self.rated.value, "W", 1.0, 1e7)?;
        within("the loss", self.loss.value, "W/K", 1e-3, 1e5)?;
        within("the capacity", self.capacity.value, "J/K", 1.0, 1e9)?;
        within("the room's temperature", si::celsius(self.room), "°C", -30.0, 60.0)
    }
}

fn gas_heat_w(gas: Gas, flow: AmountFlow, entering: ThermodynamicTemperature, chamber: ThermodynamicTemperature) -> Result<f64> {
    let flow_mol_s = within("the flow", flow.value, "mol/s", 0.0, 1e3)?;
    Ok(flow_mol_s * gas.molar_kg() * gas.enthalpy_rise(entering, chamber)?.value)
}

/// A furnace that rises by less than a kelvin in eight hours does not come to heat.
const SLOWEST_K_S: f64 = 1.0 / 28_800.0;

/// Where a ramp is looked at: every 5 K, and on the peak of the steel's heat capacity.
fn stations(from_c: f64, to_c: f64) -> impl Iterator<Item = f64> {
    let steps = ((to_c - from_c) / 5.0) as u32 + 1;
    let even = (0..=steps).map(move |i| from_c + (to_c - from_c) * f64::from(i) / f64::from(steps));
    even.chain([600.0, 735.0, 900.0].into_iter().filter(move |&t_c| t_c > from_c && t_c < to_c))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flow::Reference;
    use crate::units;

    fn furnace() -> Furnace {
        Furnace {
            rated: units::power("2.2 kW").unwrap(),
            loss: ThermalConductance::new::<watt_per_kelvin>(0.9),
            capacity: HeatCapacity::new::<joule_per_kelvin>(7743.0),
            room: si::from_celsius(25.0),
        }
    }

    fn ask(ramp: &str, load: &str) -> Feasible {
        let flow = Reference::TWENTY_ONE.amount_flow(units::flow("2 L/min").unwrap());
        let (from, to) = (si::from_celsius(25.0), si::from_celsius(800.0));
        furnace().ramp_feasible(from, to, units::ramp(ramp).unwrap(), units::mass(load).unwrap(), (Gas::Argon, flow)).unwrap()
    }

    #[test]
    fn a_load_makes_a_ramp_infeasible_at_the_transformation() {
        assert!(ask("9 K/min", "0 kg").feasible);
        let loaded = ask("9 K/min", "2 kg");
        assert!(!loaded.feasible && (si::celsius(loaded.hardest_at) - 735.0).abs() < 1e-9);
        let fastest = loaded.fastest.unwrap().kelvin_per_second() * 60.0;
        assert!(ask(&format!("{} K/min", fastest * 0.999), "2 kg").feasible);
        assert!(!ask(&format!("{} K/min", fastest * 1.001), "2 kg").feasible);
    }

    #[test]
    fn a_climb_sags_only_where_the_power_does_not_suffice() {
        let (from, to) = (si::from_celsius(25.0), si::from_celsius(800.0));
        let gas = (Gas::Argon, si::mole_rate(0.0));
        let climb = |ramp: &str, rated: &str| {
            let furnace = Furnace { rated: units::power(rated).unwrap(), ..furnace() };
            furnace.climb(from, to, units::ramp(ramp).unwrap(), units::mass("5 kg").unwrap(), gas)
        };
        let took = |ramp: &str| climb(ramp, "2.2 kW").unwrap().unwrap().iter().map(|step| step.1.value).sum::<f64>();
        // The heat of rated power, integrated plainly over hundredths of a kelvin: dt = (S + m c) dT / (P - U (T - room)).
        let plain: f64 = (0..77_500_u32)
            .map(|step| {
                let t_c = 25.005 + 0.01 * f64::from(step);
                let at_full = (7743.0 + 5.0 * thermal::heat_j_kg_k(t_c)) / (2200.0 - 0.9 * (t_c - 25.0));
                0.01 * at_full.max(2.0)
            })
            .sum();
        assert!((took("30 K/min") / plain - 1.0).abs() < 5e-3, "{} beside {plain}", took("30 K/min"));
        assert!((took("1 K/min") - 775.0 * 60.0).abs() < 1e-6, "no sag: {}", took("1 K/min"));
        assert_eq!(climb("6 K/min", "690 W").unwrap(), None, "0.9 W/K over 775 K are 698 W");
        let refused = climb("0.002 K/min", "2.2 kW").unwrap_err().to_string();
        assert!(refused.contains("the ramp is 0.002 K/min; it must lie between 0.01 and 100 K/min"), "{refused}");
        assert!(climb("-6 K/min", "2.2 kW").unwrap_err().to_string().contains("the ramp is -6 K/min"));
    }

    #[test]
    fn what_its_owner_sees_gives_loss_and_capacity_back() {
        let (known, heat) = (furnace(), si::from_celsius(800.0));
        let holding = known.holding(heat).unwrap();
        let fall = Ramp { rise: si::difference(holding.value / known.capacity.value), within: si::seconds(1.0) };
        let seen = Furnace::of_holding(holding, fall, heat, known.room).unwrap();
        assert!((seen.loss.value / known.loss.value - 1.0).abs() < 1e-12);
        assert!((seen.capacity.value / known.capacity.value - 1.0).abs() < 1e-12);
        assert!(Furnace::of_holding(holding, fall, known.room, known.room).is_err());
    }

    #[test]
    fn where_a_cut_furnace_is_after_a_time_is_the_inverse_of_how_long_it_stays_above() {
        let from = si::from_celsius(800.0);
        for limit_c in [799.0, 740.0, 200.0, 30.0] {
            let time = furnace().stays_above(si::from_celsius(limit_c), from).unwrap().unwrap();
            assert!((si::celsius(furnace().falls_to(from, time).unwrap()) - limit_c).abs() < 1e-9, "{limit_c}");
        }
        assert!((si::celsius(furnace().falls_to(from, si::seconds(1e9)).unwrap()) - 25.0).abs() < 1e-9, "the room's");
        assert!(furnace().falls_to(from, si::seconds(-1.0)).is_err() && furnace().falls_to(from, si::seconds(f64::NAN)).is_err());
    }

    #[test]
    fn a_cut_furnace_stays_hot_for_minutes() {
        let time = furnace().stays_above(si::from_celsius(760.0), si::from_celsius(800.0)).unwrap().unwrap();
        // S/U ln(775/735) = 8603 s × 0.053.
        assert_eq!(furnace().cools(si::from_celsius(800.0), si::from_celsius(760.0)).unwrap(), time);
        assert!(furnace().cools(si::from_celsius(800.0), si::from_celsius(820.0)).is_err());
        assert_eq!(furnace().stays_above(si::from_celsius(10.0), si::from_celsius(800.0)).unwrap(), None);
        assert!((time.value - 7743.0 / 0.9 * libm::log(775.0 / 735.0)).abs() < 1e-9);
    }
}
