//! A cylinder in use: how long it lasts, whether it reaches the end, and whether it leaked while nobody looked.

use super::Cylinder;
use crate::error::{Result, within};
use crate::note::Note;
use crate::span::Span;
use crate::{AmountFlow, si};
use uom::si::f64::{AmountOfSubstance, Pressure, ThermodynamicTemperature, Time};

/// One stretch of a cycle that draws gas; the amounts of several furnaces on one supply simply add.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draw {
    /// The flow.
    pub flow: AmountFlow,
    /// For how long.
    pub time: Time,
}

/// Whether a supply reaches the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Even at the low end of the gauge's error the gas and the reserve are there.
    Surely,
    /// It depends on where in its error the gauge stands.
    Perhaps,
    /// Even at the high end of the gauge's error it is not enough.
    No,
}

/// A forecast to the end of a cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// What the draws and the reserve need together.
    pub needed: AmountOfSubstance,
    /// What can be drawn, at the gauge reading.
    pub usable: AmountOfSubstance,
    /// The same at the two ends of the gauge's error.
    pub usable_band: Span<AmountOfSubstance>,
    /// The verdict.
    pub reach: Reach,
    /// The gauge after the draws, before the reserve; `None` if the cylinder is empty before. It may lie below the gauge at which the
    /// cylinder is changed.
    pub gauge_after: Option<Pressure>,
    /// How long the gas lasts if the draws run one after the other, to where it ends.
    pub ends_after: Option<Time>,
    /// What the forecast rests on.
    pub notes: Vec<Note>,
}

/// The comparison of two gauge readings with everything shut.
#[derive(Debug, Clone, PartialEq)]
pub struct Overnight {
    /// What is missing, corrected for temperature; negative if the second reading shows more.
    pub lost: AmountOfSubstance,
    /// Half the width of the band that the gauge's error puts on `lost`.
    pub uncertainty: AmountOfSubstance,
    /// The mean leak.
    pub rate: AmountFlow,
    /// The gauge that the second temperature alone would have shown.
    pub expected_gauge: Pressure,
    /// Whether the loss is larger than the error of the readings.
    pub leaks: bool,
}

/// The amount of gas that draws take together.
pub fn amount_drawn(draws: &[Draw]) -> AmountOfSubstance {
    si::moles(draws.iter().map(|draw| draw.flow.value * draw.time.value).sum())
}

/// How long an amount lasts at one flow; `None` at no flow.
pub fn lasts(amount: AmountOfSubstance, flow: AmountFlow) -> Option<Time> {
    (flow.value > 0.0).then(|| si::seconds(amount.value / flow.value))
}

/// Forecasts whether a cylinder reaches the end of its draws and still holds a reserve.
///
/// `leave` is the gauge pressure at which it is changed; `gauge_error` the largest error of the gauge either way (a class
/// 2.5 gauge of 300 bar may be 7.5 bar off). The reserve should cool an abandoned load below scaling: its holding flow
/// times its cooling time.
///
/// # Errors
/// Values outside the ranges of [`Cylinder::contents`], a negative reserve, a draw of a negative flow or time.
pub fn forecast(
    cylinder: &Cylinder,
    gauge: Pressure,
    gauge_error: Pressure,
    temperature: ThermodynamicTemperature,
    leave: Pressure,
    draws: &[Draw],
    reserve: AmountOfSubstance,
) -> Result<Forecast> {
    for draw in draws {
        within("the flow of a draw", draw.flow.value, "mol/s", 0.0, 1e3)?;
        within("the time of a draw", draw.time.value / 60.0, "min", 0.0, 1e6)?;
    }
    within("the reserve", reserve.value, "mol", 0.0, 1e6)?;
    within("the error of the gauge", gauge_error.value / 1e5, "bar", 0.0, 100.0)?;
    let (held, left) = (cylinder.amount(gauge, temperature)?, cylinder.amount(leave, temperature)?);
    let over = |amount: AmountOfSubstance| si::moles((amount.value - left.value).max(0.0));
    let usable_at = |bias_pa: f64| {
        let pressure_pa = (gauge.value + bias_pa).clamp(0.0, 300e5);
        cylinder.amount(si::pascals(pressure_pa), temperature).map(over)
    };
    let usable = over(held);
    let band = Span { least: usable_at(-gauge_error.value)?, most: usable_at(gauge_error.value)? };
    let drawn = amount_drawn(draws);
    let needed = drawn + reserve;
    let reach = if band.least >= needed {
        Reach::Surely
    } else if band.most >= needed {
        Reach::Perhaps
    } else {
        Reach::No
    };
    let left_mol = held.value - drawn.value;
    let gauge_after = if left_mol > 0.0 { cylinder.gauge(si::moles(left_mol), temperature).ok() } else { None };
    let mut notes = vec![Note::basis(
        "real-gas equation of state at the cylinder's temperature; the gas that is drawn is taken not to cool it",
    )];
    if reach != Reach::Surely {
        notes.push(Note::caution("the gas may run out under hot steel; change the cylinder first, or shorten the cycle"));
    }
    Ok(Forecast { needed, usable, usable_band: band, reach, gauge_after, ends_after: runs_out(usable, draws), notes })
}

/// Compares an evening and a morning reading with all valves shut.
///
/// A cylinder that cools by 10 K loses some 8 bar of 165 without losing gas: contents are compared, not pressures. The
/// error of the gauge counts in both readings.
///
/// # Errors
/// Values outside the ranges of [`Cylinder::contents`], no time between the readings.
pub fn overnight(
    cylinder: &Cylinder,
    evening: (Pressure, ThermodynamicTemperature),
    morning: (Pressure, ThermodynamicTemperature),
    gauge_error: Pressure,
    time: Time,
) -> Result<Overnight> {
    let time_s = within("the time between the readings", time.value / 3600.0, "h", 1e-3, 10_000.0)? * 3600.0;
    let before = cylinder.amount(evening.0, evening.1)?;
    let lost_mol = before.value - cylinder.amount(morning.0, morning.1)?.value;
    let share = gauge_error.value / (evening.0.value + crate::constants::ATMOSPHERE_PA);
    let uncertainty_mol = 2.0 * share * before.value;
    Ok(Overnight {
        lost: si::moles(lost_mol),
        uncertainty: si::moles(uncertainty_mol),
        rate: si::mole_rate(lost_mol / time_s),
        expected_gauge: cylinder.gauge(before, morning.1)?,
        leaks: lost_mol > uncertainty_mol,
    })
}

/// The time at which draws in a row use an amount up; `None` if they do not.
fn runs_out(usable: AmountOfSubstance, draws: &[Draw]) -> Option<Time> {
    let (mut left_mol, mut passed_s) = (usable.value, 0.0);
    for draw in draws {
        let needs_mol = draw.flow.value * draw.time.value;
        if needs_mol > left_mol {
            return Some(si::seconds(passed_s + left_mol / draw.flow.value));
        }
        left_mol -= needs_mol;
        passed_s += draw.time.value;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flow::Reference;
    use crate::gas::Gas;
    use crate::units;

    fn cylinder() -> Cylinder {
        Cylinder::new(Gas::Argon, units::volume("10 L").unwrap()).unwrap()
    }

    fn draw(flow: &str, time: &str) -> Draw {
        Draw { flow: Reference::TWENTY_ONE.amount_flow(units::flow(flow).unwrap()), time: units::time(time).unwrap() }
    }

    fn ask(gauge: &str, draws: &[Draw]) -> Forecast {
        let bar = |text: &str| units::pressure(text).unwrap();
        forecast(&cylinder(), bar(gauge), bar("5 bar"), units::temperature("18 C").unwrap(), bar("15 bar"), draws, si::moles(0.0))
            .unwrap()
    }

    #[test]
    fn the_error_of_the_gauge_decides_close_calls() {
        let cycle = [draw("8 L/min", "9 min"), draw("2 L/min", "70 min")];
        assert_eq!(ask("165 bar", &cycle).reach, Reach::Surely);
        assert_eq!(ask("35 bar", &cycle).reach, Reach::Perhaps);
        let short = ask("25 bar", &cycle);
        assert_eq!(short.reach, Reach::No);
        assert!(short.ends_after.unwrap() > units::time("9 min").unwrap());
    }

    #[test]
    fn a_draw_that_gives_gas_back_is_refused() {
        let ask = |draw| {
            let bar = |text: &str| units::pressure(text).unwrap();
            let at = units::temperature("18 C").unwrap();
            forecast(&cylinder(), bar("165 bar"), bar("5 bar"), at, bar("15 bar"), &[draw], si::moles(0.0))
                .unwrap_err()
                .to_string()
        };
        let time = si::seconds(60.0);
        assert!(ask(Draw { flow: si::mole_rate(-1.0), time }).contains("the flow of a draw is -1 mol/s"));
        assert!(ask(Draw { flow: si::mole_rate(1.0), time: -time }).contains("the time of a draw is -1 min"));
    }

    #[test]
    fn a_cold_night_is_not_a_leak() {
        let warm = (units::pressure("165 bar").unwrap(), units::temperature("18 C").unwrap());
        let held = cylinder().contents(warm.0, warm.1).unwrap().amount;
        let cold = units::temperature("8 C").unwrap();
        let morning = (cylinder().gauge(held, cold).unwrap(), cold);
        let compared =
            overnight(&cylinder(), warm, morning, units::pressure("1 bar").unwrap(), units::time("14 h").unwrap()).unwrap();
        assert!(!compared.leaks && compared.lost.value.abs() < 1e-6);
    }
}
