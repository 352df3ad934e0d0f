//! Conduction into a plate, bar or sphere with convection at its surface: the eigenvalue series.
//!
//! In *Fundamentals of Heat and Mass Transfer*, chapter 5: with `Bi = h L / k` on half the thickness or the radius and
//! `Fo = α t / L²`, the temperature is `θ = Σ C_n exp(-ζ_n² Fo) f(ζ_n x)`, where
//! - plate: `ζ tan ζ = Bi`, `C = 4 sin ζ / (2ζ + sin 2ζ)`, `f = cos`;
//! - bar: `ζ J1(ζ) = Bi J0(ζ)`, `C = 2 J1 / (ζ (J0² + J1²))`, `f = J0`;
//! - sphere: `1 - ζ cot ζ = Bi`, `C = 4 (sin ζ - ζ cos ζ) / (2ζ - sin 2ζ)`, `f = sin(ζx)/(ζx)`.
//!
//! θ is 1 at the start and 0 at the temperature around. Mind that lumped formulae take `V/A` for the length: `L`, `L/2`
//! and `L/3`.

use crate::error::{Result, within};
use crate::numeric::root;
use crate::si;
use core::f64::consts::PI;
use uom::si::f64::Ratio;

/// The shape of a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A plate, heated from both faces; its size is its thickness.
    Plate,
    /// A long round bar; its size is its diameter.
    Bar,
    /// A sphere, which also stands for compact lumps; its size is its diameter.
    Sphere,
}

/// Terms after which the series stops: at Fo 0.01 the sixtieth is below 1e-100.
const TERMS: u32 = 60;

impl Shape {
    /// Half the thickness or the radius over volume by area: 1, 2, 3.
    pub(crate) const fn factor(self) -> f64 {
        match self {
            Self::Plate => 1.0,
            Self::Bar => 2.0,
            Self::Sphere => 3.0,
        }
    }

    /// The n-th eigenvalue, counted from 1.
    ///
    /// # Errors
    /// A Biot number outside 1e-6 to 1e6, a term outside 1 to 60.
    pub fn eigenvalue(self, biot: Ratio, term: u32) -> Result<f64> {
        within("the term", f64::from(term), "", 1.0, f64::from(TERMS))?;
        Ok(self.zeta(in_range(biot)?, term))
    }

    /// The coefficient that belongs to an eigenvalue.
    pub fn coefficient(self, zeta: f64) -> f64 {
        match self {
            Self::Plate => 4.0 * libm::sin(zeta) / (2.0 * zeta + libm::sin(2.0 * zeta)),
            Self::Bar => {
                let (j0, j1) = (libm::j0(zeta), libm::j1(zeta));
                2.0 * j1 / (zeta * (j0 * j0 + j1 * j1))
            }
            Self::Sphere => 4.0 * (libm::sin(zeta) - zeta * libm::cos(zeta)) / (2.0 * zeta - libm::sin(2.0 * zeta)),
        }
    }

    /// θ at a place (0 the core, 1 the surface) and a Fourier number.
    ///
    /// # Errors
    /// A Biot number outside 1e-6 to 1e6, a Fourier number outside 0.01 to 1e9, a place outside 0 to 1.
    pub fn theta(self, biot: Ratio, fourier: Ratio, place: Ratio) -> Result<Ratio> {
        let biot = in_range(biot)?;
        let fourier = within("the Fourier number", fourier.value, "", 0.01, 1e9)?;
        let place = within("the place", place.value, "of the way to the surface", 0.0, 1.0)?;
        Ok(si::fraction(self.sum(biot, fourier, place, TERMS)))
    }

    /// θ by the first term alone: for Fourier numbers above 0.2.
    ///
    /// # Errors
    /// As for [`Shape::theta`].
    pub fn theta_one_term(self, biot: Ratio, fourier: Ratio, place: Ratio) -> Result<Ratio> {
        self.theta(biot, fourier, place)?;
        Ok(si::fraction(self.sum(biot.value, fourier.value, place.value, 1)))
    }

    /// θ of a body at one temperature: `exp(-m Bi Fo)`, m = 1, 2, 3.
    ///
    /// # Errors
    /// As for [`Shape::theta`].
    pub fn theta_lumped(self, biot: Ratio, fourier: Ratio) -> Result<Ratio> {
        self.theta(biot, fourier, si::fraction(0.0))?;
        Ok(si::fraction(libm::exp(-self.factor() * biot.value * fourier.value)))
    }

    /// The Fourier number at which the core comes to a θ; `None` if it is there before Fo = 0.01.
    ///
    /// # Errors
    /// A Biot number outside 1e-6 to 1e6, a θ outside 1e-9 to 1.
    pub fn fourier_for(self, biot: Ratio, theta: Ratio) -> Result<Option<Ratio>> {
        let biot = in_range(biot)?;
        let theta = within("the temperature still to go", theta.value, "of the whole", 1e-9, 1.0)?;
        let first = self.zeta(biot, 1);
        // One term overestimates the core's θ a little at small Fo, so that twice its answer is beyond.
        let guess = (libm::log(self.coefficient(first) / theta) / (first * first)).max(0.01);
        let terms: Vec<(f64, f64)> = (1..=12).map(|n| self.zeta(biot, n)).map(|z| (self.coefficient(z), z * z)).collect();
        let off = |fo: f64| terms.iter().map(|(c, square)| c * libm::exp(-square * fo)).sum::<f64>() - theta;
        Ok(root(0.01, 2.0 * guess + 0.02, 1e-12, off).map(si::fraction))
    }

    fn sum(self, biot: f64, fourier: f64, place: f64, terms: u32) -> f64 {
        let mut sum = 0.0;
        for term in 1..=terms {
            let zeta = self.zeta(biot, term);
            let decay = libm::exp(-zeta * zeta * fourier);
            sum += self.coefficient(zeta) * decay * self.space(zeta * place);
            if decay < 1e-20 {
                break;
            }
        }
        sum
    }

    fn space(self, z: f64) -> f64 {
        match self {
            Self::Plate => libm::cos(z),
            Self::Bar => libm::j0(z),
            Self::Sphere if z == 0.0 => 1.0,
            Self::Sphere => libm::sin(z) / z,
        }
    }

    fn zeta(self, biot: f64, term: u32) -> f64 {
        let n = f64::from(term - 1);
        // Each eigenvalue lies alone between a zero of its equation at Bi = 0 and one at Bi = ∞.
        let (low, high) = match self {
            Self::Plate => (n * PI, n * PI + PI / 2.0),
            Self::Sphere => (n * PI, (n + 1.0) * PI),
            Self::Bar => (bessel_zero(libm::j1, n, n + 0.5), bessel_zero(libm::j0, n + 0.5, n + 1.0)),
        };
        let equation = |z: f64| match self {
            Self::Plate => z * libm::sin(z) - biot * libm::cos(z),
            Self::Bar => z * libm::j1(z) - biot * libm::j0(z),
            Self::Sphere => (1.0 - biot) * libm::sin(z) - z * libm::cos(z),
        };
        root(low + 1e-9, high - 1e-12, 1e-14, equation).unwrap_or(high)
    }
}

/// The zero of a Bessel function between two multiples of π; the zeros of J0 and J1 lie so. The first zero of J1 is 0.
fn bessel_zero(function: fn(f64) -> f64, low: f64, high: f64) -> f64 {
    if low == 0.0 { 0.0 } else { root(low * PI, high * PI, 1e-14, function).unwrap_or(low * PI) }
}

fn in_range(biot: Ratio) -> Result<f64> {
    within("the Biot number", biot.value, "", 1e-6, 1e6)
}
