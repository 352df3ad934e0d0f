//! "What does this temper give, and what is it worth elsewhere?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::gas::SteelKind;
use crate::note::Note;
use crate::si;
use crate::steel::{Steel, hottest};
use crate::tempering::{HOTTEST_C, Temper, USUAL_C, equivalent_temperature, parameter, together};
use crate::units::{self, System};
use uom::si::f64::{ThermodynamicTemperature, Time};

/// Some tempers, one after another.
#[derive(Debug, Clone, PartialEq)]
pub struct TemperQuestion {
    /// The tempers.
    pub tempers: Vec<Temper>,
    /// The steel, if its hardness is wanted.
    pub steel: Option<&'static Steel>,
    /// Another time that it is to be done in, if wanted.
    pub instead: Option<Time>,
}

/// Answers the question.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on; no temper at all.
pub fn temper(question: &TemperQuestion, system: System) -> Result<Answer> {
    let tempers = &question.tempers;
    let hottest = hottest(tempers);
    let one = together(tempers, hottest, USUAL_C)?;
    let mut answer = Answer::new(in_words(tempers, system));
    let mut write = Writer::new(&mut answer, system);
    write.number(
        "parameter",
        "tempering parameter in thousands, all together",
        parameter(one, USUAL_C)?,
        5,
        "Hollomon and Jaffe, C = 20, kelvin and hours",
    );
    if tempers.iter().all(|temper| temper.temperature == hottest) {
        write.time("together_s", "as one temper", one.time, "times at one temperature add");
    } else {
        let label = format!("as one temper at {}", units::show_temperature(hottest, system));
        write.time("together_s", &label, one.time, "equal parameter, and times at one temperature add");
    }
    if let Some(instead) = question.instead {
        let t = equivalent_temperature(one, instead, USUAL_C)?;
        write.temperature("instead_c", &format!("the same in {}", units::show_time(instead)), t, "equal parameter");
        answer.take(austenite(t, question.steel, system));
    }
    if let Some(steel) = question.steel {
        hardness(&mut answer, question, steel, one, system)?;
    }
    answer.take([
        Note::basis("the parameter trades time for temperature on a falling curve; it says nothing of secondary hardening"),
        Note::basis("a second temper also tempers what the first one turned to martensite: do not skip it"),
    ]);
    Ok(answer)
}

/// Tempers in words: how many of a kind, or each.
pub(super) fn in_words(tempers: &[Temper], system: System) -> String {
    let one =
        |temper: &Temper| format!("{} at {}", units::show_time(temper.time), units::show_temperature(temper.temperature, system));
    match tempers {
        [first, rest @ ..] if rest.iter().all(|temper| temper == first) => format!("{} × {}", tempers.len(), one(first)),
        _ => tempers.iter().map(one).collect::<Vec<_>>().join(", then "),
    }
}

/// The hardness of the curve, and what speaks against it: another time, another count, a second rise of hardness.
fn hardness(answer: &mut Answer, question: &TemperQuestion, steel: &Steel, one: Temper, system: System) -> Result<()> {
    let temperature = one.temperature;
    let shown = |t_c: f64| units::show_temperature(si::from_celsius(t_c), system);
    let ends_c = steel.tempering.last().map_or(0.0, |point| point.temper_c);
    let mut write = Writer::new(answer, system);
    match steel.hardness_after(temperature) {
        Ok(hrc) => write.number("hardness_hrc", "hardness to expect, HRC", hrc, 3, steel.tempering_basis(temperature)),
        Err(_) if si::celsius(temperature) > ends_c => answer.warn(format!(
            "no hardness is told: the table's tempering curve of {} ends at {}, and there is no source beyond",
            steel.grade,
            shown(ends_c)
        )),
        Err(error) => return Err(error),
    }
    let rises_again = steel.kind == SteelKind::HighAlloy && si::celsius(temperature) >= RISES_AGAIN_C;
    let hours = one.time.value / 3600.0;
    if !(CURVE_HOURS.0..=CURVE_HOURS.1).contains(&hours) {
        let usual = si::seconds(7200.0);
        let alike = equivalent_temperature(one, usual, USUAL_C)?;
        if let (false, Ok(hrc)) = (rises_again, steel.hardness_after(alike)) {
            let mut write = Writer::new(answer, system);
            write.number("hardness_by_parameter_hrc", "the same by the tempering parameter, HRC", hrc, 3, "falling curve");
        }
        answer.warn(format!(
            "the hardness of the curve is taken to hold for 1 to 4 h in all (common practice, no source); {} in all is like {} at {}",
            units::show_time(one.time),
            units::show_time(usual),
            units::show_temperature(alike, system)
        ));
        answer.take(austenite(alike, steel.into(), system));
    }
    if steel.tempering_note.contains("double temper") && question.tempers.len() != 2 {
        answer.warn(format!("the curve of {} is that of a double temper", steel.grade));
    }
    if rises_again {
        answer.take([Note::outside(format!(
            "{} hardens again from about {} up: the tempering parameter and equal tempers do not hold there",
            steel.grade,
            shown(RISES_AGAIN_C)
        ))]);
    }
    let t_c = si::celsius(temperature);
    if t_c < steel.temper_c.least - 0.5 || t_c > steel.temper_c.most + 0.5 {
        answer.warn(format!(
            "outside the usual tempering range of {}: {} to {}",
            steel.grade,
            shown(steel.temper_c.least),
            shown(steel.temper_c.most)
        ));
    }
    Ok(())
}

/// What speaks against a temperature of equal parameter: above Ac1 steel is hardened anew, not tempered.
fn austenite(t: ThermodynamicTemperature, steel: Option<&Steel>, system: System) -> Option<Note> {
    let hottest = si::from_celsius(HOTTEST_C);
    let ac1 = steel.and_then(|steel| steel.composition.critical().ok()).map_or(hottest, |critical| critical.ac1);
    let most = if ac1 < hottest { ac1 } else { hottest };
    let [at, limit] = [t, most].map(|t| units::show_temperature(t, system));
    (t > most)
        .then(|| Note::outside(format!("{at} is no temper: above {limit} austenite forms, and the parameter does not hold")))
}

/// The hours, all tempers together, that the tables' curves are taken to hold for: common practice; the sheets do not say.
const CURVE_HOURS: (f64, f64) = (0.99, 4.01);
/// Where carbides of chromium, molybdenum and tungsten begin to harden high-alloy steel again: handbook matter, from memory.
const RISES_AGAIN_C: f64 = 425.0;
