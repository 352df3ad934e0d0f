//! Ports and mixing against CoolProp's properties and Fuller's method.

use crate::quantities::{celsius, litres, millimetres, standard};
use crate::table::{SIX_DIGITS, table};
use hearthward_process::chamber::Chamber;
use hearthward_process::gas::Gas;
use hearthward_process::jet::{Port, Regime, argon_in_air, diffusion_time, entry};

#[test]
fn ports_jet_or_pool() {
    for row in table!("jet") {
        let port = Port {
            gas: Gas::named(row.text("gas")).unwrap(),
            temperature: celsius(row.number("gas_c")),
            bore: millimetres(row.number("bore_mm")),
            flow: standard(row.number("flow_std_l_min")),
        };
        let ours = entry(&port, celsius(row.number("chamber_air_c")), millimetres(150.0)).unwrap();
        row.agrees("velocity_m_s", ours.velocity.value, 5e-3);
        row.agrees("reynolds", ours.reynolds.value, 5e-3);
        row.agrees("froude_densimetric", ours.froude.value, 5e-3);
        row.agrees("froude_source_density", ours.froude_by_gas.value, 5e-3);
        row.agrees("dynamic_pressure_pa", ours.dynamic_pressure.value, 5e-3);
        match ours.fountain {
            Some(height) => row.agrees("upward_fountain_height_m", height.value, 5e-3),
            None => assert_eq!(row.text("upward_fountain_height_m"), ""),
        }
        let told = match ours.regime {
            Regime::Stirs => "jet mixes the chamber",
            Regime::StirsBelow => "forced fountain: mixes its lower part only",
            Regime::Pools => "weak fountain: heavy gas pools",
            Regime::Rises => "light gas rises",
        };
        assert_eq!(told, row.text("regime_in_0_15_m_chamber"));
    }
}

#[test]
fn diffusion_is_slow() {
    for row in table!("mixing_times") {
        let t = celsius(row.number("temperature_c"));
        row.agrees("d_ar_air_m2_s", argon_in_air(t).unwrap().value, 1e-5 + SIX_DIGITS);
        let time = diffusion_time(millimetres(row.number("height_m") * 1e3), t).unwrap();
        row.agrees("diffusion_time_s", time.value, 1e-5 + SIX_DIGITS);
        let fill = Chamber::tight(litres(9.4)).unwrap().holds(t).value / standard(2.0).value;
        row.agrees("fill_time_9_4_l_at_2_0_std_l_min_s", fill, 1e-5 + SIX_DIGITS);
    }
}
