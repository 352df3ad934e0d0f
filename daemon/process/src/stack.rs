//! The chimney of a hot chamber: the pressure that its light gas makes, the air that it draws through the gaps, and the
//! flow that keeps the lowest gap blowing outward.
//!
//! Pressure inside over outside at height z above the lowest gap: `p_0 + (ρ_out - ρ_in) g z` (stack effect; building
//! physics, from memory). Through a gap flows `C_d A √(2 |Δp| / ρ)` of whatever flows, `C_d = 0.6`. The balance of moles
//! finds `p_0`. Hot gas leaks out at the top and air enters at the bottom; cold argon does the reverse.
//!
//! The orifice law is an upper bound for narrow gaps: below a Reynolds number of a few hundred the flow is viscous and
//! the need may be 3 to 300 times smaller. The second bound takes the gap as a plane slot of the seal's depth; the truth
//! lies below the smaller of the two. The same holds of the air that is drawn in, by the same two laws at the same purge.
//!
//! Gas that weighs as much as the room's air makes no draught: nothing is drawn in, and no flow is needed to hold it.

use crate::constants::{ATMOSPHERE_PA, GRAVITY, R};
use crate::error::{Result, impossible, within};
use crate::gas::{Gas, Mixture};
use crate::note::Note;
use crate::numeric::root;
use crate::{AmountFlow, si};
use uom::si::f64::{Length, Pressure, Ratio, ThermodynamicTemperature};

/// Where a chamber has gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A level gap at the bottom and another at the height of the chamber.
    TwoSlots,
    /// The same two, and an upright gap on each side: a door in its frame.
    DoorFrame,
}

/// The gaps of a chamber.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gaps {
    /// The height from the lowest gap to the highest.
    pub height: Length,
    /// The width of every gap.
    pub width: Length,
    /// The length of each level gap.
    pub length: Length,
    /// The depth of the seal, along the flow. 20 mm is a usual guess.
    pub depth: Length,
    /// Where the gaps are.
    pub shape: Shape,
}

/// What the chimney does at a purge.
#[derive(Debug, Clone, PartialEq)]
pub struct Draught {
    /// The pressure that the column makes between bottom and top; negative for gas heavier than the room's air.
    pub buoyancy: Pressure,
    /// Inside over outside at the lowest gap.
    pub bottom: Pressure,
    /// Inside over outside at the highest gap.
    pub top: Pressure,
    /// The height at which the two are equal, over the lowest gap; outside the chamber where all gaps blow one way, none without
    /// a draught.
    pub neutral: Option<Length>,
    /// The gas that leaves.
    pub gas_out: AmountFlow,
    /// The air that enters, by the orifice law.
    pub air_in: AmountFlow,
    /// The same if the gaps are viscous slots of the seal's depth, filled with air of the room where it enters.
    pub air_in_viscous: AmountFlow,
    /// The smallest purge that keeps every gap blowing outward, by the orifice law.
    pub holding: AmountFlow,
    /// The same if the gaps are viscous slots of the seal's depth.
    pub holding_viscous: AmountFlow,
    /// The Reynolds number in the gaps under the full column.
    pub reynolds: Ratio,
    /// What the numbers rest on.
    pub notes: Vec<Note>,
}

impl Draught {
    /// The smallest purge that keeps every gap blowing outward: the smaller of the two upper bounds.
    pub fn holds(&self) -> AmountFlow {
        smaller(self.holding, self.holding_viscous)
    }

    /// The air that may enter: the smaller of the two upper bounds, so none from [`Draught::holds`] on.
    pub fn draws(&self) -> AmountFlow {
        smaller(self.air_in, self.air_in_viscous)
    }
}

fn smaller(a: AmountFlow, b: AmountFlow) -> AmountFlow {
    if a < b { a } else { b }
}

/// The chimney of a chamber filled with a gas at a temperature, under a purge (which may be zero).
///
/// A snapshot: the fill has not yet been diluted by what enters, and air that enters warms at once.
///
/// # Errors
/// A height outside 0.01 to 5 m, a gap outside 0.01 to 20 mm wide, a temperature outside -20 to 1250 °C.
pub fn draught(
    gas: &Mixture,
    chamber: ThermodynamicTemperature,
    room: ThermodynamicTemperature,
    gaps: &Gaps,
    purge: AmountFlow,
) -> Result<Draught> {
    let column = Column::new(gas, chamber, room, gaps)?;
    let purge_mol_s = within("the purge", purge.value, "mol/s", 0.0, 1e3)?;
    // The pressure at the bottom is within 1e5 Pa of the room's for any purge that a gap can pass.
    let p0_pa = balanced((-1e5, 1e5), purge_mol_s, |p0_pa| column.flows(p0_pa)).ok_or_else(|| {
        impossible("the draught of a chamber", "so much purge cannot leave through such narrow gaps".to_owned())
    })?;
    let (out, air) = column.flows(p0_pa);
    let rise_pa = column.slope_pa_m * column.height_m;
    let viscosities = (gas.viscosity(chamber)?.value, Mixture::from(Gas::Air).viscosity(room)?.value);
    let reynolds = column.reynolds(viscosities.0);
    let all_outward_pa = column.all_outward_pa();
    let holding_viscous = column.viscous(all_outward_pa, viscosities).0;
    let air_in_viscous = if purge_mol_s >= holding_viscous { 0.0 } else { column.viscous_air(purge_mol_s, viscosities)? };
    let mut notes = vec![Note::basis("stack effect with the orifice law (coefficient 0.6) and a balance of moles")];
    if column.slope_pa_m == 0.0 {
        notes.push(Note::basis(
            "the gas of the chamber weighs as much as the air outside: there is no draught, and no flow is needed to hold it",
        ));
    } else if reynolds < 300.0 {
        notes.push(Note::outside(
            "the flow in such narrow gaps is viscous: the orifice law is an upper bound, the need may be 3 to 300 times smaller; the truth lies below the smaller of the two flows",
        ));
    }
    Ok(Draught {
        buoyancy: si::pascals(rise_pa),
        bottom: si::pascals(p0_pa),
        top: si::pascals(p0_pa + rise_pa),
        neutral: (column.slope_pa_m != 0.0).then(|| si::metres(-p0_pa / column.slope_pa_m)),
        gas_out: si::mole_rate(out),
        air_in: si::mole_rate(air),
        air_in_viscous: si::mole_rate(air_in_viscous),
        holding: si::mole_rate(column.flows(all_outward_pa).0),
        holding_viscous: si::mole_rate(holding_viscous),
        reynolds: si::fraction(reynolds),
        notes,
    })
}

/// The column of gas with its gaps, in SI numbers.
struct Column {
    inside_kg_m3: f64,
    outside_kg_m3: f64,
    inside_kg_mol: f64,
    slope_pa_m: f64,
    height_m: f64,
    width_m: f64,
    length_m: f64,
    depth_m: f64,
    shape: Shape,
}

/// The pressure at the bottom, of two that hold it between them, at which gas out, air in and the purge balance by a law of both flows.
fn balanced((low_pa, high_pa): (f64, f64), purge_mol_s: f64, flows: impl Fn(f64) -> (f64, f64)) -> Option<f64> {
    root(low_pa, high_pa, 1e-14, |p0_pa| {
        let (out, air) = flows(p0_pa);
        out - air - purge_mol_s
    })
}

/// A difference in weight that no chamber makes anything of: a ten-thousandth of that of hot gas.
const NO_DRAUGHT_PA_M: f64 = 1e-4;
/// Discharge coefficient of a sharp gap: usual value of the texts, from memory.
const DISCHARGE: f64 = 0.6;

impl Column {
    fn new(gas: &Mixture, chamber: ThermodynamicTemperature, room: ThermodynamicTemperature, gaps: &Gaps) -> Result<Self> {
        let chamber_c = within("the chamber's temperature", si::celsius(chamber), "°C", -20.0, 1250.0)?;
        let room_c = within("the room's temperature", si::celsius(room), "°C", -20.0, 60.0)?;
        let inside_kg_mol = gas.molar_kg();
        let density = |kg_mol: f64, t_c: f64| ATMOSPHERE_PA * kg_mol / (R * (t_c + si::ICE_K));
        let (inside_kg_m3, outside_kg_m3) = (density(inside_kg_mol, chamber_c), density(Gas::Air.molar_kg(), room_c));
        let slope_pa_m = (outside_kg_m3 - inside_kg_m3) * GRAVITY;
        Ok(Self {
            inside_kg_m3,
            outside_kg_m3,
            inside_kg_mol,
            slope_pa_m: if libm::fabs(slope_pa_m) < NO_DRAUGHT_PA_M { 0.0 } else { slope_pa_m },
            height_m: within("the height between the gaps", gaps.height.value, "m", 0.01, 5.0)?,
            width_m: within("the width of a gap", gaps.width.value * 1e3, "mm", 0.01, 20.0)? / 1e3,
            length_m: within("the length of a gap", gaps.length.value, "m", 1e-3, 10.0)?,
            depth_m: within("the depth of the seal", gaps.depth.value * 1e3, "mm", 0.1, 1000.0)? / 1e3,
            shape: gaps.shape,
        })
    }

    /// Moles a second out and in at a pressure at the bottom.
    fn flows(&self, p0_pa: f64) -> (f64, f64) {
        let level = DISCHARGE * self.length_m * self.width_m;
        let top_pa = p0_pa + self.slope_pa_m * self.height_m;
        let (mut out, mut air) = (0.0, 0.0);
        for p in [p0_pa, top_pa] {
            out += level * self.outward(p.max(0.0));
            air += level * self.inward((-p).max(0.0));
        }
        if self.shape == Shape::DoorFrame {
            // ∫ √p dz along the gap, where p runs evenly from one end to the other: 2/3 p^1.5 over the slope.
            let (low, high) = (p0_pa.min(top_pa), p0_pa.max(top_pa));
            let part = |p: f64| 2.0 / 3.0 * p * libm::sqrt(p);
            let along = |from: f64, to: f64| match libm::fabs(self.slope_pa_m) {
                0.0 => libm::sqrt(to) * self.height_m,
                slope => (part(to) - part(from)) / slope,
            };
            let both = 2.0 * DISCHARGE * self.width_m;
            out += both * self.outward(1.0) * along(low.max(0.0), high.max(0.0));
            air += both * self.inward(1.0) * along((-high).max(0.0), (-low).max(0.0));
        }
        (out, air)
    }

    /// Moles a second and square metre of chamber gas under a pressure, before the discharge coefficient.
    fn outward(&self, p_pa: f64) -> f64 {
        libm::sqrt(2.0 * p_pa * self.inside_kg_m3) / self.inside_kg_mol
    }

    fn inward(&self, p_pa: f64) -> f64 {
        libm::sqrt(2.0 * p_pa * self.outside_kg_m3) / Gas::Air.molar_kg()
    }

    /// The pressure at the bottom at which the last gap stops drawing in: the lowest for light gas, the highest for heavy.
    fn all_outward_pa(&self) -> f64 {
        (-self.slope_pa_m * self.height_m).max(0.0)
    }

    /// Moles a second out and in through plane slots at a pressure at the bottom, with the viscosities of gas and air.
    fn viscous(&self, p0_pa: f64, (gas_pa_s, air_pa_s): (f64, f64)) -> (f64, f64) {
        let top_pa = p0_pa + self.slope_pa_m * self.height_m;
        // The pressure over the lengths of the gaps, in Pa m; along an upright one it runs evenly: ∫ p dz.
        let over = |sign: f64| {
            let (one, other) = ((sign * p0_pa).max(0.0), (sign * top_pa).max(0.0));
            let uprights = match libm::fabs(self.slope_pa_m) {
                _ if self.shape == Shape::TwoSlots => 0.0,
                0.0 => 2.0 * one * self.height_m,
                slope => libm::fabs(one * one - other * other) / slope,
            };
            self.length_m * (one + other) + uprights
        };
        let slot = self.width_m * self.width_m * self.width_m / (12.0 * self.depth_m);
        let out = slot / gas_pa_s * over(1.0) * self.inside_kg_m3 / self.inside_kg_mol;
        (out, slot / air_pa_s * over(-1.0) * self.outside_kg_m3 / Gas::Air.molar_kg())
    }

    /// Moles of air a second through plane slots under a purge that does not hold them.
    fn viscous_air(&self, purge_mol_s: f64, viscosities: (f64, f64)) -> Result<f64> {
        let all_outward_pa = self.all_outward_pa();
        let all_inward_pa = all_outward_pa - libm::fabs(self.slope_pa_m) * self.height_m;
        let p0_pa = balanced((all_inward_pa, all_outward_pa), purge_mol_s, |p0_pa| self.viscous(p0_pa, viscosities)).ok_or_else(
            || impossible("the draught of a chamber", "its pressures cannot be balanced in such narrow gaps".to_owned()),
        )?;
        Ok(self.viscous(p0_pa, viscosities).1)
    }

    fn reynolds(&self, viscosity_pa_s: f64) -> f64 {
        let speed = DISCHARGE * libm::sqrt(2.0 * libm::fabs(self.slope_pa_m) * self.height_m / self.inside_kg_m3);
        2.0 * self.width_m * speed * self.inside_kg_m3 / viscosity_pa_s
    }
}
