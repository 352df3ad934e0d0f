//! Values as whole numbers of steps: what the record keeps is, bit for bit, what was decided on.

use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;
use uom::si::f64::{CatalyticActivity, Pressure, Ratio, ThermodynamicTemperature};
use uom::si::pressure::pascal;
use uom::si::ratio::ratio;
use uom::si::thermodynamic_temperature::kelvin;

use crate::reading::Value;

/// Steps in a kelvin: no thermocouple tells a hundredth of a degree from the next.
pub const STEPS_PER_KELVIN: f64 = 100.0;

/// Steps in a share of one: a tenth of a ppm, below what an oxygen probe resolves.
pub const STEPS_PER_SHARE: f64 = 1e7;

/// Steps in a mole a second: a nanomole a second is a millionth of the flow of a small furnace.
pub const STEPS_PER_MOLE_A_SECOND: f64 = 1e9;

/// Steps in a pascal.
pub const STEPS_PER_PASCAL: f64 = 1.0;

/// Steps in a number whose dimension is not known here.
pub const STEPS_PER_NUMBER: f64 = 1e6;

/// Whole numbers up to this have a number of 64 bits each (2⁵³).
const MOST_STEPS: f64 = 9_007_199_254_740_992.0;

/// What a whole number of steps counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Scale {
    /// 0 and 1.
    Flag,
    /// Hundredths of a kelvin.
    Temperature,
    /// Tenths of a ppm.
    Share,
    /// Nanomoles a second.
    GasFlow,
    /// Pascals.
    Pressure,
    /// Itself.
    Whole,
    /// Millionths.
    Number,
}

impl Value {
    /// The value as a whole number of steps; nothing for words, and for a number that is not finite or beyond 2⁵³ steps.
    #[must_use]
    pub fn steps(&self) -> Option<(Scale, i64)> {
        let (scale, steps) = match self {
            Self::Flag(is) => return Some((Scale::Flag, i64::from(*is))),
            Self::Whole(is) => return Some((Scale::Whole, *is)),
            Self::Temperature(is) => (Scale::Temperature, is.get::<kelvin>() * STEPS_PER_KELVIN),
            Self::Share(is) => (Scale::Share, is.get::<ratio>() * STEPS_PER_SHARE),
            Self::GasFlow(is) => (Scale::GasFlow, is.get::<katal>() * STEPS_PER_MOLE_A_SECOND),
            Self::Pressure(is) => (Scale::Pressure, is.get::<pascal>() * STEPS_PER_PASCAL),
            Self::Number(is) => (Scale::Number, is * STEPS_PER_NUMBER),
            Self::Text(_) => return None,
        };
        (steps.abs() <= MOST_STEPS).then_some((scale, steps.round() as i64))
    }

    /// The value of a whole number of steps.
    #[must_use]
    pub fn from_steps(scale: Scale, steps: i64) -> Self {
        // Exact: more than 2⁵³ steps are only ever counted as they are.
        let number = steps as f64;
        match scale {
            Scale::Flag => Self::Flag(steps != 0),
            Scale::Whole => Self::Whole(steps),
            Scale::Temperature => Self::Temperature(ThermodynamicTemperature::new::<kelvin>(number / STEPS_PER_KELVIN)),
            Scale::Share => Self::Share(Ratio::new::<ratio>(number / STEPS_PER_SHARE)),
            Scale::GasFlow => Self::GasFlow(CatalyticActivity::new::<katal>(number / STEPS_PER_MOLE_A_SECOND)),
            Scale::Pressure => Self::Pressure(Pressure::new::<pascal>(number / STEPS_PER_PASCAL)),
            Scale::Number => Self::Number(number / STEPS_PER_NUMBER),
        }
    }

    /// The nearest value that is a whole number of steps; itself where there is none.
    #[must_use]
    pub fn rounded(self) -> Self {
        match self.steps() {
            Some((scale, steps)) => Self::from_steps(scale, steps),
            None => self,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{celsius, gas_flow};

    /// Goal: rounding is done once. A rounded value goes through its whole number and comes back with the same bits.
    #[test]
    fn a_rounded_value_comes_back_with_the_same_bits() {
        let bits = |value: &Value| match value {
            Value::Temperature(is) => is.value.to_bits(),
            Value::Share(is) => is.value.to_bits(),
            Value::GasFlow(is) => is.value.to_bits(),
            Value::Pressure(is) => is.value.to_bits(),
            Value::Number(is) => is.to_bits(),
            other => panic!("{other:?} is no number"),
        };
        for place in 0..20_000 {
            let number = f64::from(place) * 0.073;
            let values = [
                Value::Temperature(celsius(number)),
                Value::Share(Ratio::new::<ratio>(number / 1500.0)),
                Value::GasFlow(gas_flow(number / 10.0, 21.1, 101.325)),
                Value::Pressure(Pressure::new::<pascal>(number * 1e4)),
                Value::Number(-number),
            ];
            for value in values {
                let once = value.clone().rounded();
                assert_eq!(bits(&once), bits(&once.clone().rounded()), "{value:?}");
                assert!((f64::from_bits(bits(&once)) - f64::from_bits(bits(&value))).abs() <= 0.5, "{value:?}");
            }
        }
    }

    #[test]
    fn what_has_no_whole_number_stays_as_it_is() {
        assert_eq!(Value::Text("oil".into()).steps(), None);
        assert_eq!(Value::Number(f64::NAN).steps(), None);
        assert_eq!(Value::Number(f64::INFINITY).steps(), None);
        assert_eq!(Value::Number(1e300).rounded(), Value::Number(1e300));
        assert_eq!(Value::Whole(i64::MIN).rounded(), Value::Whole(i64::MIN));
        let Value::Number(zero) = Value::Number(-0.0).rounded() else { panic!("a number stays one") };
        assert!(zero.is_sign_positive());
    }
}
