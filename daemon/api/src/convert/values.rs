//! Values, their quality and what they rest on.

use hearthward_equipment::quantity::{self, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA};
use hearthward_equipment::{Evidence, Quality, Value};
use hearthward_proto::v1;
use hearthward_proto::v1::value::Kind;
use uom::si::f64::{Pressure, Ratio};
use uom::si::pressure::kilopascal;
use uom::si::ratio::ratio;

use super::tidy;
use crate::error::ApiError;

/// The longest words that a person may enter as a reading.
const TEXT_CHARS: usize = 200;

pub(crate) fn value(value: &Value) -> v1::Value {
    let kind = match value {
        Value::Flag(is) => Kind::Flag(*is),
        Value::Temperature(is) => Kind::TemperatureC(tidy(quantity::in_celsius(*is))),
        Value::Share(is) => Kind::Share(is.get::<ratio>()),
        Value::GasFlow(is) => Kind::FlowLMin(tidy(quantity::in_litres_per_minute(*is, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))),
        Value::Pressure(is) => Kind::PressureKpa(tidy(is.get::<kilopascal>())),
        Value::Whole(is) => Kind::Whole(*is),
        Value::Number(is) => Kind::Number(*is),
        Value::Text(is) => Kind::Text(is.clone()),
    };
    v1::Value { kind: Some(kind) }
}

/// A value that a person gave, in the field of that name.
pub(crate) fn value_from(value: v1::Value, field: &str) -> Result<Value, ApiError> {
    let finite = |number: f64, name: &str| {
        if number.is_finite() { Ok(number) } else { Err(ApiError::field(format!("{field}.{name}"), "must be a number")) }
    };
    let at_least = |number: f64, least: f64, name: &str| {
        let number = finite(number, name)?;
        if number >= least {
            Ok(number)
        } else {
            Err(ApiError::field(format!("{field}.{name}"), format!("must be at least {least}")))
        }
    };
    let Some(kind) = value.kind else { return Err(ApiError::field(field, "must hold a value")) };
    Ok(match kind {
        Kind::Flag(is) => Value::Flag(is),
        Kind::TemperatureC(is) => Value::Temperature(quantity::celsius(at_least(is, -273.15, "temperature_c")?)),
        Kind::Share(is) if (0.0..=1.0).contains(&is) => Value::Share(Ratio::new::<ratio>(is)),
        Kind::Share(_) => return Err(ApiError::field(format!("{field}.share"), "must be 0 to 1")),
        Kind::FlowLMin(is) => {
            Value::GasFlow(quantity::gas_flow(at_least(is, 0.0, "flow_l_min")?, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))
        }
        Kind::PressureKpa(is) => Value::Pressure(Pressure::new::<kilopascal>(finite(is, "pressure_kpa")?)),
        Kind::Whole(is) => Value::Whole(is),
        Kind::Number(is) => Value::Number(finite(is, "number")?),
        Kind::Text(is) if is.chars().count() <= TEXT_CHARS => Value::Text(is),
        Kind::Text(_) => {
            return Err(ApiError::field(format!("{field}.text"), format!("must be at most {TEXT_CHARS} characters")));
        }
    })
}

pub(crate) fn quality(quality: Quality) -> v1::Quality {
    match quality {
        Quality::Good => v1::Quality::Good,
        Quality::Uncertain => v1::Quality::Uncertain,
        Quality::Bad => v1::Quality::Bad,
    }
}

pub(crate) fn evidence(evidence: Evidence) -> v1::Evidence {
    match evidence {
        Evidence::Measured => v1::Evidence::Measured,
        Evidence::Confirmed => v1::Evidence::Confirmed,
        Evidence::Estimated => v1::Evidence::Estimated,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_go_out_and_come_back() {
        let all = [
            Kind::Flag(true),
            Kind::TemperatureC(812.5),
            Kind::Share(0.209),
            Kind::FlowLMin(8.0),
            Kind::PressureKpa(13_800.0),
            Kind::Whole(-3),
            Kind::Number(0.5),
            Kind::Text("float stuck".into()),
        ];
        for kind in all {
            let inner = value_from(v1::Value { kind: Some(kind.clone()) }, "value").expect("a good value");
            let back = value(&inner).kind.expect("a kind");
            let same = match (&back, &kind) {
                (Kind::TemperatureC(a), Kind::TemperatureC(b))
                | (Kind::FlowLMin(a), Kind::FlowLMin(b))
                | (Kind::PressureKpa(a), Kind::PressureKpa(b)) => (a - b).abs() < 1e-9,
                (a, b) => a == b,
            };
            assert!(same, "{kind:?} came back as {back:?}");
        }
    }

    #[test]
    fn impossible_values_name_their_field() {
        for (kind, field) in [
            (Kind::TemperatureC(f64::NAN), "value.temperature_c"),
            (Kind::TemperatureC(-300.0), "value.temperature_c"),
            (Kind::FlowLMin(-1.0), "value.flow_l_min"),
            (Kind::Share(1.5), "value.share"),
            (Kind::Number(f64::INFINITY), "value.number"),
        ] {
            let error = value_from(v1::Value { kind: Some(kind) }, "value").expect_err("was taken");
            assert!(matches!(&error, ApiError::Field { field: named, .. } if named == field), "{error:?}");
        }
    }
}
