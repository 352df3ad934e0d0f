//! A whole load.

use hearthward_process::flow::Reference;
use hearthward_process::oxide::SCALING_ENDS_C;
use hearthward_process::plan::{Answer, CycleQuestion, GasSide, QuenchSide, RampWish};
use hearthward_process::steel::{Own, Steel, Wish};
use hearthward_process::{plan, units};
use hearthward_proto::v1;
use uom::si::f64::{ThermodynamicTemperature, Time};
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::volume_rate::liter_per_minute;

use super::asked::{Asked, CELSIUS, HRC, MINUTES, Result, Unplanned};
use super::recipe::Names;
use super::{gas, quench, recipe, steel};

/// A whole load, answered.
#[derive(Debug)]
pub struct Load {
    /// The proposed cycle first, then its parts.
    pub answers: Vec<Answer>,
    /// The recipe, where one was asked for.
    pub recipe: Option<String>,
}

/// Answers [`v1::PlanCycleRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken, or with why the gas is refused.
pub fn cycle(request: &v1::PlanCycleRequest) -> Result<Load> {
    let mut asked = Asked::new(request.units());
    let missing = || Unplanned::field("steel", "must be given, such as O1 or 1095");
    let steel = steel::named(&request.steel)?.ok_or_else(missing)?;
    let section = steel::section(&mut asked, request.section.as_ref())?;
    let hardness_hrc = asked.may(&HRC, "hardness_hrc", request.hardness_hrc, steel::HARDNESS_HRC)?;
    if let Some(hrc) = hardness_hrc {
        steel::tempered(steel, hrc)?;
    }
    let room = asked.room(request.room_c)?;
    let own = own(&mut asked, request, steel)?;
    let heat = own.heat.unwrap_or_else(|| steel.usual_heat());
    let wish = Wish {
        steel,
        section,
        protected: request.protected || request.purge.is_some(),
        hardness_hrc,
        oil: quench::said_speed(request.oil()),
        room,
        own,
    };
    let names = request.recipe.as_ref().map(Names::read).transpose()?;
    let heat_c = heat.get::<degree_celsius>();
    let gas = gas_side(&mut asked, request, heat_c)?;
    let ramp = request.ramp.as_ref().map(|ramp| held(ramp, request, gas.as_ref()));
    let ramp = ramp.map(|ramp| steel::ramp(&mut asked, &ramp, heat, room)).transpose()?;
    let question = CycleQuestion {
        wish,
        gas,
        quench: quench_side(&mut asked, request, heat_c)?,
        ramp,
        // Without a cylinder nothing is kept in reserve.
        cooling: match &request.cylinder {
            Some(_) => cooling(&mut asked, request.cooling_min, ramp.as_ref(), heat)?,
            None => match asked.may(&MINUTES, "cooling_min", request.cooling_min, COOLING_MIN)? {
                Some(_) => {
                    let why = "does nothing without a cylinder, whose reserve it is drawn from: leave it out";
                    return Err(Unplanned::field("cooling_min", why));
                }
                None => Time::default(),
            },
        },
    };
    let (cycle, mut answers) = plan::cycle(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    if let Some(first) = answers.first_mut() {
        *first = asked.said(first.clone());
    }
    let recipe = names.map(|names| recipe::written(&names, request, &question, &cycle, &answers)).transpose()?;
    Ok(Load { answers, recipe })
}

/// The shop's own values.
fn own(asked: &mut Asked, request: &v1::PlanCycleRequest, steel: &'static Steel) -> Result<Own> {
    let heat = asked.may(&CELSIUS, "heat_c", request.heat_c, (50.0, steel::HEAT_C.1))?;
    let hottest = heat.unwrap_or_else(|| steel.usual_heat());
    steel.judged(hottest, asked.system).map_err(|error| Unplanned::of("heat_c", &error))?;
    let preheat = asked.may(&CELSIUS, "preheat_c", request.preheat_c, (50.0, 1200.0))?;
    if let Some(preheat) = preheat.filter(|preheat| *preheat >= hottest) {
        let [preheat, heat] = [preheat, hottest].map(|t| units::show_temperature(t, asked.system));
        return Err(Unplanned::field("preheat_c", format!("is {preheat}; it must stay below the heat of {heat}")));
    }
    if request.hardness_hrc.is_some() && !request.tempers.is_empty() {
        return Err(Unplanned::field("tempers", "contradict hardness_hrc: give one of them"));
    }
    Ok(Own {
        heat,
        soak: asked.may(&MINUTES, "soak_min", request.soak_min, (0.0, 1e4))?,
        preheat,
        tempers: steel::tempers(asked, steel, &request.tempers)?,
    })
}

/// The longest that an abandoned load is taken to cool: a week.
const COOLING_MIN: (f64, f64) = (0.0, 1e4);

/// How long an abandoned load cools: as said, or as the furnace of the ramp falls, or an hour.
fn cooling(asked: &mut Asked, said_min: Option<f64>, ramp: Option<&RampWish>, heat: ThermodynamicTemperature) -> Result<Time> {
    let words = "an abandoned load cools under gas, from the reserve, for";
    let (Some(wish), None) = (ramp, said_min) else {
        return asked.or(&MINUTES, "cooling_min", (said_min, 60.0), COOLING_MIN, words);
    };
    let ends = ThermodynamicTemperature::new::<degree_celsius>(SCALING_ENDS_C);
    let cools = wish.furnace.cools(heat, ends).map_err(|error| Unplanned::of("ramp.falls_k_min", &error))?;
    let [cools_for, down_to] = [units::show_time(cools), units::show_temperature(ends, asked.system)];
    asked.take(format!("{words}: {cools_for}, as this furnace falls to {down_to}, where scaling ends"));
    Ok(cools)
}

/// The ramp with the gas that flows meanwhile: what it says itself, else the flow that holds the purged chamber.
fn held(ramp: &v1::PlanRamp, request: &v1::PlanCycleRequest, gas: Option<&GasSide>) -> v1::PlanRamp {
    let named = request.purge.as_ref().map(|purge| purge.gas.clone()).unwrap_or_default();
    let flow = gas.map(|side| Reference::TWENTY_ONE.volume_flow(side.purge.hold).get::<liter_per_minute>());
    v1::PlanRamp {
        gas: if ramp.gas.is_empty() { named } else { ramp.gas.clone() },
        flow_l_min: ramp.flow_l_min.or(flow),
        ..ramp.clone()
    }
}

fn gas_side(asked: &mut Asked, request: &v1::PlanCycleRequest, heat_c: f64) -> Result<Option<GasSide>> {
    let Some(purge) = &request.purge else {
        if request.cylinder.is_some() {
            return Err(Unplanned::field(
                "purge.flow_l_min",
                "must be given with a cylinder: what is drawn from it is that purge",
            ));
        }
        return Ok(None);
    };
    let (steel, heat_c) = (request.steel.clone(), Some(heat_c));
    let purge = v1::PlanPurgeRequest { heat_c, steel, room_c: purge.room_c.or(request.room_c), ..purge.clone() };
    let question = gas::purge_question(asked, &purge).map_err(|why| why.within("purge"))?;
    let cylinder = match &request.cylinder {
        Some(cylinder) if cylinder.draws_in_turn => {
            let why = "is not said within a whole load: its own draws come one after another, and those of others beside it";
            return Err(Unplanned::field("cylinder.draws_in_turn", why));
        }
        Some(cylinder) => {
            let cylinder = v1::PlanCylinderRequest { room_c: cylinder.room_c.or(request.room_c), ..cylinder.clone() };
            Some(gas::cylinder_question(asked, &cylinder).map_err(|why| why.within("cylinder"))?)
        }
        None => None,
    };
    Ok(Some(GasSide { purge: question, cylinder }))
}

fn quench_side(asked: &mut Asked, request: &v1::PlanCycleRequest, heat_c: f64) -> Result<Option<QuenchSide>> {
    let (transfer, bath) = match (&request.transfer, &request.bath) {
        (Some(transfer), Some(bath)) => (transfer, bath),
        (None, None) => return Ok(None),
        (Some(_), None) => return Err(Unplanned::field("bath.volume_l", "must be given with the way to it")),
        (None, Some(_)) => return Err(Unplanned::field("transfer.time_s", "must be given with the bath")),
    };
    let (steel, section, heat_c) = (request.steel.clone(), request.section, Some(heat_c));
    let room_c = transfer.room_c.or(request.room_c);
    let transfer = v1::PlanTransferRequest { steel: steel.clone(), section, heat_c, room_c, ..transfer.clone() };
    let room_c = bath.room_c.or(request.room_c);
    let bath = v1::PlanBathRequest { steel, section, heat_c, oil: request.oil, room_c, ..bath.clone() };
    Ok(Some(QuenchSide {
        transfer: quench::transfer_question(asked, &transfer).map_err(|why| why.within("transfer"))?,
        bath: quench::bath_question(asked, &bath).map_err(|why| why.within("bath"))?,
    }))
}
