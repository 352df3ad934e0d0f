//! What a chamber leaks and what a meter shows, by what people can measure of them.

use hearthward_process::calibrate::ProbeReading;
use hearthward_process::chamber::Inputs;
use hearthward_process::flow::Reference;
use hearthward_process::gas::{Gas, Mixture};
use hearthward_process::meter::{Scale, Service, Valve};
use hearthward_process::plan;
use hearthward_process::plan::{Answer, LeakQuestion, MeterQuestion};
use hearthward_process::units::figures;
use hearthward_proto::v1;
use uom::si::f64::{Ratio, Time};

use super::asked::{
    Asked, BAR, CELSIUS, KILOGRAMS, LITRES, LITRES_A_MINUTE, MINUTES, PPM, READINGS, Result, SECONDS, SQUARE_CENTIMETRES,
    Unplanned,
};
use super::gas::gas_of;

/// Answers [`v1::PlanLeakRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken.
pub fn leak(request: &v1::PlanLeakRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let reference = asked.reference(request.reference_c)?;
    let oxygen = asked.or(&PPM, "gas_oxygen_ppm", (request.gas_oxygen_ppm, 10.0), (0.0, 1e6), "oxygen in the gas")?;
    let (question, field) = match &request.strips {
        Some(_) if !request.readings.is_empty() => {
            return Err(Unplanned::field("strips", "contradicts readings: give one of them"));
        }
        Some(strips) => {
            (self::strips(&asked, strips, oxygen, reference).map_err(|why: Unplanned| why.within("strips"))?, "strips")
        }
        None => (probe(&mut asked, request, oxygen, reference)?, "readings"),
    };
    let answer = plan::leak(&question, asked.system).map_err(|error| Unplanned::of(field, &error))?;
    Ok(asked.said(answer))
}

fn probe(asked: &mut Asked, request: &v1::PlanLeakRequest, oxygen: Ratio, reference: Reference) -> Result<LeakQuestion> {
    if request.readings.is_empty() || request.readings.len() > READINGS {
        let why = format!("are {}; 8 to {READINGS} are looked at", request.readings.len());
        return Err(Unplanned::field("readings", why));
    }
    let volume = asked.need(&LITRES, "chamber_l", request.chamber_l, (0.01, 1e5))?;
    let temperature = asked.room(request.room_c)?;
    let mut before = Time::default();
    let start = request.readings.first().filter(|first| first.time_min == 0.0);
    if let Some(first) = start.filter(|first| first.oxygen_ppm.is_nan() || first.oxygen_ppm < FULL_OF_AIR_PPM) {
        let why = format!(
            "is {} ppm before the purge, but a chamber full of air shows at least {FULL_OF_AIR_PPM} ppm: open it, and begin again",
            figures(first.oxygen_ppm, 6)
        );
        return Err(Unplanned::field("readings[0].oxygen_ppm", why));
    }
    let record = request.readings.iter().enumerate().skip(usize::from(start.is_some())).map(|(place, reading)| {
        let field = |name: &str| format!("readings[{place}].{name}");
        let at = asked.need(&MINUTES, &field("time_min"), reading.time_min, (1e-3, 1e4))?;
        if at <= before {
            return Err(Unplanned::field(field("time_min"), "must be later than that of the reading before"));
        }
        let flow = asked.must(&LITRES_A_MINUTE, &field("flow_l_min"), Some(reading.flow_l_min), (0.0, 1e4))?;
        let time = at - before;
        before = at;
        let inflow = reference.amount_flow(flow);
        Ok(ProbeReading {
            inputs: Inputs { time, inflow, inflow_oxygen: oxygen, ..Inputs::nothing(temperature) },
            oxygen: asked.need(&PPM, &field("oxygen_ppm"), reading.oxygen_ppm, (0.1, 210_000.0))?,
        })
    });
    Ok(LeakQuestion::Probe { volume, temperature, record: record.collect::<Result<Vec<_>>>()?, reference })
}

/// What a probe shows at least of air, of 209 500 ppm: a twentieth off is the usual error of a cheap one (common practice, no source).
const FULL_OF_AIR_PPM: f64 = 199_000.0;

fn strips(asked: &Asked, strips: &v1::PlanStrips, gas_oxygen: Ratio, reference: Reference) -> Result<LeakQuestion> {
    let surface = asked.need(&SQUARE_CENTIMETRES, "surface_cm2", strips.surface_cm2, (0.1, 1e6))?;
    let steel = asked.need(&SQUARE_CENTIMETRES, "steel_cm2", strips.steel_cm2, (0.1, 1e6))?;
    if steel < surface {
        return Err(Unplanned::field(
            "steel_cm2",
            "is less than the strips' own; it is that of all the steel, the strips with it",
        ));
    }
    Ok(LeakQuestion::Strips {
        gain: asked.need(&KILOGRAMS, "gain_kg", strips.gain_kg, (1e-8, 1.0))?,
        strips: surface,
        steel,
        time: asked.need(&MINUTES, "time_min", strips.time_min, (1.0, 1e4))?,
        flow: reference.amount_flow(asked.must(&LITRES_A_MINUTE, "flow_l_min", strips.flow_l_min, (0.0, 1e4))?),
        gas_oxygen,
        reference,
    })
}

/// Answers [`v1::PlanMeterCheckRequest`].
///
/// # Errors
/// [`Unplanned`] with the field that cannot be taken, or with why the gas is refused.
pub fn meter_check(request: &v1::PlanMeterCheckRequest) -> Result<Answer> {
    let mut asked = Asked::new(request.units());
    let gas = gas_of(&mut asked, &request.gas)?;
    let room = asked.room(request.room_c)?;
    let scale = scale(&mut asked, &request.scale_gas, request.scale_c)?;
    let question = MeterQuestion {
        bag: asked.need(&LITRES, "bag_l", request.bag_l, (0.01, 1000.0))?,
        time: asked.need(&SECONDS, "time_s", request.time_s, (1.0, 86_400.0))?,
        room,
        reading: asked.need(&LITRES_A_MINUTE, "reading_l_min", request.reading_l_min, (1e-3, 1e4))?,
        scale,
        service: Service {
            gas,
            // Whichever side the valve sits on, what counts is the pressure in the tube, and that is asked for.
            valve: Valve::BeforeTube,
            line: Default::default(),
            back: asked.or(&BAR, "tube_bar", (request.tube_bar, 0.0), (0.0, 20.0), "gauge pressure in the meter's tube")?,
            temperature: room,
        },
    };
    let answer = plan::meter(&question, asked.system).map_err(|error| Unplanned::whole(&error))?;
    Ok(asked.said(answer))
}

/// What a meter's scale is engraved for, at the room's pressure.
pub(super) fn scale(asked: &mut Asked, gas: &str, celsius: Option<f64>) -> Result<Scale> {
    let gas = if gas.is_empty() {
        asked.take("the meter's scale is for air");
        Gas::Air.into()
    } else {
        Mixture::named(gas).map_err(|error| Unplanned::of("scale_gas", &error))?
    };
    let (temperature, reference) = match asked.may(&CELSIUS, "scale_c", celsius, (-20.0, 60.0))? {
        Some(at) => (at, Reference::at(at).map_err(|error| Unplanned::of("scale_c", &error))?),
        None => {
            asked.take("the meter's scale is engraved for 21.1 °C (70 °F)");
            (Reference::TWENTY_ONE.temperature(), Reference::TWENTY_ONE)
        }
    };
    Ok(Scale { gas, gauge: Default::default(), temperature, reference })
}
