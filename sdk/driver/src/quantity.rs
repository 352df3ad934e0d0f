//! The words for what a value measures, and the units that people write.
//!
//! A quantity's word ends with its unit, so a bare number never goes without one. The list is also in `sdk/README.md`; it
//! may grow, a word never changes its meaning.

/// What kind of value a quantity has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A switch.
    Flag,
    /// A measure with a unit.
    Number,
    /// A count or code.
    Whole,
    /// Words.
    Text,
}

/// A quantity of the list.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    /// Its word, as it stands in a point.
    pub word: &'static str,
    /// The kind of its values.
    pub kind: Kind,
    units: &'static [Unit],
}

/// A unit of measure: value in the quantity's own unit = given × factor + shift.
#[derive(Clone, Copy, Debug)]
struct Unit {
    name: &'static str,
    factor: f64,
    shift: f64,
}

const fn unit(name: &'static str, factor: f64) -> Unit {
    Unit { name, factor, shift: 0.0 }
}

const fn numbers(word: &'static str, units: &'static [Unit]) -> Quantity {
    Quantity { word, kind: Kind::Number, units }
}

const fn other(word: &'static str, kind: Kind) -> Quantity {
    Quantity { word, kind, units: &[] }
}

/// Degrees Celsius.
pub const TEMPERATURE_C: Quantity = numbers(
    "temperature_c",
    &[
        unit("C", 1.0),
        Unit { name: "K", factor: 1.0, shift: -273.15 },
        Unit { name: "F", factor: 5.0 / 9.0, shift: -160.0 / 9.0 },
    ],
);
/// A part of a whole, 0 to 1.
pub const SHARE: Quantity = numbers("share", &[unit("share", 1.0), unit("%", 0.01)]);
/// Oxygen and the like: part of the gas by volume, 0 to 1.
pub const VOLUME_FRACTION: Quantity = numbers("volume_fraction", &[unit("fraction", 1.0), unit("%", 0.01), unit("ppm", 1e-6)]);
/// Kilopascals. Absolute or gauge is the point's own matter: its name says so.
pub const PRESSURE_KPA: Quantity = numbers(
    "pressure_kpa",
    // The pound per square inch is 0.45359237 kg × 9.80665 m/s² over (0.0254 m)², all exact by definition.
    &[
        unit("kPa", 1.0),
        unit("bar", 100.0),
        unit("mbar", 0.1),
        unit("Pa", 0.001),
        unit("MPa", 1000.0),
        unit("psi", 6.894_757_293_168_361),
    ],
);
/// Litres a minute of gas at reference conditions that are told elsewhere.
pub const FLOW_STANDARD_L_MIN: Quantity = numbers(
    "flow_standard_l_min",
    // The cubic foot is (0.3048 m)³, exact by definition.
    &[
        unit("L/min", 1.0),
        unit("mL/min", 0.001),
        unit("L/h", 1.0 / 60.0),
        unit("m3/h", 1000.0 / 60.0),
        unit("ft3/h", 28.316_846_592 / 60.0),
    ],
);
/// Kilograms.
pub const MASS_KG: Quantity = numbers("mass_kg", &[unit("kg", 1.0), unit("g", 0.001)]);
/// Litres.
pub const VOLUME_L: Quantity = numbers("volume_l", &[unit("L", 1.0), unit("m3", 1000.0)]);
/// Kilowatts.
pub const POWER_KW: Quantity = numbers("power_kw", &[unit("kW", 1.0), unit("W", 0.001)]);
/// Kilowatt-hours.
pub const ENERGY_KWH: Quantity = numbers("energy_kwh", &[unit("kWh", 1.0), unit("Wh", 0.001)]);
/// Amperes.
pub const CURRENT_A: Quantity = numbers("current_a", &[unit("A", 1.0), unit("mA", 0.001)]);
/// Volts.
pub const VOLTAGE_V: Quantity = numbers("voltage_v", &[unit("V", 1.0), unit("mV", 0.001)]);
/// Seconds.
pub const DURATION_S: Quantity =
    numbers("duration_s", &[unit("s", 1.0), unit("ms", 0.001), unit("min", 60.0), unit("h", 3600.0)]);
/// On or off; the point's name says what on means.
pub const STATE: Quantity = other("state", Kind::Flag);
/// How many.
pub const COUNT: Quantity = other("count", Kind::Whole);
/// A number that stands for something: a program, a mode, a device's own error.
pub const CODE: Quantity = other("code", Kind::Whole);
/// Words.
pub const TEXT: Quantity = other("text", Kind::Text);

/// All of them.
pub const ALL: [Quantity; 16] = [
    TEMPERATURE_C,
    SHARE,
    VOLUME_FRACTION,
    PRESSURE_KPA,
    FLOW_STANDARD_L_MIN,
    MASS_KG,
    VOLUME_L,
    POWER_KW,
    ENERGY_KWH,
    CURRENT_A,
    VOLTAGE_V,
    DURATION_S,
    STATE,
    COUNT,
    CODE,
    TEXT,
];

/// Pairs for [`Section::choice`](crate::Section::choice).
pub const CHOICE: [(&str, Quantity); ALL.len()] = {
    let mut pairs = [("", TEXT); ALL.len()];
    let mut at = 0;
    while at < ALL.len() {
        pairs[at] = (ALL[at].word, ALL[at]);
        at += 1;
    }
    pairs
};

impl Quantity {
    /// Factor and shift that bring a value in this unit to the quantity's own: given × factor + shift.
    #[must_use]
    pub fn measure(&self, unit: &str) -> Option<(f64, f64)> {
        self.units.iter().find(|known| known.name == unit).map(|known| (known.factor, known.shift))
    }

    /// The units that may be written, for a message.
    #[must_use]
    pub fn units(&self) -> String {
        self.units.iter().map(|unit| unit.name).collect::<Vec<_>>().join(", ")
    }
}

impl PartialEq for Quantity {
    fn eq(&self, other: &Self) -> bool {
        self.word == other.word
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(quantity: Quantity, value: f64, unit: &str) -> f64 {
        let (factor, shift) = quantity.measure(unit).expect("a unit of the list");
        value * factor + shift
    }

    /// Goal: fixed points that everybody knows: water boils at 212 °F = 100 °C, absolute zero is −273.15 °C; one standard
    /// atmosphere is 14.6959 psi = 101.325 kPa (from memory).
    #[test]
    fn units_meet_at_known_points() {
        assert!((convert(TEMPERATURE_C, 212.0, "F") - 100.0).abs() < 1e-9);
        assert!((convert(TEMPERATURE_C, 0.0, "K") + 273.15).abs() < 1e-9);
        assert!((convert(PRESSURE_KPA, 14.695_95, "psi") - 101.325).abs() < 1e-3);
        assert!((convert(FLOW_STANDARD_L_MIN, 0.6, "m3/h") - 10.0).abs() < 1e-9);
        assert!((convert(VOLUME_FRACTION, 20.9, "%") - 0.209).abs() < 1e-12);
    }

    /// Goal: a unit of another quantity is not taken.
    #[test]
    fn units_belong_to_their_quantity() {
        assert_eq!(TEMPERATURE_C.measure("bar"), None);
        assert_eq!(COUNT.measure("C"), None);
        assert_eq!(TEMPERATURE_C.units(), "C, K, F");
    }
}
