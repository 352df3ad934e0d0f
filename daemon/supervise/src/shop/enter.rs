//! What a person read on equipment that is kept by hand: taken only where it belongs, and only in its own quantity.

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius, in_litres_per_minute};
use hearthward_equipment::{Evidence, PointId, Value};
use uom::si::pressure::bar;
use uom::si::ratio::percent;

use super::Shop;
use super::people::{Outcomes, by};
use crate::event::{EventBody, Priority};
use crate::gas::most_believed;
use crate::output::{Act, Outputs};
use crate::points::number;
use crate::request::Person;

/// What a point takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quantity {
    Flag,
    Temperature,
    Share,
    GasFlow,
    Pressure,
    Other,
}

impl Quantity {
    fn of(value: &Value) -> Self {
        match value {
            Value::Flag(_) => Self::Flag,
            Value::Temperature(_) => Self::Temperature,
            Value::Share(_) => Self::Share,
            Value::GasFlow(_) => Self::GasFlow,
            Value::Pressure(_) => Self::Pressure,
            Value::Whole(_) | Value::Number(_) | Value::Text(_) => Self::Other,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Self::Flag => "yes or no",
            Self::Temperature => "a temperature, such as \"52 C\"",
            Self::Share => "a share, such as \"20.9 %\"",
            Self::GasFlow => "a flow, such as \"8 L/min\"",
            Self::Pressure => "a pressure, such as \"140 bar\"",
            Self::Other => "a plain number or words",
        }
    }
}

impl Shop {
    /// A person enters a reading. Refused where a device measures, and where the quantity is another than the point's: a wrong unit
    /// must never become a plausible reading.
    pub(super) fn enter(&mut self, person: &Person, point: PointId, value: Value, out: &mut Outputs) -> Outcomes {
        let address = self.plan.directory.point_address(point).ok_or("There is no such point.")?;
        let known = self.points.list().get(point.index()).filter(|known| known.at.is_some());
        let Some(known) = known else {
            return Err(format!("Nothing is known of {address} yet: its driver is starting. Try again in a moment."));
        };
        if known.evidence != Evidence::Confirmed {
            return Err(format!("{address} is not kept by hand, so nothing can be entered there."));
        }
        let given = Quantity::of(&value);
        let wanted = self.quantity_of(point).or_else(|| known.value.as_ref().map(Quantity::of)).unwrap_or(given);
        if given != wanted || !(given == Quantity::Other || number(&value).is_finite()) {
            return Err(format!(
                "{address} takes {}; {} is {}. Nothing was entered.",
                wanted.words(),
                shown(&value),
                given.words()
            ));
        }
        self.may_flow(point, &value)?;
        Ok(self.entered(person, point, value, out))
    }

    /// Refuses a flow that the supply of its furnace cannot give: it was read wrong, or the supply is described wrong.
    pub(super) fn may_flow(&self, point: PointId, value: &Value) -> Result<(), String> {
        let gas = self.plan.furnaces.iter().filter_map(|furnace| furnace.gas.as_ref()).find(|gas| gas.flow == point);
        let Some((gas, supply)) = gas.and_then(|gas| Some((gas, self.plan.supplies.get(gas.supply.index())?))) else {
            return Ok(());
        };
        if number(value) <= most_believed(&self.plan, gas) {
            return Ok(());
        }
        Err(format!(
            "{} is more than the supply {} can give, which is {:.1} L/min (`capacity`): read the meter again. Nothing was entered.",
            shown(value),
            supply.name,
            super::render::litres(supply.capacity)
        ))
    }

    /// Puts on record what was read, and hands it to the driver.
    pub(super) fn entered(&self, person: &Person, point: PointId, value: Value, out: &mut Outputs) -> String {
        let address = self.plan.directory.point_address(point).map(ToString::to_string).unwrap_or_default();
        let text = format!("{} read {} at {address} and entered it.", person.name, shown(&value));
        let body = EventBody::Entered { point, value: Some(value.clone()) };
        out.events.push(by(person, None, Priority::Record, text.clone(), body));
        out.acts.push(Act::Enter { point, value });
        text
    }

    /// The quantity that the shop's plan reads at a point.
    fn quantity_of(&self, point: PointId) -> Option<Quantity> {
        let is = |at: Option<PointId>| at == Some(point);
        for furnace in &self.plan.furnaces {
            if furnace.temperature == point || is(furnace.set_point) || is(furnace.load_temperature) {
                return Some(Quantity::Temperature);
            }
            let feedback = furnace.contactor.as_ref().and_then(|contactor| contactor.feedback);
            if is(furnace.door) || is(furnace.over_temperature) || is(furnace.heat_on) || is(feedback) {
                return Some(Quantity::Flag);
            }
            if is(furnace.output_share) || is(furnace.probe) {
                return Some(Quantity::Share);
            }
            if furnace.gas.as_ref().is_some_and(|gas| gas.flow == point) {
                return Some(Quantity::GasFlow);
            }
        }
        for tank in &self.plan.tanks {
            if tank.temperature == point {
                return Some(Quantity::Temperature);
            }
            if is(tank.level) {
                return Some(Quantity::Share);
            }
            if is(tank.agitation) {
                return Some(Quantity::Flag);
            }
        }
        if self.plan.supplies.iter().any(|supply| is(supply.pressure)) {
            return Some(Quantity::Pressure);
        }
        is(self.plan.room.oxygen).then_some(Quantity::Share)
    }
}

/// A value for people.
pub(super) fn shown(value: &Value) -> String {
    match value {
        Value::Flag(is) => if *is { "yes" } else { "no" }.to_owned(),
        Value::Temperature(read) => format!("{:.1} °C", in_celsius(*read)),
        Value::Share(read) => format!("{:.2} %", read.get::<percent>()),
        Value::GasFlow(read) => format!("{:.2} L/min", in_litres_per_minute(*read, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA)),
        Value::Pressure(read) => format!("{:.1} bar", read.get::<bar>()),
        Value::Whole(read) => read.to_string(),
        Value::Number(read) => read.to_string(),
        Value::Text(read) => format!("{read:?}"),
    }
}
