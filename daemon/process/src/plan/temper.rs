//! "What does this temper give, and what is it worth elsewhere?"

use super::{Answer, Writer};
use crate::error::Result;
use crate::note::Note;
use crate::si;
use crate::steel::Steel;
use crate::tempering::{Temper, USUAL_C, equivalent_temperature, parameter, together};
use crate::units::{self, System};
use uom::si::f64::Time;

/// A temper, repeated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperQuestion {
    /// The temper.
    pub temper: Temper,
    /// How many times.
    pub times: u32,
    /// The steel, if its hardness is wanted.
    pub steel: Option<&'static Steel>,
    /// Another time that it is to be done in, if wanted.
    pub instead: Option<Time>,
}

/// Answers the question.
///
/// # Errors
/// Values outside the ranges of the functions that it stands on.
pub fn temper(question: &TemperQuestion, system: System) -> Result<Answer> {
    let Temper { temperature, time } = question.temper;
    let times = question.times.max(1);
    let tempers = vec![question.temper; times as usize];
    let one = together(&tempers, temperature, USUAL_C)?;
    let mut answer =
        Answer::new(format!("{times} × {} at {}", units::show_time(time), units::show_temperature(temperature, system)));
    let mut write = Writer::new(&mut answer, system);
    write.number("parameter", "tempering parameter, all together", parameter(one, USUAL_C)?, 5, "Hollomon and Jaffe, C = 20");
    write.time("together_s", "as one temper", one.time, "times at one temperature add");
    if let Some(instead) = question.instead {
        let t = equivalent_temperature(one, instead, USUAL_C)?;
        write.temperature("instead_c", &format!("the same in {}", units::show_time(instead)), t, "equal parameter");
    }
    if let Some(steel) = question.steel {
        write.number("hardness_hrc", "hardness to expect, HRC", steel.hardness_after(temperature)?, 3, steel.tempering_note);
        let t_c = si::celsius(temperature);
        if t_c < steel.temper_c.0 - 0.5 || t_c > steel.temper_c.1 + 0.5 {
            answer.warn(format!(
                "outside the usual tempering range of {}: {} to {} °C",
                steel.grade, steel.temper_c.0, steel.temper_c.1
            ));
        }
    }
    answer.take([
        Note::basis("the parameter trades time for temperature on a falling curve; it says nothing of secondary hardening"),
        Note::basis("a second temper also tempers what the first one turned to martensite: do not skip it"),
    ]);
    Ok(answer)
}
