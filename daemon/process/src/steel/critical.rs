//! Critical temperatures from composition, and the refusal to extrapolate them.
//!
//! Andrews, J. Iron Steel Inst. 203 (1965) 721 (Ac1 and Ac3 read from public reproductions, the Ms forms from memory);
//! Steven and Haynes, J. Iron Steel Inst. 183 (1956) 349 (from memory). Good to 15 to 25 K inside the range that Andrews
//! fitted: C 0.11-0.60, Mn 0.04-4.87, Si 0.11-1.89, Ni 0-5.0, Cr 0-4.61, Mo 0-5.4 %, V and W small (from memory). At 12 %
//! chromium Ac1 is wrong by more than 100 K; so outside the range the answer is a refusal, and the bare numbers are
//! to be had only by a name that says what they are.

use crate::error::{Result, impossible, within};
use crate::si;
use uom::si::f64::ThermodynamicTemperature;

/// A composition in per cent by mass; what is not named is iron.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Composition {
    /// Carbon, 0 to 3 %.
    pub carbon: f64,
    /// Manganese, 0 to 15 %.
    pub manganese: f64,
    /// Silicon, 0 to 5 %.
    pub silicon: f64,
    /// Chromium, 0 to 30 %.
    pub chromium: f64,
    /// Nickel, 0 to 40 %.
    pub nickel: f64,
    /// Molybdenum, 0 to 12 %.
    pub molybdenum: f64,
    /// Tungsten, 0 to 20 %.
    pub tungsten: f64,
    /// Vanadium, 0 to 15 %.
    pub vanadium: f64,
    /// Copper, 0 to 3 %.
    pub copper: f64,
}

/// Critical temperatures of a steel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Critical {
    /// Where austenite begins to form on heating.
    pub ac1: ThermodynamicTemperature,
    /// Where the last ferrite is gone, by the short form.
    pub ac3: ThermodynamicTemperature,
    /// The same by the long form, with manganese and chromium.
    pub ac3_long: ThermodynamicTemperature,
    /// Where martensite starts, linear form.
    pub ms: ThermodynamicTemperature,
    /// Where martensite starts, form with products.
    pub ms_product: ThermodynamicTemperature,
    /// Where martensite starts by Steven and Haynes.
    pub ms_steven_haynes: ThermodynamicTemperature,
}

impl Composition {
    /// Critical temperatures, where Andrews' range covers the steel.
    ///
    /// # Errors
    /// A composition outside the fitted range, with the element at fault; take a data sheet's value then.
    pub fn critical(&self) -> Result<Critical> {
        self.checked()?;
        match self.outside() {
            None => Ok(self.critical_extrapolated()),
            Some((element, value, low, high)) => Err(impossible(
                "critical temperatures from composition",
                format!(
                    "{element} is {} %, and the formula was fitted for {low} to {high} %; take the steel's data sheet",
                    crate::units::figures(value, 3)
                ),
            )),
        }
    }

    /// The bare formulae, whatever the composition: to show how far they go wrong, never as a process limit.
    pub fn critical_extrapolated(&self) -> Critical {
        let Self {
            carbon: c,
            manganese: mn,
            silicon: si_,
            chromium: cr,
            nickel: ni,
            molybdenum: mo,
            tungsten: w,
            vanadium: v,
            copper: cu,
        } = *self;
        let ac3 = 910.0 - 203.0 * libm::sqrt(c) - 15.2 * ni + 44.7 * si_ + 104.0 * v + 31.5 * mo + 13.1 * w;
        let product = 512.0 - 453.0 * c - 16.9 * ni + 15.0 * cr - 9.5 * mo + 217.0 * c * c - 71.5 * c * mn - 67.6 * c * cr;
        Critical {
            ac1: si::from_celsius(723.0 - 10.7 * mn - 16.9 * ni + 29.1 * si_ + 16.9 * cr + 6.38 * w),
            ac3: si::from_celsius(ac3),
            ac3_long: si::from_celsius(ac3 - 30.0 * mn + 11.0 * cr + 20.0 * cu),
            ms: si::from_celsius(539.0 - 423.0 * c - 30.4 * mn - 17.7 * ni - 12.1 * cr - 7.5 * mo),
            ms_product: si::from_celsius(product),
            ms_steven_haynes: si::from_celsius(561.0 - 474.0 * c - 33.0 * mn - 17.0 * cr - 17.0 * ni - 21.0 * mo),
        }
    }

    /// The first element outside the range of the fit: its name, value and range.
    pub fn outside(&self) -> Option<(&'static str, f64, f64, f64)> {
        let slack = 1e-9;
        [
            ("carbon", self.carbon, 0.11, 0.60),
            ("manganese", self.manganese, 0.04, 4.87),
            ("silicon", self.silicon, 0.11, 1.89),
            ("nickel", self.nickel, 0.0, 5.0),
            ("chromium", self.chromium, 0.0, 4.61),
            ("molybdenum", self.molybdenum, 0.0, 5.4),
            ("vanadium", self.vanadium, 0.0, 0.7),
            ("tungsten", self.tungsten, 0.0, 0.4),
        ]
        .into_iter()
        .find(|&(_, value, low, high)| value < low - slack || value > high + slack)
    }

    pub(super) fn checked(&self) -> Result<()> {
        for (what, value, high) in [
            ("carbon", self.carbon, 3.0),
            ("manganese", self.manganese, 15.0),
            ("silicon", self.silicon, 5.0),
            ("chromium", self.chromium, 30.0),
            ("nickel", self.nickel, 40.0),
            ("molybdenum", self.molybdenum, 12.0),
            ("tungsten", self.tungsten, 20.0),
            ("vanadium", self.vanadium, 15.0),
            ("copper", self.copper, 3.0),
        ] {
            within(what, value, "%", 0.0, high)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn high_chromium_is_refused_by_name() {
        let steel = Composition { carbon: 0.5, manganese: 0.3, silicon: 0.3, chromium: 12.0, ..Composition::default() };
        let said = steel.critical().unwrap_err().to_string();
        assert!(said.contains("chromium is 12 %") && said.contains("0 to 4.61"), "{said}");
    }

    #[test]
    fn an_impossible_composition_is_refused() {
        let steel = Composition { carbon: -0.1, ..Composition::default() };
        assert!(steel.critical().unwrap_err().to_string().contains("carbon is -0.1 %"));
    }
}
