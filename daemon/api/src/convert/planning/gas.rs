//! Purge and cylinder.

use hearthward_process::chamber::{Chamber, Pores};
use hearthward_process::cylinder::{Cylinder, Draw};
use hearthward_process::flow::Reference;
use hearthward_process::gas::{Gas, Mixture, SteelKind};
use hearthward_process::meter::{Accuracy, Float, Scale, Service, Valve};
use hearthward_process::plan::{Answer, CylinderQuestion, Evening, ExposedSteel, MeterAtHand, PortAtHand, PurgeQuestion};
use hearthward_process::purge::Purge;
use hearthward_process::room::{Room, USUAL_ALARM};
use hearthward_process::stack::{Gaps, Shape};
use hearthward_process::{AmountFlow, plan, units};
use hearthward_proto::v1;
use uom::si::f64::{Ratio, ThermodynamicTemperature};

use super::asked::{
    Asked, BAR, CELSIUS, CUBIC_METRES, HOURS, KELVIN_A_MINUTE, LITRES, LITRES_A_MINUTE, MILLIMETRES, MINUTES, PER_HOUR, PERCENT,
    PPM, Result, SQUARE_CENTIMETRES, Unplanned,
};
use super::chamber::scale;
use super::steel;

/// The most stretches of a cycle, of some furnaces, that one cylinder is asked about.
const DRAWS: usize = 100;

/// Answers [`v1::PlanPurgeRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken, or with why the gas is refused.
pub fn purge(request: &v1::PlanPurgeRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let question = purge_question(&mut asked, request)?;
    let answer = plan::purge(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// Answers [`v1::PlanCylinderRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken, or with why the gas is refused.
pub fn cylinder(request: &v1::PlanCylinderRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let question = cylinder_question(&mut asked, request)?;
    let answer = plan::cylinder(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

pub(super) fn purge_question(asked: &mut Asked, request: &v1::PlanPurgeRequest) -> Result<PurgeQuestion> {
    let volume = asked.need(&LITRES, "chamber_l", request.chamber_l, (0.01, 1e5))?;
    let room = asked.room(request.room_c)?;
    let mut chamber = Chamber::tight(volume).map_err(|error| Unplanned::of("chamber_l", &error))?;
    let tight_said = request.pores.as_ref().is_some_and(|wall| wall.volume_l == 0.0);
    match &request.pores {
        Some(wall) if tight_said => no_pores(wall)?,
        Some(wall) => chamber = chamber.with_pores(pores(asked, wall, room)?).map_err(|error| Unplanned::of("pores", &error))?,
        None => asked.take("a tight chamber; the pores of brick or fibre hold air that a purge must fetch too"),
    }
    let gas = gas_of(asked, &request.gas)?;
    let reference = asked.reference(request.reference_c)?;
    let flow = reference.amount_flow(asked.need(&LITRES_A_MINUTE, "flow_l_min", request.flow_l_min, (1e-3, 1e4))?);
    let purge = Purge {
        flow,
        gas_oxygen: gas_oxygen(asked, request)?,
        temperature: asked.may(&CELSIUS, "purged_at_c", request.purged_at_c, (-20.0, 1250.0))?.unwrap_or(room),
        leak: reference.amount_flow(asked.or(
            &LITRES_A_MINUTE,
            "leak_l_min",
            (request.leak_l_min, 0.0),
            (0.0, 1e4),
            "air that leaks in",
        )?),
        start: asked.or(
            &PERCENT,
            "start_oxygen_percent",
            (request.start_oxygen_percent, AIR_PERCENT),
            (0.0, 100.0),
            "oxygen at the start",
        )?,
    };
    let hold = match asked.may(&LITRES_A_MINUTE, "hold_l_min", request.hold_l_min, (0.0, 1e4))? {
        Some(hold) => reference.amount_flow(hold),
        None => {
            asked.take(format!(
                "a quarter of the purge flow holds it under heat: {}",
                units::show_flow(reference.volume_flow(flow / 4.0), asked.system)
            ));
            flow / 4.0
        }
    };
    let heat = match steel::named(&request.steel)? {
        Some(steel) => steel::heat(asked, request.heat_c, Some(steel), steel::HEAT_C)?,
        None => asked.or(&CELSIUS, "heat_c", (request.heat_c, 800.0), steel::HEAT_C, "the heat that follows")?,
    };
    Ok(PurgeQuestion {
        chamber,
        gas,
        steel: kind_of(asked, &request.steel)?,
        purge,
        level: asked.or(&PPM, "level_ppm", (request.level_ppm, 100.0), (1e-3, 2e5), "the oxygen wanted")?,
        heat,
        hold,
        room,
        reference,
        meter: request.meter.as_ref().map(|at| meter(asked, at, gas, room).map_err(|why| why.within("meter"))).transpose()?,
        port: request.port.as_ref().map(|at| port(asked, at).map_err(|why| why.within("port"))).transpose()?,
        gaps: request.gaps.as_ref().map(|gaps| self::gaps(asked, gaps).map_err(|why| why.within("gaps"))).transpose()?,
        opening: asked.may(&PERCENT, "opening_percent", request.opening_percent, (0.0, 100.0))?,
        cools: asked.may(&KELVIN_A_MINUTE, "cools_k_min", request.cools_k_min, (0.1, 500.0))?.map(steel::a_minute),
        leak_said: request.leak_l_min.is_some(),
        tight_said,
        exposed: exposed(asked, request)?,
    })
}

pub(super) fn cylinder_question(asked: &mut Asked, request: &v1::PlanCylinderRequest) -> Result<CylinderQuestion> {
    let gas = gas_of(asked, &request.gas)?.pure().ok_or_else(|| {
        Unplanned::field(
            "gas",
            "must be one gas: there is no equation of state here for mixtures; ask for argon, nitrogen or helium alone",
        )
    })?;
    let filled = asked.may(&BAR, "filled_bar", request.filled_bar, (1.0, 300.0))?;
    let cylinder = match asked.may(&LITRES, "contents_l", request.contents_l, (1.0, 1e6))? {
        Some(_) if request.volume_l != 0.0 => {
            return Err(Unplanned::field("contents_l", "contradicts volume_l: give one of them"));
        }
        Some(contents) => {
            let filled = filled.ok_or_else(|| {
                Unplanned::field("filled_bar", "must be given with contents_l: the gauge pressure of a full one, 1 to 300 bar")
            })?;
            Cylinder::holding(gas, contents, filled).map_err(|error| Unplanned::of("contents_l", &error))?
        }
        None => {
            let volume = asked.need(&LITRES, "volume_l", request.volume_l, (0.1, 1000.0))?;
            Cylinder::new(gas, volume).map_err(|error| Unplanned::of("volume_l", &error))?
        }
    };
    let gauge = match (request.gauge_bar, request.filled_bar) {
        (None, Some(full)) => {
            asked.take("a full cylinder");
            Some(full)
        }
        (gauge, _) => gauge,
    };
    let reference = asked.reference(request.reference_c)?;
    let room = asked.room(request.room_c)?;
    let temperature = asked.may(&CELSIUS, "temperature_c", request.temperature_c, (-20.0, 60.0))?.unwrap_or(room);
    let draws = self::draws(asked, &request.draws, reference)?;
    let (in_turn, draws) = if request.draws_in_turn { (draws, Vec::new()) } else { (Vec::new(), draws) };
    Ok(CylinderQuestion {
        cylinder,
        filled,
        gauge: asked.must(&BAR, "gauge_bar", gauge, (0.0, 300.0))?,
        gauge_error: asked.or(
            &BAR,
            "gauge_error_bar",
            (request.gauge_error_bar, 5.0),
            (0.0, 100.0),
            "the gauge's largest error",
        )?,
        temperature,
        leave: asked.or(
            &BAR,
            "leave_bar",
            (request.leave_bar, CHANGED_AT_BAR),
            (0.0, 300.0),
            "the cylinder is changed at a gauge of",
        )?,
        in_turn,
        draws,
        reserve: reference.amount(asked.may(&LITRES, "reserve_l", request.reserve_l, (0.0, 1e6))?.unwrap_or_default()),
        evening: request
            .evening
            .as_ref()
            .map(|at| evening(asked, at, temperature).map_err(|why| why.within("evening")))
            .transpose()?,
        room: request.room.as_ref().map(|at| self::room(asked, at, room).map_err(|why| why.within("room"))).transpose()?,
        alarm: match &request.room {
            Some(at) => alarm(asked, at).map_err(|why| why.within("room"))?,
            None => Ratio::from(USUAL_ALARM),
        },
        reference,
    })
}

fn evening(asked: &Asked, at: &v1::PlanEvening, now: ThermodynamicTemperature) -> Result<Evening> {
    Ok(Evening {
        gauge: asked.need(&BAR, "gauge_bar", at.gauge_bar, (0.1, 300.0))?,
        temperature: asked.may(&CELSIUS, "temperature_c", at.temperature_c, (-20.0, 60.0))?.unwrap_or(now),
        ago: asked.need(&HOURS, "ago_h", at.ago_h, (0.1, 1e4))?,
    })
}

/// The flow and the gas of what flows through a furnace, counted at 21.1 °C.
pub(super) fn flowing(asked: &mut Asked, gas: &str, flow_l_min: Option<f64>) -> Result<(Gas, AmountFlow)> {
    let flow = asked.or(&LITRES_A_MINUTE, "flow_l_min", (flow_l_min, 0.0), (0.0, 1e4), "the gas that flows meanwhile")?;
    if flow.value == 0.0 && gas.is_empty() {
        return Ok((Gas::Argon, AmountFlow::default()));
    }
    let gas =
        gas_of(asked, gas)?.pure().ok_or_else(|| Unplanned::field("gas", "must be one gas here: argon, nitrogen or helium"))?;
    Ok((gas, Reference::TWENTY_ONE.amount_flow(flow)))
}

pub(super) fn gas_of(asked: &mut Asked, name: &str) -> Result<Mixture> {
    if name.is_empty() {
        asked.take("the gas: argon");
        return Ok(Gas::Argon.into());
    }
    Mixture::protective(name).map_err(|error| Unplanned::of("gas", &error))
}

fn kind_of(asked: &mut Asked, grade: &str) -> Result<SteelKind> {
    if let Some(steel) = steel::named(grade)? {
        return Ok(steel.kind);
    }
    asked.take("the steel: plain carbon or low-alloy");
    Ok(SteelKind::Plain)
}

fn gas_oxygen(asked: &mut Asked, request: &v1::PlanPurgeRequest) -> Result<Ratio> {
    match request.gas_purity_percent {
        Some(_) if request.gas_oxygen_ppm.is_some() => {
            Err(Unplanned::field("gas_purity_percent", "contradicts gas_oxygen_ppm: give one of them"))
        }
        Some(purity) => {
            let pure = asked.may(&PERCENT, "gas_purity_percent", Some(purity), (50.0, 100.0))?.unwrap_or_default();
            asked.take("all of the gas that is not pure counts as oxygen, an upper bound");
            Ok(Ratio::from(1.0) - pure)
        }
        None => asked.or(&PPM, "gas_oxygen_ppm", (request.gas_oxygen_ppm, 10.0), (0.0, 1e6), "oxygen in the gas"),
    }
}

fn no_pores(wall: &v1::PlanPores) -> Result<()> {
    let useless = [("pores.exchange_min", wall.exchange_min), ("pores.warming_percent", wall.warming_percent)];
    useless.into_iter().find(|(_, said)| said.is_some()).map_or(Ok(()), |(field, _)| {
        Err(Unplanned::field(field, "is of no use where pores.volume_l is 0: leave it out, or say how much they hold"))
    })
}

fn pores(asked: &mut Asked, wall: &v1::PlanPores, room: ThermodynamicTemperature) -> Result<Pores> {
    let read = |asked: &mut Asked| {
        Ok(Pores {
            volume: asked.need(&LITRES, "volume_l", wall.volume_l, (1e-3, 1e5))?,
            exchange: asked.or(&MINUTES, "exchange_min", (wall.exchange_min, 10.0), (1.0, 1e4), "pores exchange in")?,
            warming: asked.or(
                &PERCENT,
                "warming_percent",
                (wall.warming_percent, 50.0),
                (0.0, 100.0),
                "the wall follows the chamber's rise by",
            )?,
            room,
        })
    };
    read(asked).map_err(|why: Unplanned| why.within("pores"))
}

fn meter(asked: &mut Asked, at: &v1::PlanMeter, gas: Mixture, room: ThermodynamicTemperature) -> Result<MeterAtHand> {
    let scale = scale(asked, &at.scale_gas, at.scale_c)?;
    let scale_gauge = asked.may(&BAR, "scale_bar", at.scale_bar, (0.0, 20.0))?.unwrap_or_default();
    let class =
        asked.or(&PERCENT, "accuracy_percent", (at.accuracy_percent, 5.0), (0.1, 50.0), "the meter's accuracy, of full scale")?;
    let accuracy = match asked.may(&PERCENT, "accuracy_from_percent", at.accuracy_from_percent, (1.0, 100.0))? {
        Some(from) => Accuracy::ReadingAbove { class, from },
        None => Accuracy::FullScale(class),
    };
    let line = asked.may(&BAR, "line_bar", at.line_bar, (0.0, 20.0))?;
    let valve = match at.valve() {
        v1::ValvePlace::AfterTube => Valve::AfterTube,
        v1::ValvePlace::BeforeTube => Valve::BeforeTube,
        v1::ValvePlace::Unspecified => {
            asked.take("the needle valve sits before the meter's tube, so that the line pressure does not count");
            Valve::BeforeTube
        }
    };
    if valve == Valve::AfterTube && line.is_none() {
        return Err(Unplanned::field("line_bar", "must be given where the valve sits after the tube, between 0 and 20 bar"));
    }
    let float = match at.float() {
        v1::FloatShape::Unspecified => None,
        shape => {
            let bore = asked.must(&MILLIMETRES, "bore_mm", at.bore_mm, (0.5, 100.0))?;
            Some((if shape == v1::FloatShape::Ball { Float::Ball } else { Float::SharpEdged }, bore))
        }
    };
    let back = asked.may(&BAR, "back_bar", at.back_bar, (0.0, 20.0))?.unwrap_or_default();
    if line.is_some_and(|line| back > line) {
        return Err(Unplanned::field(
            "back_bar",
            "is above line_bar: gas does not flow against the pressure; look which is which",
        ));
    }
    Ok(MeterAtHand {
        scale: Scale { gauge: scale_gauge, ..scale },
        service: Service { gas, valve, line: line.unwrap_or_default(), back, temperature: room },
        accuracy,
        full_scale: asked.need(&LITRES_A_MINUTE, "full_scale_l_min", at.full_scale_l_min, (1e-3, 1e4))?,
        float,
    })
}

fn port(asked: &Asked, at: &v1::PlanPort) -> Result<PortAtHand> {
    Ok(PortAtHand {
        bore: asked.need(&MILLIMETRES, "bore_mm", at.bore_mm, (0.5, 100.0))?,
        height: asked.need(&MILLIMETRES, "height_mm", at.height_mm, (10.0, 5000.0))?,
    })
}

fn gaps(asked: &mut Asked, gaps: &v1::PlanGaps) -> Result<Gaps> {
    Ok(Gaps {
        height: asked.need(&MILLIMETRES, "height_mm", gaps.height_mm, (10.0, 5000.0))?,
        width: asked.need(&MILLIMETRES, "width_mm", gaps.width_mm, (0.01, 20.0))?,
        length: asked.need(&MILLIMETRES, "length_mm", gaps.length_mm, (1.0, 5000.0))?,
        depth: asked.or(&MILLIMETRES, "depth_mm", (gaps.depth_mm, 20.0), (1.0, 500.0), "the seal's depth")?,
        shape: if gaps.shape() == v1::GapShape::TwoSlots { Shape::TwoSlots } else { Shape::DoorFrame },
    })
}

fn exposed(asked: &mut Asked, request: &v1::PlanPurgeRequest) -> Result<Option<ExposedSteel>> {
    let Some(steel) = &request.exposed else { return Ok(None) };
    let known = steel::named(&request.steel)?.map(|steel| steel.composition.carbon);
    let read = |asked: &mut Asked| {
        let carbon = steel.carbon_percent.or(known);
        Ok(ExposedSteel {
            surface: asked.need(&SQUARE_CENTIMETRES, "surface_cm2", steel.surface_cm2, (0.1, 1e6))?,
            carbon: asked.or(&PERCENT, "carbon_percent", (carbon, 0.8), steel::CARBON_PERCENT, "carbon of the steel")?,
            time: asked.must(&MINUTES, "time_min", Some(steel.time_min), (0.0, 1e4))?,
        })
    };
    read(asked).map(Some).map_err(|why: Unplanned| why.within("exposed"))
}

fn draws(asked: &Asked, draws: &[v1::PlanDraw], reference: Reference) -> Result<Vec<Draw>> {
    if draws.len() > DRAWS {
        return Err(Unplanned::field("draws", format!("are {}; ask about at most {DRAWS} at a time", draws.len())));
    }
    let read = |(place, draw): (usize, &v1::PlanDraw)| {
        let flow = asked.need(&LITRES_A_MINUTE, &format!("draws[{place}].flow_l_min"), draw.flow_l_min, (1e-3, 1e4))?;
        let time = asked.must(&MINUTES, &format!("draws[{place}].time_min"), Some(draw.time_min), (0.0, 1e5))?;
        Ok(Draw { flow: reference.amount_flow(flow), time })
    };
    draws.iter().enumerate().map(read).collect()
}

fn room(asked: &mut Asked, room: &v1::PlanRoom, temperature: ThermodynamicTemperature) -> Result<Room> {
    let volume = asked.need(&CUBIC_METRES, "volume_m3", room.volume_m3, (1.0, 1e5))?;
    let changes = asked.or(
        &PER_HOUR,
        "air_changes_per_h",
        (room.air_changes_per_h, 0.3),
        (0.0, 100.0),
        "the air of a closed room is replaced",
    )?;
    Room::new(volume, changes, temperature).map_err(|error| Unplanned::of("volume_m3", &error))
}

fn alarm(asked: &mut Asked, room: &v1::PlanRoom) -> Result<Ratio> {
    let usual = (room.alarm_percent, 100.0 * USUAL_ALARM);
    asked.or(&PERCENT, "alarm_percent", usual, (1.0, 20.9), "the room's alarm is raised at")
}

/// The gauge at which a cylinder is changed, bar: where regulators still hold their pressure (common practice, no source). The
/// decision core counts on to 2 bar, because it says when the gas ends and not when to change in good time.
const CHANGED_AT_BAR: f64 = 10.0;

/// Oxygen in dry air, as the arithmetic has it.
const AIR_PERCENT: f64 = 100.0 * Gas::Air.oxygen_content();
