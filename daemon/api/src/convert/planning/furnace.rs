//! The furnace itself: what is left once its heat was cut, and what it loses and holds by its record.

use hearthward_process::chamber::Chamber;
use hearthward_process::flow::Reference;
use hearthward_process::furnace::{Furnace, Reading};
use hearthward_process::note::Note;
use hearthward_process::oxide::SCALING_ENDS_C;
use hearthward_process::plan;
use hearthward_process::plan::{Answer, FurnaceQuestion, InterruptedQuestion};
use hearthward_proto::v1;

use super::asked::{
    Asked, CELSIUS, KELVIN_A_MINUTE, LITRES, LITRES_A_MINUTE, MINUTES, PERCENT, PPM, READINGS, Result, SQUARE_CENTIMETRES,
    Unplanned, WATTS,
};
use super::quench::STILL_QUENCHABLE_C;
use super::steel::{self, CARBON_PERCENT, HEAT_C, a_minute};

/// Answers [`v1::PlanInterruptedRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn interrupted(request: &v1::PlanInterruptedRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let question = interrupted_question(&mut asked, request)?;
    let answer = plan::interrupted(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// Answers [`v1::PlanFurnaceRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn furnace(request: &v1::PlanFurnaceRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    if request.readings.len() > READINGS {
        let why = format!("are {}; at most {READINGS} are looked at", request.readings.len());
        return Err(Unplanned::field("readings", why));
    }
    let room = asked.room(request.room_c)?;
    let mut before = None;
    let read = |(place, reading): (usize, &v1::PlanFurnaceReading)| {
        let field = |name: &str| format!("readings[{place}].{name}");
        let time = asked.must(&MINUTES, &field("time_min"), Some(reading.time_min), (0.0, 1e4))?;
        if before.replace(time).is_some_and(|before| time <= before) {
            return Err(Unplanned::field(field("time_min"), "must be later than that of the reading before"));
        }
        Ok(Reading {
            time,
            power: asked.must(&WATTS, &field("power_w"), Some(reading.power_w), (0.0, 1e7))?,
            chamber: asked.must(&CELSIUS, &field("chamber_c"), Some(reading.chamber_c), (-30.0, 1300.0))?,
        })
    };
    let record = request.readings.iter().enumerate().map(read).collect::<Result<Vec<_>>>()?;
    let question = FurnaceQuestion { record, room };
    let answer = plan::furnace(&question, asked.system).map_err(|error| Unplanned::of("readings", &error))?;
    Ok(asked.said(answer))
}

fn interrupted_question(asked: &mut Asked, request: &v1::PlanInterruptedRequest) -> Result<InterruptedQuestion> {
    let volume = asked.need(&LITRES, "chamber_l", request.chamber_l, (0.01, 1e5))?;
    let now = asked.need(&CELSIUS, "now_c", request.now_c, (100.0, HEAT_C.1))?;
    let holding = asked.need(&WATTS, "holding_w", request.holding_w, (1.0, 1e7))?;
    let falls = asked.need(&KELVIN_A_MINUTE, "falls_k_min", request.falls_k_min, (0.01, 500.0))?;
    let room = asked.room(request.room_c)?;
    let ends = (request.scaling_ends_c, SCALING_ENDS_C);
    let limit = (request.limit_c, STILL_QUENCHABLE_C);
    let steel = steel::named(&request.steel)?;
    // The load is as hot as it is, so that a heat that would be refused of a plan is cautioned of here.
    if let Some(steel) = steel.filter(|steel| request.now_c > steel.austenitize_c.most) {
        let judged = steel.judged(now, asked.system).unwrap_or_else(|error| Some(Note::caution(error.to_string())));
        judged.into_iter().for_each(|note| asked.warn(note));
    }
    let carbon = steel.map(|steel| steel.composition.carbon);
    let reference = Reference::TWENTY_ONE;
    let flow = asked.or(&LITRES_A_MINUTE, "hold_l_min", (request.hold_l_min, 0.0), (0.0, 1e4), "the flow while it cools")?;
    let oxygen = asked.or(&PPM, "gas_oxygen_ppm", (request.gas_oxygen_ppm, 10.0), (0.0, 1e6), "oxygen in the gas")?;
    let leak = asked.or(&LITRES_A_MINUTE, "leak_l_min", (request.leak_l_min, 0.0), (0.0, 1e4), "air that leaks in")?;
    let surface = asked.need(&SQUARE_CENTIMETRES, "surface_cm2", request.surface_cm2, (0.1, 1e6))?;
    asked.take("a tight chamber; the pores of brick or fibre hold air that comes to the steel too");
    let carbon = asked.or(&PERCENT, "steel", (carbon, 0.8), CARBON_PERCENT, "carbon of the steel")?;
    Ok(InterruptedQuestion {
        furnace: Furnace::of_holding(holding, a_minute(falls), now, room).map_err(|error| Unplanned::of("holding_w", &error))?,
        chamber: Chamber::tight(volume).map_err(|error| Unplanned::of("chamber_l", &error))?,
        now,
        limit: asked.or(&CELSIUS, "limit_c", limit, (60.0, HEAT_C.1), "the steel may be quenched down from")?,
        scaling_ends: asked.or(&CELSIUS, "scaling_ends_c", ends, (SCALING_ENDS_C, 700.0), "scaling ends at")?,
        flow: reference.amount_flow(flow),
        gas_oxygen: oxygen,
        leak: reference.amount_flow(leak),
        surface,
        carbon,
        reference,
    })
}
