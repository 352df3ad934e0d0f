//! A section that comes to heat together with its furnace, on a ramp.

use super::{CameToHeat, Section, Surroundings, step_on, time_to_within};
use crate::error::{Result, within};
use crate::si;
use uom::si::f64::{TemperatureInterval, ThermodynamicTemperature, Time};

/// The time until the core of a section comes within a band of the heat, where the furnace starts as cold as the section, climbs
/// to that heat and holds it. Counted from the start of the climb.
///
/// The climb is that of [`crate::furnace::Furnace::climb`]: where each of its steps ends, and how long it takes; steps of a kelvin
/// are small beside the peak of the heat capacity, some 10 K wide, that a load must not jump. The load lags behind the walls by
/// radiation and convection; what it still lacks when the climb ends takes as long as in [`super::come_to_heat`].
///
/// # Errors
/// As for [`super::come_to_heat`]; a step that takes a negative time.
pub fn come_to_heat_on_ramp(
    section: Section,
    start: ThermodynamicTemperature,
    furnace: &Surroundings,
    climb: &[(ThermodynamicTemperature, Time)],
    band: TemperatureInterval,
) -> Result<CameToHeat> {
    let section = section.checked()?;
    let furnace_c = furnace.checked()?;
    let start_c = within("the start", si::celsius(start), "°C", -50.0, furnace_c - 1e-3)?;
    let band_k = within("the band", si::difference_k(band), "K", 0.01, furnace_c - start_c)?;
    let target_c = furnace_c - band_k;
    let (mut walls_c, mut load_c, mut time_s) = (start_c, start_c, 0.0);
    for &(end, step) in climb {
        let end_c = si::celsius(end);
        let walls = Surroundings { temperature: si::from_celsius((walls_c + end_c) / 2.0), ..*furnace };
        let next_c = si::celsius(step_on(section, si::from_celsius(load_c), &walls, step)?);
        walls_c = end_c;
        if next_c >= target_c {
            time_s += step.value * (target_c - load_c) / (next_c - load_c);
            load_c = target_c;
            break;
        }
        (load_c, time_s) = (next_c, time_s + step.value);
    }
    let rest = time_to_within(section, load_c, furnace, furnace_c, band_k)?;
    let after = |rest_s: f64| si::seconds(time_s + rest_s);
    Ok(CameToHeat { time: after(rest.time.value), lumped: after(rest.lumped.value), ..rest })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constants::{SIGMA, STEEL_KG_M3};
    use crate::heating::{Surface, come_to_heat};
    use crate::{thermal, units};

    /// From 20 to 800 °C by steps of a kelvin.
    fn even(rate: &str) -> Vec<(ThermodynamicTemperature, Time)> {
        let step = si::seconds(1.0 / units::ramp(rate).unwrap().kelvin_per_second());
        (21..=800_u32).map(|end_c| (si::from_celsius(f64::from(end_c)), step)).collect()
    }

    fn took(size: &str, surface: Surface, rate: &str) -> f64 {
        let furnace = Surroundings::furnace(si::from_celsius(800.0), surface);
        let plate = Section::plate(units::length(size).unwrap()).unwrap();
        come_to_heat_on_ramp(plate, si::from_celsius(20.0), &furnace, &even(rate), si::difference(5.0)).unwrap().time.value
    }

    /// The same by the textbook's fourth-order steps of half a second, walls and load together, written here a second time.
    fn integrated(thickness_m: f64, emissivity: f64, rate_k_s: f64) -> f64 {
        let pull = |t_s: f64, load_c: f64| {
            let (walls_k, load_k) = ((20.0 + rate_k_s * t_s).min(800.0) + 273.15, load_c + 273.15);
            let flux = emissivity * SIGMA * (libm::pow(walls_k, 4.0) - libm::pow(load_k, 4.0)) + 10.0 * (walls_k - load_k);
            flux / (STEEL_KG_M3 * thickness_m / 2.0 * thermal::heat_j_kg_k(load_c))
        };
        let (mut t_s, mut load_c, h) = (0.0, 20.0, 0.5);
        while load_c < 795.0 {
            let one = pull(t_s, load_c);
            let two = pull(t_s + h / 2.0, load_c + one * h / 2.0);
            let three = pull(t_s + h / 2.0, load_c + two * h / 2.0);
            let four = pull(t_s + h, load_c + three * h);
            load_c += h / 6.0 * (one + 2.0 * two + 2.0 * three + four);
            t_s += h;
        }
        t_s
    }

    #[test]
    fn a_ramp_agrees_with_an_integration() {
        for (size, thickness_m, rate, rate_k_s) in
            [("3 mm", 0.003, "6 K/min", 0.1), ("3 mm", 0.003, "30 K/min", 0.5), ("10 mm", 0.010, "15 K/min", 0.25)]
        {
            for (surface, emissivity) in [(Surface::Bright, 0.3), (Surface::Scaled, 0.8)] {
                let furnace = Surroundings::furnace(si::from_celsius(800.0), surface);
                let plate = Section::plate(units::length(size).unwrap()).unwrap();
                let (start, climb) = (si::from_celsius(20.0), even(rate));
                let ours = come_to_heat_on_ramp(plate, start, &furnace, &climb, si::difference(5.0)).unwrap();
                let theirs = integrated(thickness_m, emissivity, rate_k_s);
                assert!((ours.lumped.value / theirs - 1.0).abs() < 5e-3, "{size} {rate}: {} {theirs}", ours.lumped.value);
            }
        }
    }

    #[test]
    fn a_load_is_never_at_heat_before_the_ramp_nor_before_a_furnace_that_is_there() {
        let furnace = Surroundings::furnace(si::from_celsius(800.0), Surface::Bright);
        let plate = Section::plate(units::length("12 mm").unwrap()).unwrap();
        let hot = come_to_heat(plate, si::from_celsius(20.0), &furnace, si::difference(5.0)).unwrap().time.value;
        // 775 K at 6 K/min are 129.2 min, to within the band.
        let slow = took("12 mm", Surface::Bright, "6 K/min");
        assert!(slow > 775.0 / 0.1 && slow > hot, "{slow}");
        let fast = took("12 mm", Surface::Bright, "100 K/min");
        assert!(fast > hot && fast < hot + 780.0 / (100.0 / 60.0), "{fast} beside {hot}");
        assert!(took("12 mm", Surface::Bright, "3 K/min") > slow && took("24 mm", Surface::Bright, "6 K/min") > slow);
    }

    #[test]
    fn a_climb_back_in_time_is_refused() {
        let furnace = Surroundings::furnace(si::from_celsius(800.0), Surface::Bright);
        let plate = Section::plate(units::length("3 mm").unwrap()).unwrap();
        let back = [(si::from_celsius(21.0), si::seconds(-1.0))];
        let refused = come_to_heat_on_ramp(plate, si::from_celsius(20.0), &furnace, &back, si::difference(5.0)).unwrap_err();
        assert!(refused.to_string().contains("the time is -1 s"), "{refused}");
    }
}
