//! Loss, capacity and lag of a furnace from a recorded heat-up.
//!
//! The record is simulated with `Q T'' + S T' + U (T - T_room) = P`, exactly from reading to reading, and the three numbers
//! are fitted to the readings by least squares. From chamber temperature and power alone, nothing more can be told.

use crate::error::{Result, impossible, within};
use crate::fit::least_squares;
use crate::note::Note;
use crate::si;
use uom::si::f64::{HeatCapacity, Power, Ratio, TemperatureInterval, ThermalConductance, ThermodynamicTemperature, Time};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::thermal_conductance::watt_per_kelvin;

/// One reading of the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Since the start.
    pub time: Time,
    /// The power from this reading to the next.
    pub power: Power,
    /// The chamber.
    pub chamber: ThermodynamicTemperature,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Identified {
    /// The loss per kelvin over the room.
    pub loss: ThermalConductance,
    /// The heat held per kelvin of the chamber.
    pub capacity: HeatCapacity,
    /// The lag `Q`, in joule seconds per kelvin.
    pub lag_j_s_k: f64,
    /// Standard errors of the three, as shares of them.
    pub errors: [Ratio; 3],
    /// The fast time constant: how long the heater leads the chamber.
    pub fast: Time,
    /// The slow time constant: how the furnace cools.
    pub slow: Time,
    /// Root mean square of what the model leaves unexplained.
    pub scatter: TemperatureInterval,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

/// Identifies a furnace from a record that starts at rest.
///
/// A first reading within 5 K of the room is taken as the room: its own scatter would weigh on every later one.
///
/// The best record heats at full power, holds at part power and cools: from a heat-up alone the loss is hardly seen.
///
/// # Errors
/// Fewer than 20 readings, times that do not rise, no heating, a fit that finds no bottom.
pub fn identify(record: &[Reading], room: ThermodynamicTemperature) -> Result<Identified> {
    within("the number of readings", record.len() as f64, "", 20.0, 1e6)?;
    let room_c = within("the room's temperature", si::celsius(room), "°C", -30.0, 60.0)?;
    if record.windows(2).any(|pair| pair[1].time <= pair[0].time) {
        return Err(impossible("identifying a furnace", "the times of the record do not rise".to_owned()));
    }
    let over: Vec<f64> = record.iter().map(|reading| si::celsius(reading.chamber) - room_c).collect();
    let first_k = if libm::fabs(over[0]) < COLD_K { 0.0 } else { over[0] };
    let (loss, capacity) = guess(record, &over)?;
    let start = [loss, capacity, capacity * FAST_GUESS_S];
    let fit =
        least_squares(start, |&parameters| simulate(record, first_k, parameters).zip(&over).map(|(t, seen)| t - seen).collect())
            .filter(|fit| fit.settled)
            .ok_or_else(|| impossible("identifying a furnace", "no loss and capacity explain the record".to_owned()))?;
    let [u, s, q] = fit.values;
    let (fast_rate, slow_rate) = rates(u, s, q);
    let mut notes = vec![
        Note::basis("linear furnace with one lag; holds near the temperatures of the record, since radiation is not linear"),
        Note::basis("heater, lining and their coupling cannot be told apart from chamber temperature and power"),
    ];
    if fit.relative_errors.iter().any(|error| *error > 0.1) {
        notes.push(Note::outside("the record hardly shows one of the numbers: hold at part power and let it cool as well"));
    }
    Ok(Identified {
        loss: ThermalConductance::new::<watt_per_kelvin>(u),
        capacity: HeatCapacity::new::<joule_per_kelvin>(s),
        lag_j_s_k: q,
        errors: fit.relative_errors.map(si::fraction),
        fast: si::seconds(1.0 / fast_rate),
        slow: si::seconds(1.0 / slow_rate),
        scatter: si::difference(fit.rms),
        notes,
    })
}

/// A furnace this close to the room has been off for long.
const COLD_K: f64 = 5.0;
/// A usual lag of a small furnace, to start the fit from.
const FAST_GUESS_S: f64 = 60.0;

/// Loss and capacity from the heat balance without lag, a straight least-squares problem: the start of the fit.
fn guess(record: &[Reading], over: &[f64]) -> Result<(f64, f64)> {
    let (mut energy, mut degree_seconds) = (0.0, 0.0);
    let (mut aa, mut ab, mut bb, mut ae, mut be) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, pair) in record.windows(2).enumerate() {
        let step_s = pair[1].time.value - pair[0].time.value;
        energy += pair[0].power.value * step_s;
        degree_seconds += (over[i] + over[i + 1]) / 2.0 * step_s;
        let rise = over[i + 1] - over[0];
        aa += degree_seconds * degree_seconds;
        ab += degree_seconds * rise;
        bb += rise * rise;
        ae += degree_seconds * energy;
        be += rise * energy;
    }
    let determinant = aa * bb - ab * ab;
    let (loss, capacity) = ((ae * bb - be * ab) / determinant, (be * aa - ae * ab) / determinant);
    if !(loss.is_finite() && capacity.is_finite() && capacity > 0.0) {
        return Err(impossible("identifying a furnace", "the record shows no heating".to_owned()));
    }
    Ok((loss.max(capacity * 1e-6), capacity))
}

/// The chamber over the room at each reading, exact for steps of power.
fn simulate(record: &[Reading], first_k: f64, [u, s, q]: [f64; 3]) -> impl Iterator<Item = f64> {
    let (fast, slow) = rates(u, s, q);
    let (mut over, mut slope) = (first_k, 0.0);
    let steps = record.windows(2).map(move |pair| {
        let step_s = pair[1].time.value - pair[0].time.value;
        let settled = pair[0].power.value / u;
        let off = over - settled;
        // The two modes a e^(-slow t) + b e^(-fast t) that have this value and slope.
        let b = (slope + slow * off) / (slow - fast);
        let a = off - b;
        let (a, b) = (a * libm::exp(-slow * step_s), b * libm::exp(-fast * step_s));
        (over, slope) = (settled + a + b, -slow * a - fast * b);
        over
    });
    core::iter::once(first_k).chain(steps)
}

/// The fast and the slow rate. Heater and chamber in a row never swing, so a fit that strays there is held at the edge.
fn rates(u: f64, s: f64, q: f64) -> (f64, f64) {
    let root = libm::sqrt((s * s - 4.0 * u * q).max(1e-6 * s * s));
    let fast = (s + root) / (2.0 * q);
    (fast, u / (q * fast))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECORD: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/identification.csv"));

    /// The record of the table is the exact solution of the two nodes, by a matrix exponential; it is printed to six digits.
    #[test]
    fn the_forward_run_is_the_record() {
        // Heater, chamber, coupling and loss of `identification_truth.csv`; S = C1 + C2 (1 + U/K), Q = C1 C2 / K.
        for (name, c1, c2, k, u) in [
            ("A medium brick", 6500.0, 1200.0, 25.0, 0.9),
            ("B light fibre", 2200.0, 500.0, 15.0, 1.1),
            ("C heavy brick", 22_000.0, 4500.0, 60.0, 2.2),
        ] {
            let rows: Vec<Vec<&str>> =
                RECORD.lines().filter(|line| line.starts_with(name)).map(|line| line.split(',').collect()).collect();
            let number = |row: &[&str], at: usize| row[at].parse::<f64>().unwrap();
            let record: Vec<Reading> = rows
                .iter()
                .map(|row| Reading {
                    time: si::seconds(number(row, 1)),
                    power: Power::new::<uom::si::power::watt>(number(row, 2)),
                    chamber: si::from_celsius(number(row, 4)),
                })
                .collect();
            let mut compared = 0;
            for (over_k, row) in simulate(&record, 0.0, [u, c1 + c2 * (1.0 + u / k), c1 * c2 / k]).zip(&rows) {
                let decimals = row[4].split_once('.').map_or(0, |(_, part)| part.len()) as i32;
                let printed = libm::pow(10.0, -f64::from(decimals)) / 2.0;
                let ours_c = over_k + 25.0;
                assert!((ours_c - number(row, 4)).abs() <= printed + 1e-6, "{name} at {} s: {ours_c}, not {}", row[1], row[4]);
                compared += 1;
            }
            assert!(compared > 20, "{name}: {compared}");
        }
    }
}
