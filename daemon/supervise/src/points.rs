//! What was last read of every point, how old it is, and the worst that was seen since the last tick.
//!
//! Readings are not merged away between two ticks: a door that opened and shut again leaves its mark until a tick has seen it.

use std::time::Duration;

use hearthward_equipment::quantity::{GasFlow, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius, in_litres_per_minute};
use hearthward_equipment::{Evidence, FurnaceId, PointId, Quality, Reading, ShopMs, Value};
use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;
use uom::si::pressure::pascal;
use uom::si::ratio::ratio;

use crate::rule::{Input, Quantity};

/// A point as a tick sees it: a number that may be relied upon, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) enum Sample {
    /// Good, fresh and finite: °C, a share, mol/s, Pa, or 0 and 1 for a flag.
    Good(f64),
    /// The device says that it cannot be relied upon, or the number is none.
    Bad,
    /// The last reading is too old, or the device gave no value.
    Stale,
    /// It was never read, or no such point is wired.
    Never,
}

impl Sample {
    /// The number, if it may be relied upon.
    pub(crate) fn good(self) -> Option<f64> {
        if let Self::Good(number) = self { Some(number) } else { None }
    }

    /// The number, or one that is false in every comparison.
    pub(crate) fn or_nan(self) -> f64 {
        self.good().unwrap_or(f64::NAN)
    }
}

/// What is kept of a point.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Point {
    pub(crate) value: Option<Value>,
    pub(crate) quality: Quality,
    pub(crate) evidence: Evidence,
    pub(crate) at: Option<ShopMs>,
    /// Age at which its strictest reader takes it as missing.
    pub(crate) stale_after: Duration,
    /// The quality that the record was last told.
    pub(crate) told: Told,
    number: f64,
    high: f64,
    low: f64,
    doubtful: bool,
    /// A good number above this, or no good number at all, may trip something.
    hurry_above: Option<f64>,
    /// Rules of the shop's own that cut and read it: the furnace, and the rule's place in its list.
    cuts_by: Vec<(FurnaceId, u16)>,
}

/// What the record knows of a point's quality.
///
/// ```text
/// Nothing ──first reading──▶ Good ⇄ Uncertain ⇄ (Bad or Stale) (each to each, told once a change)
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Told {
    /// Nothing yet.
    Nothing,
    /// That it is good.
    Good,
    /// That it is uncertain.
    Uncertain,
    /// That it is bad.
    Bad,
    /// That it is too old.
    Stale,
}

impl Told {
    /// No number that may be relied upon.
    pub(crate) fn is_useless(self) -> bool {
        matches!(self, Self::Bad | Self::Stale)
    }

    /// The word of the record.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Nothing => "unread",
            Self::Good => "good",
            Self::Uncertain => "uncertain",
            Self::Bad => "bad",
            Self::Stale => "stale",
        }
    }
}

impl Point {
    fn new() -> Self {
        Self {
            value: None,
            quality: Quality::Bad,
            evidence: Evidence::Measured,
            at: None,
            stale_after: Duration::MAX,
            told: Told::Nothing,
            number: f64::NAN,
            high: f64::NEG_INFINITY,
            low: f64::INFINITY,
            doubtful: false,
            hurry_above: None,
            cuts_by: Vec::new(),
        }
    }

    fn is_stale(&self, now: ShopMs, stale_after: Duration) -> bool {
        self.at.is_none_or(|at| now.since(at) > stale_after)
    }

    /// The device gave no value, or a person's reading has lost its worth by age.
    fn is_missing(&self) -> bool {
        self.value.is_none() || (self.evidence == Evidence::Confirmed && self.quality != Quality::Good)
    }

    /// The quality as it is told at this time.
    pub(crate) fn tells(&self, now: ShopMs) -> Told {
        match (self.at, self.quality) {
            (None, _) => Told::Nothing,
            (Some(_), _) if self.is_stale(now, self.stale_after) => Told::Stale,
            (Some(_), Quality::Good) => Told::Good,
            (Some(_), Quality::Uncertain) => Told::Uncertain,
            (Some(_), Quality::Bad) => Told::Bad,
        }
    }
}

/// All points of the directory.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Points {
    list: Vec<Point>,
}

impl Points {
    /// Points for a directory of this size; what was known of the first ones stays.
    pub(crate) fn resize(&mut self, count: usize) {
        self.list.resize_with(count, Point::new);
    }

    /// Takes over what an earlier list knows: `from` says where each point was in it.
    pub(crate) fn take_over(&mut self, old: &mut Self, from: impl Fn(usize) -> Option<usize>) {
        for (place, point) in self.list.iter_mut().enumerate() {
            if let Some(known) = from(place).and_then(|old_place| old.list.get(old_place)) {
                let (stale_after, hurry_above) = (point.stale_after, point.hurry_above);
                let cuts_by = std::mem::take(&mut point.cuts_by);
                *point = Point { stale_after, hurry_above, cuts_by, ..known.clone() };
            }
        }
    }

    /// A reader takes the point as missing at this age.
    pub(crate) fn limit(&mut self, point: Option<PointId>, stale_after: Duration) {
        if let Some(point) = point.and_then(|point| self.list.get_mut(point.index())) {
            point.stale_after = point.stale_after.min(stale_after);
        }
    }

    /// A number above this may trip something, and shall be decided on at once.
    pub(crate) fn hurry(&mut self, point: Option<PointId>, above: f64) {
        if let Some(point) = point.and_then(|point| self.list.get_mut(point.index())) {
            point.hurry_above = Some(point.hurry_above.map_or(above, |known| known.min(above)));
        }
    }

    /// A rule of the shop's own that cuts reads the point.
    pub(crate) fn hurry_rule(&mut self, point: PointId, furnace: FurnaceId, place: u16) {
        if let Some(point) = self.list.get_mut(point.index())
            && !point.cuts_by.contains(&(furnace, place))
        {
            point.cuts_by.push((furnace, place));
        }
    }

    /// The rules that cut and read the point.
    pub(crate) fn cuts_by(&self, point: PointId) -> &[(FurnaceId, u16)] {
        self.of(Some(point)).map_or(&[], |point| &point.cuts_by)
    }

    /// Whether a reading may trip something that what is known of its point does not trip already.
    pub(crate) fn is_news(&self, now: ShopMs, reading: &Reading) -> bool {
        let Some(point) = self.of(Some(reading.point)) else { return false };
        let Some(above) = point.hurry_above else { return false };
        let trips = |quality, number: f64| quality != Quality::Good || !(number <= above);
        let known = point.at.is_none() || point.is_stale(now, point.stale_after) || trips(point.quality, point.number);
        trips(reading.quality, reading.value.as_ref().map_or(f64::NAN, number)) && !known
    }

    /// Stores a reading. One that is older than what is known only leaves its marks: what it saw did happen.
    pub(crate) fn store(&mut self, now: ShopMs, reading: &Reading) {
        let Some(point) = self.list.get_mut(reading.point.index()) else { return };
        let number = reading.value.as_ref().map_or(f64::NAN, number);
        if reading.quality == Quality::Good && number.is_finite() {
            point.high = point.high.max(number);
            point.low = point.low.min(number);
        } else if reading.value.is_some() && reading.evidence != Evidence::Confirmed {
            // Without a value the device did not answer; what a person read has only grown old.
            point.doubtful = true;
        }
        // A reading from the future would stay fresh for too long.
        let at = reading.at.min(now);
        if point.at.is_some_and(|known| at < known) {
            return;
        }
        point.value.clone_from(&reading.value);
        point.quality = if reading.value.is_none() { Quality::Bad } else { reading.quality };
        point.evidence = reading.evidence;
        point.at = Some(at);
        point.number = number;
    }

    /// The point as this reader may take it.
    pub(crate) fn sample(&self, point: Option<PointId>, now: ShopMs, stale_after: Duration) -> Sample {
        let Some(point) = point.and_then(|point| self.list.get(point.index())) else { return Sample::Never };
        if point.at.is_none() {
            Sample::Never
        } else if point.is_stale(now, stale_after) || point.is_missing() {
            Sample::Stale
        } else if point.quality == Quality::Good && point.number.is_finite() {
            Sample::Good(point.number)
        } else {
            Sample::Bad
        }
    }

    /// The number that a rule reads, in the unit of its quantity, if it may be relied upon and is of that quantity.
    pub(crate) fn of_quantity(&self, input: &Input, now: ShopMs) -> Option<f64> {
        let number = self.sample(Some(input.point), now, input.stale_after).good()?;
        let value = self.of(Some(input.point))?.value.as_ref()?;
        match (input.quantity, value) {
            (Quantity::Flag, Value::Flag(_))
            | (Quantity::Temperature, Value::Temperature(_))
            | (Quantity::Share, Value::Share(_))
            | (Quantity::Number, Value::Number(_)) => Some(number),
            (Quantity::GasFlow, Value::GasFlow(_)) => {
                Some(in_litres_per_minute(GasFlow::new::<katal>(number), SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA))
            }
            (Quantity::Pressure, Value::Pressure(_)) => Some(number / PA_IN_KPA),
            _ => None,
        }
    }

    /// The number as it was last read and good then, if it came since the last tick: for what a person reads and nobody ages.
    pub(crate) fn last_good(&self, point: PointId) -> Option<f64> {
        let point = self.of(Some(point))?;
        (point.high.is_finite() && point.quality == Quality::Good && point.number.is_finite()).then_some(point.number)
    }

    /// The highest good number since the last tick, or negative infinity.
    pub(crate) fn high(&self, point: Option<PointId>) -> f64 {
        self.of(point).map_or(f64::NEG_INFINITY, |point| point.high)
    }

    /// The lowest good number since the last tick, or infinity.
    pub(crate) fn low(&self, point: Option<PointId>) -> f64 {
        self.of(point).map_or(f64::INFINITY, |point| point.low)
    }

    /// Whether anything that may not be relied upon came in since the last tick.
    pub(crate) fn doubtful(&self, point: Option<PointId>) -> bool {
        self.of(point).is_some_and(|point| point.doubtful)
    }

    /// Whether the device was read and gave no value.
    pub(crate) fn is_empty(&self, point: Option<PointId>) -> bool {
        self.of(point).is_some_and(|point| point.at.is_some() && point.value.is_none())
    }

    /// Whether it is what a person reads and enters.
    pub(crate) fn by_hand(&self, point: Option<PointId>) -> bool {
        self.of(point).is_some_and(|point| point.evidence == Evidence::Confirmed)
    }

    /// Whether it is what a person read, and only a little too old: to be read anew, not yet to be taken as lost.
    pub(crate) fn is_aging(&self, point: Option<PointId>) -> bool {
        self.of(point).is_some_and(|point| point.evidence == Evidence::Confirmed && point.quality == Quality::Uncertain)
    }

    /// When the point was last read.
    pub(crate) fn read_at(&self, point: Option<PointId>) -> Option<ShopMs> {
        self.of(point).and_then(|point| point.at)
    }

    /// The tick has seen all marks.
    pub(crate) fn forget_marks(&mut self) {
        for point in &mut self.list {
            (point.high, point.low, point.doubtful) = (f64::NEG_INFINITY, f64::INFINITY, false);
        }
    }

    /// All of them in order.
    pub(crate) fn list(&self) -> &[Point] {
        &self.list
    }

    /// All of them in order, to note what the record was told.
    pub(crate) fn list_mut(&mut self) -> &mut [Point] {
        &mut self.list
    }

    fn of(&self, point: Option<PointId>) -> Option<&Point> {
        self.list.get(point?.index())
    }
}

/// A value as the bare number that decisions are made on; not a number for words.
pub(crate) fn number(value: &Value) -> f64 {
    match value {
        Value::Flag(is) => f64::from(u8::from(*is)),
        Value::Temperature(is) => believable(in_celsius(*is)),
        Value::Share(is) => is.get::<ratio>(),
        Value::GasFlow(is) => is.get::<katal>(),
        Value::Pressure(is) => is.get::<pascal>(),
        Value::Number(is) => *is,
        Value::Whole(_) | Value::Text(_) => f64::NAN,
    }
}

/// Pascals in a kilopascal.
const PA_IN_KPA: f64 = 1000.0;

/// A temperature that a thermometer in a workshop can have; anything else is none: an open or shorted thermocouple.
fn believable(read_c: f64) -> f64 {
    if (COLDEST_C..=HOTTEST_C).contains(&read_c) { read_c } else { f64::NAN }
}

/// Below any workshop, above any thermocouple that is used here (assumed, no source).
const COLDEST_C: f64 = -60.0;
const HOTTEST_C: f64 = 1900.0;

#[cfg(test)]
mod tests {
    use super::*;
    use hearthward_equipment::quantity::celsius;

    fn reading(at: u64, value_c: f64, quality: Quality) -> Reading {
        let value = Some(Value::Temperature(celsius(value_c)));
        Reading { point: PointId(0), at: ShopMs(at), value, quality, evidence: Evidence::Measured }
    }

    fn one() -> Points {
        let mut points = Points::default();
        points.resize(1);
        points
    }

    const AGE: Duration = Duration::from_secs(2);

    #[test]
    fn a_reading_grows_old_and_never_looks_fresher_than_now() {
        let mut points = one();
        points.store(ShopMs(1_000), &reading(900_000, 20.0, Quality::Good));
        assert!(matches!(points.sample(Some(PointId(0)), ShopMs(3_000), AGE), Sample::Good(_)));
        assert_eq!(points.sample(Some(PointId(0)), ShopMs(3_001), AGE), Sample::Stale);
    }

    #[test]
    fn an_older_reading_leaves_a_mark_and_changes_nothing_else() {
        let mut points = one();
        points.store(ShopMs(1_000), &reading(1_000, 20.0, Quality::Good));
        points.store(ShopMs(1_000), &reading(500, 990.0, Quality::Good));
        assert!((points.sample(Some(PointId(0)), ShopMs(1_000), AGE).or_nan() - 20.0).abs() < 1e-9);
        assert!((points.high(Some(PointId(0))) - 990.0).abs() < 1e-9);
        points.forget_marks();
        assert!(points.high(Some(PointId(0))) < 0.0);
    }

    #[test]
    fn what_is_not_a_number_is_bad() {
        let mut points = one();
        points.store(ShopMs(1), &reading(1, f64::NAN, Quality::Good));
        assert_eq!(points.sample(Some(PointId(0)), ShopMs(1), AGE), Sample::Bad);
        assert!(points.doubtful(Some(PointId(0))));
        assert_eq!(points.sample(None, ShopMs(1), AGE), Sample::Never);
        for unbelievable in [-61.0, 1901.0, -300.0, f64::INFINITY] {
            points.store(ShopMs(1), &reading(1, unbelievable, Quality::Good));
            assert_eq!(points.sample(Some(PointId(0)), ShopMs(1), AGE), Sample::Bad, "{unbelievable}");
        }
    }
}
