//! Constants that every module shares, each with its source.

/// Molar gas constant, J/(mol K): CODATA 2018, exact.
pub(crate) const R: f64 = 8.314_462_618;
/// Stefan-Boltzmann constant, W/(m² K⁴): CODATA 2018, exact.
pub(crate) const SIGMA: f64 = 5.670_374_419e-8;
/// Standard acceleration of gravity, m/s²: third CGPM, 1901.
pub(crate) const GRAVITY: f64 = 9.806_65;
/// One standard atmosphere, Pa: tenth CGPM, 1954.
pub(crate) const ATMOSPHERE_PA: f64 = 101_325.0;
/// Mole fraction of oxygen in dry air. US Standard Atmosphere 1976 prints 0.209476; the trade and our tables round to 0.2095.
pub(crate) const AIR_OXYGEN: f64 = 0.2095;
/// Density of carbon steel, kg/m³, whatever its temperature: EN 1993-1-2:2005, 3.2.2.
pub(crate) const STEEL_KG_M3: f64 = 7850.0;
/// One cubic foot, m³: exact by the international foot.
pub(crate) const CUBIC_FOOT_M3: f64 = 0.028_316_846_592;
/// One inch, m: exact.
pub(crate) const INCH_M: f64 = 0.025_4;
