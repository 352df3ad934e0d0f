//! Uniformity classes, survey sensors and instrumentation types of AMS 2750 (revisions E and F).
//!
//! Class tolerances were read from a public article on revision F; system accuracy limits other than class 2 and sensor
//! counts are from memory. A shop that must comply buys the standard; this tells a small shop where its furnace stands.

use crate::error::{Result, impossible, within};
use crate::si;
use uom::si::f64::{TemperatureInterval, ThermodynamicTemperature, Volume};
use uom::si::volume::cubic_foot;

/// One uniformity class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// 1 to 6.
    pub class: u8,
    /// Tolerance either way, °F: the standard's own figure.
    pub tolerance_f: f64,
    /// The same in °C as the standard prints it, rounded.
    pub tolerance_c_printed: f64,
    /// System accuracy limit, °F.
    pub accuracy_f: f64,
    /// The same in °C, as printed.
    pub accuracy_c_printed: f64,
    /// The same as per cent of the reading; the larger counts.
    pub accuracy_percent: f64,
}

/// The classes.
pub static CLASSES: [Class; 6] = [
    class(1, 5.0, 3.0, (2.0, 1.1, 0.2)),
    class(2, 10.0, 6.0, (3.0, 1.7, 0.3)),
    class(3, 15.0, 8.0, (4.0, 2.2, 0.4)),
    class(4, 20.0, 10.0, (4.0, 2.2, 0.4)),
    class(5, 25.0, 14.0, (5.0, 2.8, 0.5)),
    class(6, 50.0, 28.0, (10.0, 5.6, 1.0)),
];

/// Survey sensors: work zone below (cubic feet), sensors for classes 1 and 2, for classes 3 to 6. Table 11 of revision E, from
/// memory; a bench chamber of 5 to 20 L is in the first row: corners and centre.
pub static SENSORS: [(f64, u8, u8); 10] = [
    (3.0, 5, 5),
    (225.0, 9, 9),
    (300.0, 14, 12),
    (400.0, 16, 13),
    (600.0, 19, 14),
    (800.0, 21, 15),
    (1000.0, 23, 16),
    (2000.0, 30, 20),
    (3000.0, 35, 23),
    (4000.0, 40, 25),
];

/// Instrumentation types and what each must have; partly read from a public page, the rest from memory.
pub static INSTRUMENTS: [(&str, &str); 6] = [
    (
        "A",
        "control + recording per zone, plus two added recording sensors at the hottest and coldest places from the last survey, plus over-temperature protection, plus load sensor",
    ),
    ("B", "control + recording per zone, load sensor, over-temperature protection"),
    ("C", "control + recording per zone, hottest and coldest recording sensors, over-temperature protection"),
    ("D", "control + recording per zone, over-temperature protection"),
    ("D+", "type D plus one further recording sensor per zone away from the control sensor (rev. F)"),
    ("E", "control sensor and display per zone, over-temperature protection only"),
];

impl Class {
    /// The tolerance by exact conversion: 5 °F is 2.78 K, where the standard prints 3.
    pub fn tolerance(&self) -> TemperatureInterval {
        si::difference(self.tolerance_f / 1.8)
    }

    /// The limit of system accuracy at a reading: the larger of the fixed one and the share of the reading in °C.
    pub fn accuracy_at(&self, reading: ThermodynamicTemperature) -> TemperatureInterval {
        si::difference((self.accuracy_f / 1.8).max(self.accuracy_percent / 100.0 * si::celsius(reading)))
    }
}

/// The class that a survey meets; `None` if it meets none.
///
/// The tightest class within whose tolerance every sensor stayed about the set point.
///
/// # Errors
/// No readings, readings outside -100 to 2000 °C.
pub fn class_met(set_point: ThermodynamicTemperature, readings: &[ThermodynamicTemperature]) -> Result<Option<&'static Class>> {
    if readings.is_empty() {
        return Err(impossible("a uniformity survey", "it has no readings".to_owned()));
    }
    let mut worst_k = 0.0_f64;
    for &reading in readings {
        let t_c = within("a survey reading", si::celsius(reading), "°C", -100.0, 2000.0)?;
        worst_k = worst_k.max(libm::fabs(t_c - si::celsius(set_point)));
    }
    Ok(CLASSES.iter().find(|class| worst_k <= class.tolerance_f / 1.8))
}

/// How many sensors a survey of a work zone needs; `None` beyond the table.
///
/// # Errors
/// A class outside 1 to 6, a volume that is not positive.
pub fn sensors_for(work_zone: Volume, class: u8) -> Result<Option<u8>> {
    within("the uniformity class", f64::from(class), "", 1.0, 6.0)?;
    let ft3 = within("the work zone", work_zone.get::<cubic_foot>(), "ft³", 1e-3, 1e6)?;
    let row = SENSORS.iter().find(|row| ft3 < row.0);
    Ok(row.map(|&(_, tight, wide)| if class <= 2 { tight } else { wide }))
}

const fn class(class: u8, tolerance_f: f64, tolerance_c_printed: f64, accuracy: (f64, f64, f64)) -> Class {
    let (accuracy_f, accuracy_c_printed, accuracy_percent) = accuracy;
    Class { class, tolerance_f, tolerance_c_printed, accuracy_f, accuracy_c_printed, accuracy_percent }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_sensor_decides() {
        let at = |list: &[f64]| {
            let readings: Vec<_> = list.iter().map(|&t| si::from_celsius(t)).collect();
            class_met(si::from_celsius(800.0), &readings).unwrap().map(|class| class.class)
        };
        assert_eq!(at(&[800.0, 802.5, 798.0]), Some(1));
        assert_eq!(at(&[800.0, 808.0]), Some(3));
        assert_eq!(at(&[760.0]), None);
        assert!(class_met(si::from_celsius(800.0), &[]).is_err());
    }
}
