//! The way to the bath, and the bath.

use hearthward_process::plan;
use hearthward_process::plan::{Answer, BathQuestion, PlatesQuestion, TankAtHand, TransferQuestion};
use hearthward_process::quench::{Bath, MOST_PARTS, OilSpeed, Pulls};
use hearthward_process::span::Span;
use hearthward_process::transfer::{StillAir, Taper};
use hearthward_process::units::{self, figures};
use hearthward_proto::v1;
use uom::si::f64::{Length, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::degree_celsius;

use super::asked::{
    Asked, CELSIUS, KILOGRAMS, LITRES, MILLIMETRES, MINUTES, PERCENT, Result, SECONDS, SQUARE_CENTIMETRES, Unplanned,
};
use super::steel::{self, HEAT_C};

/// Answers [`v1::PlanTransferRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn transfer(request: &v1::PlanTransferRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let question = transfer_question(&mut asked, request)?;
    let answer = plan::transfer(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// Answers [`v1::PlanBathRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn bath(request: &v1::PlanBathRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let question = bath_question(&mut asked, request)?;
    let answer = plan::bath(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

pub(super) fn transfer_question(asked: &mut Asked, request: &v1::PlanTransferRequest) -> Result<TransferQuestion> {
    let section = steel::section(asked, request.section.as_ref())?;
    let steel = steel::named(&request.steel)?;
    let start = steel::heat(asked, request.heat_c, steel, (100.0, HEAT_C.1))?;
    let usual = steel.map_or_else(
        || "the part must not fall below, as any plain carbon steel".to_owned(),
        |steel| format!("the part must not fall below, as any plain carbon steel: no start of transformation is known of {}, and alloyed steel has longer", steel.grade),
    );
    let limit = asked.or(&CELSIUS, "limit_c", (request.limit_c, STILL_QUENCHABLE_C), (60.0, HEAT_C.1), &usual)?;
    below_heat(request.limit_c.map(|_| limit), start)?;
    Ok(TransferQuestion {
        section,
        limit_said: request.limit_c.is_some(),
        steel,
        taper: request.taper.as_ref().map(|taper| self::taper(asked, taper, section.size)).transpose()?,
        start,
        limit,
        time: asked.must(&SECONDS, "time_s", request.time_s, (0.0, 120.0))?,
        air: StillAir::room(asked.room(request.room_c)?),
    })
}

/// A limit that the part is below from the start leaves no seconds to count.
fn below_heat(limit: Option<ThermodynamicTemperature>, heat: ThermodynamicTemperature) -> Result<()> {
    match limit {
        Some(limit) if limit >= heat => {
            let [limit_c, heat_c] = [limit, heat].map(|t| figures(t.get::<degree_celsius>(), 6));
            let why = format!("is {limit_c} °C, but must lie below the heat of {heat_c} °C");
            Err(Unplanned::field("limit_c", why))
        }
        _ => Ok(()),
    }
}

/// Where most oil-hardening steels have not begun to transform, yet are close to it: common practice, no source.
pub(super) const STILL_QUENCHABLE_C: f64 = 740.0;

fn taper(asked: &Asked, taper: &v1::PlanTaper, section: Length) -> Result<Taper> {
    let read = || {
        let edge = asked.need(&MILLIMETRES, "edge_mm", taper.edge_mm, (0.1, 50.0))?;
        let back = asked.may(&MILLIMETRES, "back_mm", taper.back_mm, (taper.edge_mm, 50.0))?.unwrap_or(section);
        if back < edge {
            return Err(Unplanned::field("edge_mm", "is thicker than the back of the taper, which is the section's size"));
        }
        Ok(Taper { edge, back, width: asked.need(&MILLIMETRES, "width_mm", taper.width_mm, (2.0, 200.0))? })
    };
    read().map_err(|why| why.within("taper"))
}

/// Answers [`v1::PlanPlatesRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn plates(request: &v1::PlanPlatesRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let steel = steel::named(&request.steel)?;
    let room = asked.room(request.room_c)?;
    let question = PlatesQuestion {
        section: steel::section(&mut asked, request.section.as_ref())?,
        mass: asked.need(&KILOGRAMS, "part_kg", request.part_kg, (1e-6, 1e4))?,
        heat: steel::heat(&mut asked, request.heat_c, steel, (100.0, HEAT_C.1))?,
        in_air: asked.or(&SECONDS, "time_s", (request.time_s, 2.0), (0.0, 120.0), "from the door to between the plates")?,
        plates: asked.need(&KILOGRAMS, "plates_kg", request.plates_kg, (0.01, 1000.0))?,
        plates_at: asked.may(&CELSIUS, "plates_c", request.plates_c, (-20.0, 60.0))?.unwrap_or(room),
        parts: parts(request.parts)?,
        air: StillAir::room(room),
        steel,
    };
    let answer = plan::plates(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

fn parts(parts: u32) -> Result<u32> {
    match parts {
        0 => Ok(1),
        1..=MOST_PARTS => Ok(parts),
        _ => Err(Unplanned::field("parts", format!("are {parts}; 1 to {MOST_PARTS} are worked out"))),
    }
}

pub(super) fn bath_question(asked: &mut Asked, request: &v1::PlanBathRequest) -> Result<BathQuestion> {
    let volume = asked.need(&LITRES, "volume_l", request.volume_l, (0.1, 1e5))?;
    let temperature = asked.must(&CELSIUS, "temperature_c", request.temperature_c, BATH_C)?;
    let steel = steel::named(&request.steel)?;
    let speed = speed(asked, request.oil(), steel.and_then(|steel| steel.oil).map(|(needs, _)| needs));
    let room = asked.room(request.room_c)?;
    let pulls = Pulls {
        section: steel::section(asked, request.section.as_ref())?,
        mass: asked.need(&KILOGRAMS, "part_kg", request.part_kg, (1e-6, 1e4))?,
        parts: parts(request.parts)?,
        furnace: steel::heat(asked, request.heat_c, steel, (100.0, HEAT_C.1))?,
        view: asked.or(
            &PERCENT,
            "view_percent",
            (request.view_percent, 20.0),
            (0.0, 100.0),
            "the open door's share of what a waiting part sees",
        )?,
        open: asked.or(&SECONDS, "open_s", (request.open_s, 4.0), (0.0, 3600.0), "the door is open before each pull for")?,
        shut: asked.or(&SECONDS, "shut_s", (request.shut_s, 30.0), (0.0, 1e5), "the door is shut between pulls for")?,
        in_air: asked.or(&SECONDS, "time_s", (request.time_s, 2.0), (0.0, 120.0), "from the door to under the oil")?,
    };
    let limit = asked.may(&CELSIUS, "limit_c", request.limit_c, (60.0, HEAT_C.1))?;
    below_heat(limit, pulls.furnace)?;
    Ok(BathQuestion {
        bath: Bath::oil(volume, temperature).map_err(|error| Unplanned::of("volume_l", &error))?,
        window: window(asked, request, speed)?,
        flash_point: asked.may(&CELSIUS, "flash_point_c", request.flash_point_c, (60.0, 400.0))?,
        pulls,
        air: StillAir::room(room),
        steel,
        oil: speed,
        tank: request.tank.as_ref().map(|at| tank(asked, at).map_err(|why| why.within("tank"))).transpose()?,
        limit,
        cooling: asked.may(&MINUTES, "cooling_min", request.cooling_min, (1.0, 43_200.0))?,
    })
}

fn tank(asked: &Asked, tank: &v1::PlanTank) -> Result<TankAtHand> {
    Ok(TankAtHand {
        surface: asked.need(&SQUARE_CENTIMETRES, "surface_cm2", tank.surface_cm2, (1.0, 1e6))?,
        freeboard: asked.may(&MILLIMETRES, "freeboard_mm", tank.freeboard_mm, (0.0, 5000.0))?,
        part: asked.may(&MILLIMETRES, "part_mm", tank.part_mm, (1.0, 5000.0))?,
    })
}

/// Temperatures that a bath of oil can have.
const BATH_C: (f64, f64) = (-20.0, 300.0);

/// The class of the oil as it was said.
pub(super) fn said_speed(oil: v1::OilClass) -> Option<OilSpeed> {
    match oil {
        v1::OilClass::Unspecified => None,
        v1::OilClass::Fast => Some(OilSpeed::Fast),
        v1::OilClass::Medium => Some(OilSpeed::Medium),
        v1::OilClass::Slow => Some(OilSpeed::Slow),
    }
}

fn speed(asked: &mut Asked, oil: v1::OilClass, needs: Option<OilSpeed>) -> OilSpeed {
    said_speed(oil).unwrap_or_else(|| {
        let speed = needs.unwrap_or(OilSpeed::Medium);
        asked.take(format!("the oil: of the {} class", speed.words().0));
        speed
    })
}

fn window(asked: &mut Asked, request: &v1::PlanBathRequest, speed: OilSpeed) -> Result<Span<ThermodynamicTemperature>> {
    let of_class = speed.window();
    let low = asked.may(&CELSIUS, "window_low_c", request.window_low_c, BATH_C)?;
    let high = asked.may(&CELSIUS, "window_high_c", request.window_high_c, BATH_C)?;
    if low.is_none() || high.is_none() {
        let [least, most] = [of_class.least, of_class.most].map(|t| units::show_temperature(t, asked.system));
        asked.take(format!("the working window of that class of oil: {least} to {most}"));
    }
    let window = Span { least: low.unwrap_or(of_class.least), most: high.unwrap_or(of_class.most) };
    if window.least >= window.most {
        return Err(Unplanned::field("window_high_c", "must lie above the low end of the window"));
    }
    Ok(window)
}
