//! Ticks in a row as columns: their times and digests, what was told, and the readings point by point.

use std::collections::BTreeMap;

use hearthward_equipment::{Evidence, PointId, Quality, Reading, Scale, ShopMs, Tick, Value};
use hearthward_supervise::observe::Observation;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::input::{Inputs, PastTick, Told, fold};
use crate::pack::Packed;

/// Most ticks of one span, so that reading one back takes a few megabytes at most.
pub(crate) const MOST_TICKS: usize = 8192;

/// Most readings of one span, for the same reason.
pub(crate) const MOST_READINGS: usize = 1 << 17;

/// Ticks without a gap, being gathered.
#[derive(Debug)]
pub(crate) struct Span {
    pub(crate) tick_from: u64,
    pub(crate) wall_ms: i64,
    now_ms: Vec<i64>,
    digests: Vec<i64>,
    durable: Durable,
    /// Which tick, its place among what that tick was told, and what.
    told: Vec<(u32, u32, Told)>,
    points: BTreeMap<u16, Column>,
    readings: usize,
}

/// How far the record had come, which is told far more often than anything else: which tick, and how many ticks before it.
#[derive(Debug, Default)]
struct Durable {
    ticks: Vec<i64>,
    behind: Vec<i64>,
}

/// The readings of one point.
#[derive(Debug, Default)]
struct Column {
    ticks: Vec<i64>,
    /// Milliseconds from the reading to its tick.
    ages_ms: Vec<i64>,
    marks: Vec<i64>,
    steps: Vec<i64>,
    /// Values without a whole number of steps, by their place.
    words: Vec<(u32, Value)>,
}

/// A span as its row of ticks and its row of readings.
#[derive(Debug)]
pub(crate) struct Encoded {
    pub(crate) log: Vec<u8>,
    pub(crate) input: Vec<u8>,
    pub(crate) hash: [u8; 32],
}

#[derive(Serialize, Deserialize)]
struct LogBody {
    now_ms: Packed,
    digests: Packed,
    durable_ticks: Packed,
    durable_behind: Packed,
    told: Vec<(u32, u32, Told)>,
}

#[derive(Serialize, Deserialize)]
struct InputBody {
    points: Vec<PointBody>,
}

#[derive(Serialize, Deserialize)]
struct PointBody {
    point: u16,
    times: Times,
    marks: Packed,
    steps: Packed,
    words: Vec<(u32, Value)>,
}

#[derive(Serialize, Deserialize)]
enum Times {
    Own {
        ticks: Packed,
        ages_ms: Packed,
    },
    /// Those of an earlier point of the list: what one read of a unit brought came at one time.
    As(u16),
}

impl Span {
    /// A span that begins at this tick.
    pub(crate) fn new(tick: Tick, wall_ms: i64) -> Self {
        Self {
            tick_from: tick.0,
            wall_ms,
            now_ms: Vec::new(),
            digests: Vec::new(),
            durable: Durable::default(),
            told: Vec::new(),
            points: BTreeMap::new(),
            readings: 0,
        }
    }

    /// Whether this tick is the next and there is room for it.
    pub(crate) fn takes(&self, tick: Tick) -> bool {
        !self.is_full() && tick.0 == self.tick_from + self.now_ms.len() as u64
    }

    /// How many readings it holds.
    pub(crate) fn readings(&self) -> usize {
        self.readings
    }

    /// Whether another tick begins another span.
    pub(crate) fn is_full(&self) -> bool {
        self.now_ms.len() >= MOST_TICKS || self.readings >= MOST_READINGS
    }

    /// Takes the next tick.
    pub(crate) fn push(&mut self, tick: Tick, now: ShopMs, inputs: &Inputs) {
        let place = self.now_ms.len();
        self.now_ms.push(now.0.cast_signed());
        self.digests.push(i64::from(fold(inputs.digest)));
        for (order, told) in inputs.others.iter().enumerate() {
            match told {
                Told::Observed(Observation::Durable { through }) => {
                    self.durable.ticks.push(signed(place));
                    self.durable.behind.push(tick.0.wrapping_sub(through.0).cast_signed());
                }
                told => self.told.push((small(place), small(order), told.clone())),
            }
        }
        for reading in &inputs.readings {
            self.points.entry(reading.point.0).or_default().push(signed(place), now, reading);
        }
        self.readings += inputs.readings.len();
    }

    /// The last tick, and the first and last times.
    pub(crate) fn bounds(&self) -> (u64, ShopMs, ShopMs) {
        let ms = |at: Option<&i64>| ShopMs(at.copied().unwrap_or(0).cast_unsigned());
        (self.tick_from + self.now_ms.len() as u64 - 1, ms(self.now_ms.first()), ms(self.now_ms.last()))
    }

    /// The columns as bytes.
    pub(crate) fn encode(&self) -> Result<Encoded, postcard::Error> {
        let log = LogBody {
            now_ms: Packed::pack(&self.now_ms),
            digests: Packed::pack(&self.digests),
            durable_ticks: Packed::pack(&self.durable.ticks),
            durable_behind: Packed::pack(&self.durable.behind),
            told: self.told.clone(),
        };
        let mut points: Vec<PointBody> = Vec::with_capacity(self.points.len());
        // The last column that has its times of its own.
        let mut before: Option<(u16, &Column)> = None;
        for (&point, column) in &self.points {
            let times = match before {
                Some((place, own)) if own.ticks == column.ticks && own.ages_ms == column.ages_ms => Times::As(place),
                _ => {
                    before = u16::try_from(points.len()).ok().map(|place| (place, column));
                    Times::Own { ticks: Packed::pack(&column.ticks), ages_ms: Packed::pack(&column.ages_ms) }
                }
            };
            let (marks, steps) = (Packed::pack(&column.marks), Packed::pack(&column.steps));
            points.push(PointBody { point, times, marks, steps, words: column.words.clone() });
        }
        let (log, input) = (postcard::to_stdvec(&log)?, postcard::to_stdvec(&InputBody { points })?);
        let hash = hash_of(&log, &input);
        Ok(Encoded { log, input, hash })
    }
}

impl Column {
    fn push(&mut self, place: i64, now: ShopMs, reading: &Reading) {
        self.ticks.push(place);
        self.ages_ms.push(now.0.wrapping_sub(reading.at.0).cast_signed());
        let (kind, steps) = match &reading.value {
            None => (NO_VALUE, 0),
            Some(value) => match value.steps() {
                Some((scale, steps)) => (number_of(scale), steps),
                None => {
                    self.words.push((small(self.marks.len()), value.clone()));
                    (WORDS, 0)
                }
            },
        };
        let quality = match reading.quality {
            Quality::Good => 0,
            Quality::Uncertain => 1,
            Quality::Bad => 2,
        };
        let evidence = match reading.evidence {
            Evidence::Measured => 0,
            Evidence::Confirmed => 1,
            Evidence::Estimated => 2,
        };
        self.marks.push(kind << 4 | evidence << 2 | quality);
        self.steps.push(steps);
    }
}

/// Reads a span back. Nothing when the bytes are not one, or not those that were written.
pub(crate) fn decode(tick_from: u64, log: &[u8], input: &[u8], hash: &[u8]) -> Option<Vec<PastTick>> {
    if hash_of(log, input) != hash {
        return None;
    }
    let log: LogBody = postcard::from_bytes(log).ok()?;
    let now_ms = log.now_ms.unpack(MOST_TICKS)?;
    let digests = log.digests.unpack(MOST_TICKS)?;
    let mut ticks: Vec<PastTick> = now_ms
        .iter()
        .zip(&digests)
        .zip(tick_from..)
        .map(|((&now, &digest), tick)| {
            let (now, digest) = (ShopMs(now.cast_unsigned()), u32::try_from(digest).ok()?);
            Some(PastTick { tick: Tick(tick), now, readings: Vec::new(), others: Vec::new(), digest })
        })
        .collect::<Option<_>>()?;
    let behind = log.durable_behind.unpack(usize::MAX)?;
    for (place, behind) in log.durable_ticks.unpack(usize::MAX)?.into_iter().zip(behind) {
        let tick = ticks.get_mut(usize::try_from(place).ok()?)?;
        let through = Tick(tick.tick.0.wrapping_sub(behind.cast_unsigned()));
        tick.others.push(Told::Observed(Observation::Durable { through }));
    }
    // In the order in which they were told, so that each finds those before it in their places.
    for (place, order, told) in log.told {
        let others = &mut ticks.get_mut(place as usize)?.others;
        others.insert((order as usize).min(others.len()), told);
    }
    let input: InputBody = postcard::from_bytes(input).ok()?;
    for (place, point) in input.points.iter().enumerate() {
        let own = match &point.times {
            Times::Own { .. } => &point.times,
            Times::As(earlier) => &input.points.get(usize::from(*earlier)).filter(|_| usize::from(*earlier) < place)?.times,
        };
        let Times::Own { ticks: at, ages_ms } = own else { return None };
        give_back(point, &at.unpack(usize::MAX)?, &ages_ms.unpack(usize::MAX)?, &mut ticks)?;
    }
    Some(ticks)
}

fn give_back(body: &PointBody, at: &[i64], ages_ms: &[i64], ticks: &mut [PastTick]) -> Option<()> {
    let (marks, steps) = (body.marks.unpack(at.len())?, body.steps.unpack(at.len())?);
    let mut words = body.words.iter();
    for (((&at, &age_ms), &mark), &steps) in at.iter().zip(ages_ms).zip(&marks).zip(&steps) {
        let tick = ticks.get_mut(usize::try_from(at).ok()?)?;
        let value = match mark >> 4 {
            NO_VALUE => None,
            WORDS => Some(words.next()?.1.clone()),
            scale => Some(Value::from_steps(*SCALES.get(usize::try_from(scale).ok()?)?, steps)),
        };
        tick.readings.push(Reading {
            point: PointId(body.point),
            at: ShopMs(tick.now.0.wrapping_sub(age_ms.cast_unsigned())),
            value,
            quality: *[Quality::Good, Quality::Uncertain, Quality::Bad].get(usize::try_from(mark & 3).ok()?)?,
            evidence: *[Evidence::Measured, Evidence::Confirmed, Evidence::Estimated]
                .get(usize::try_from(mark >> 2 & 3).ok()?)?,
        });
    }
    Some(())
}

/// The scales by their number in the file: new ones are added behind.
const SCALES: [Scale; 7] =
    [Scale::Flag, Scale::Temperature, Scale::Share, Scale::GasFlow, Scale::Pressure, Scale::Whole, Scale::Number];

/// The numbers behind those of the scales, with room between.
const NO_VALUE: i64 = 62;
const WORDS: i64 = 63;

fn number_of(scale: Scale) -> i64 {
    SCALES.iter().position(|&known| known == scale).map_or(WORDS, signed)
}

fn hash_of(log: &[u8], input: &[u8]) -> [u8; 32] {
    let mut hasher = Sha256::new();
    hasher.update((log.len() as u64).to_le_bytes());
    hasher.update(log);
    hasher.update(input);
    hasher.finalize().into()
}

/// Places within a span are bounded far below these types' ends.
fn signed(place: usize) -> i64 {
    i64::try_from(place).unwrap_or(i64::MAX)
}

fn small(place: usize) -> u32 {
    u32::try_from(place).unwrap_or(u32::MAX)
}
