//! Decisions of the past gone through again: the same core, the inputs from the journal, digest against digest.

use std::collections::VecDeque;
use std::sync::Arc;

use hearthward_equipment::{ShopMs, Tick};
use hearthward_journal::{Past, PastTick, ReadError, Reader, Recorded, StandingRow, Start, Told, fold};
use hearthward_supervise::event::Event;
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Outputs;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, STANDING_FORMAT, Shop};
use serde::Serialize;

/// Why a replay cannot begin somewhere, or not go on.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotReplayed {
    /// The journal does not give it.
    #[error(transparent)]
    Journal(#[from] ReadError),
    /// What was kept is of another shape.
    #[error(
        "start {boot}, tick {tick}: {what} was kept by version {version} in another form than this one reads; use that version"
    )]
    OtherForm {
        /// Which start of the service.
        boot: u64,
        /// After which tick.
        tick: u64,
        /// What it is.
        what: &'static str,
        /// Who kept it.
        version: String,
    },
    /// The other plan is of another shop.
    #[error(
        "the other configuration has other furnaces, units or points than the journal's, so its inputs say nothing about it; change numbers only"
    )]
    OtherShop,
}

/// One tick that came out otherwise.
#[derive(Debug, Serialize)]
pub(crate) struct Difference {
    /// Which start of the service.
    pub(crate) boot: u64,
    /// The tick.
    pub(crate) tick: u64,
    /// The shop's time, in milliseconds since that start.
    pub(crate) shop_ms: u64,
    /// The digest on record, folded.
    pub(crate) digest_on_record: u32,
    /// The digest that came out now, folded.
    pub(crate) digest_now: u32,
    /// The events on record.
    pub(crate) events_on_record: Vec<Line>,
    /// The events that came out now.
    pub(crate) events_now: Vec<Line>,
    /// The furnaces that may heat now, and up to what temperature in °C.
    pub(crate) permitted_now: Vec<(String, f64)>,
    /// The furnaces that were cut in this tick.
    pub(crate) cut_now: Vec<String>,
}

/// An event as far as two of them are compared.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(crate) struct Line {
    pub(crate) furnace: Option<String>,
    pub(crate) kind: String,
    pub(crate) text: String,
}

/// Ticks without a gap, being gone through again.
pub(crate) struct Replay {
    boot: u64,
    plan: ShopPlan,
    shop: Shop,
    past: Past,
    told: OnRecord,
    out: Outputs,
    /// The last tick gone through, and its time.
    pub(crate) at: (Tick, ShopMs),
}

impl Replay {
    /// Begins at one of the journal's starts; `other` is a plan to decide under instead of the one that was in force.
    pub(crate) fn begin(reader: &Reader, start: &Start, other: Option<&ShopPlan>) -> Result<Self, NotReplayed> {
        let other_form =
            |what| NotReplayed::OtherForm { boot: start.boot, tick: start.tick.0, what, version: start.version.clone() };
        let plan: ShopPlan = serde_json::from_str(&start.core).map_err(|_| other_form("the plan"))?;
        let other = other.map(|other| fitted(other, &plan)).transpose()?;
        let mut shop = match start.tick {
            Tick(0) => begun(start, other.as_ref().unwrap_or(&plan)),
            _ => whole(start, &plan).ok_or_else(|| other_form("the state"))?,
        };
        if let (Some(other), true) = (&other, start.tick > Tick(0)) {
            shop.replan(start.at, other.clone());
        }
        Ok(Self {
            boot: start.boot,
            plan: other.unwrap_or(plan),
            shop,
            past: reader.past(start.boot, start.tick),
            told: OnRecord { reader: reader.clone(), boot: start.boot, after: start.tick, seq: 0, page: VecDeque::new() },
            out: Outputs::default(),
            at: (start.tick, start.at),
        })
    }

    /// Goes through the next tick; what it says is how it came out otherwise, if it did. Nothing at the end of the inputs.
    pub(crate) fn step(&mut self) -> Result<Option<Option<Difference>>, NotReplayed> {
        let Some(past) = self.past.next().transpose()? else { return Ok(None) };
        self.at = (past.tick, past.now);
        let digest = past.digest;
        self.decide(past);
        let on_record = self.told.of(self.at.0)?;
        let same_events = on_record.len() == self.out.events.len()
            && on_record.iter().zip(&self.out.events).all(|(was, is)| was.text == is.text && was.kind == is.body.kind());
        if same_events && fold(self.out.digest) == digest {
            return Ok(Some(None));
        }
        Ok(Some(Some(self.difference(digest, &on_record))))
    }

    fn decide(&mut self, past: PastTick) {
        for reading in past.readings {
            self.shop.observe(past.now, Observation::Reading(reading));
        }
        for told in past.others {
            match told {
                Told::Observed(observation) => {
                    self.shop.observe(past.now, observation);
                }
                Told::Asked { by, ask } => {
                    self.shop.request(past.now, &by, ask);
                }
            }
        }
        self.shop.tick(past.now, &mut self.out);
    }

    fn difference(&self, digest: u32, on_record: &[Arc<Recorded>]) -> Difference {
        let mut view = View::default();
        self.shop.view(&mut view);
        let name = |place: usize| self.plan.furnaces.get(place).map_or_else(String::new, |furnace| furnace.name.to_string());
        let now = |event: &Event| Line {
            furnace: event.furnace.map(|furnace| name(furnace.index())),
            kind: event.body.kind().to_owned(),
            text: event.text.clone(),
        };
        let was = |event: &Arc<Recorded>| Line {
            furnace: event.furnace.as_ref().map(ToString::to_string),
            kind: event.kind.clone(),
            text: event.text.clone(),
        };
        Difference {
            boot: self.boot,
            tick: self.at.0.0,
            shop_ms: self.at.1.0,
            digest_on_record: digest,
            digest_now: fold(self.out.digest),
            events_on_record: on_record.iter().map(was).collect(),
            events_now: self.out.events.iter().map(now).collect(),
            permitted_now: view
                .furnaces
                .iter()
                .filter_map(|furnace| furnace.ceiling_c.map(|ceiling_c| (furnace.name.to_string(), ceiling_c)))
                .collect(),
            cut_now: self.out.cuts.iter().map(|cut| name(cut.furnace.index())).collect(),
        }
    }
}

/// The events on record, taken tick by tick.
struct OnRecord {
    reader: Reader,
    boot: u64,
    after: Tick,
    seq: u64,
    page: VecDeque<Arc<Recorded>>,
}

/// Events that one look brings.
const PAGE: usize = 1000;

impl OnRecord {
    fn of(&mut self, tick: Tick) -> Result<Vec<Arc<Recorded>>, ReadError> {
        let mut found = Vec::new();
        loop {
            if self.page.is_empty() {
                let page = self.reader.events_of(self.boot, self.after, self.seq, PAGE)?;
                self.seq = page.last().map_or(u64::MAX, |event| event.seq);
                self.page = page.into();
            }
            match self.page.front() {
                Some(event) if event.tick <= tick => found.extend(self.page.pop_front().filter(|event| event.tick == tick)),
                _ => return Ok(found),
            }
        }
    }
}

/// The shop as a start of the service began it.
fn begun(start: &Start, plan: &ShopPlan) -> Shop {
    let away = start.away_ms.map_or(Away::Unknown, |ms| Away::Known(ShopMs(ms)));
    let stood = start.body.as_ref().map(|body| {
        let row = StandingRow { format: start.format, body: body.clone(), cuts: Vec::new() };
        (start.format == STANDING_FORMAT).then(|| row.unpack().ok()).flatten()
    });
    match stood {
        Some(None) => Shop::after_unread(plan.clone(), away),
        stood => Shop::new(plan.clone(), stood.flatten(), away),
    }
}

/// The shop as it was after a tick, if the state is of the form that this version keeps.
fn whole(start: &Start, plan: &ShopPlan) -> Option<Shop> {
    let body = start.body.clone().filter(|_| start.format == STANDING_FORMAT)?;
    let shop: Shop = StandingRow { format: start.format, body, cuts: Vec::new() }.unpack().ok()?;
    Some(shop.under(plan.clone()))
}

/// The other plan with the journal's numbering of points, of which it may know fewer.
fn fitted(other: &ShopPlan, plan: &ShopPlan) -> Result<ShopPlan, NotReplayed> {
    let names = |plan: &ShopPlan| -> Vec<_> {
        let furnaces = plan.furnaces.iter().map(|furnace| &furnace.name);
        furnaces.chain(plan.tanks.iter().map(|tank| &tank.name)).cloned().collect()
    };
    let same = names(other) == names(plan)
        && plan.directory.units().starts_with(other.directory.units())
        && plan.directory.points().starts_with(other.directory.points());
    match same {
        true => Ok(ShopPlan { directory: plan.directory.clone(), ..other.clone() }),
        false => Err(NotReplayed::OtherShop),
    }
}
